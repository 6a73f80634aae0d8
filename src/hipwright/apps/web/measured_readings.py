"""What single readings measure, kept in memory while reading and film stay as they are."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from typing import TYPE_CHECKING, Protocol

from hipwright.workflows.ports import Keeper

if TYPE_CHECKING:
    from hipwright.workflows.compare_readers import ReadingValues


class RepeatKeeper(Keeper, Protocol):
    """A keeper that lists what was read more than once."""

    def images_read_again(self) -> Sequence[str]:
        """Images with more than one reading."""
        ...


class MeasuredReadings:
    """Measures each reading once."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: dict[tuple[str, int, tuple[str, ...]], list[ReadingValues]] = {}

    def all(self, keeper: RepeatKeeper) -> list[ReadingValues]:
        """Every reading of every image that was read more than once."""
        from hipwright.workflows.compare_readers import values_of

        with self._lock:  # one at a time: a second asker would measure the same again
            now: dict[tuple[str, int, tuple[str, ...]], list[ReadingValues]] = {}
            for name in keeper.images_read_again():
                image = keeper.image(name)
                if not image.view.is_film:
                    continue
                readings = keeper.readings_of(name)
                key = name, image.version, tuple(reading.id for reading in readings)
                now[key] = self._kept.get(key) or values_of(image, readings)
            self._kept = now
            return [one for some in now.values() for one in some]
