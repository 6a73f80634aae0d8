"""Series that are open: decoded once, whoever asks, and let go when another takes the room."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from hipwright.domain.keeping import Image
from hipwright.domain.volume import Volume
from hipwright.engines.imaging.slice_views import SliceView, views_of
from hipwright.workflows.ports import Progress

MOST_BYTES = 420 * 2**20
"""All decoded series together: two of 512 × 512 × 300. The newest always stays."""

SHARES = (0.0, 1.0, 30.0, 99.9, 100.0)
"""Percentiles of the gray values that windows are laid by."""

_MOST_SAMPLED = 400_000

ReadSeries = Callable[[Image, Progress], tuple[Volume, ...]]


@dataclass(frozen=True, eq=False)
class Block:
    """One block of slices with its three views."""

    volume: Volume

    @cached_property
    def views(self) -> tuple[SliceView, SliceView, SliceView]:
        """Axial, coronal, sagittal."""
        return views_of(self.volume.grid)

    @cached_property
    def spread(self) -> tuple[float, ...]:
        """Gray values at :data:`SHARES` percent."""
        values = self.volume.values
        every = max(1, round((values.size / _MOST_SAMPLED) ** (1 / 3)))
        return tuple(float(x) for x in np.percentile(values[::every, ::every, ::every], SHARES))


@dataclass
class Opening:
    """A series on its way onto the shelf."""

    done: int = 0
    total: int = 0
    message: str = "Reading the slices"
    blocks: tuple[Block, ...] | None = None
    error: BaseException | None = None
    over: threading.Event = field(default_factory=threading.Event)

    def tell(self, message: str, done: int, total: int) -> None:
        """Note how far reading is."""
        self.message, self.done, self.total = message, done, total

    @property
    def size(self) -> int:
        """Bytes of its voxels."""
        return sum(block.volume.values.nbytes for block in self.blocks or ())


class VolumeShelf:
    """Reads each series once, in a thread of its own, however many requests wait for it."""

    def __init__(self, read: ReadSeries) -> None:
        self._read = read
        self._lock = threading.Lock()
        self._shelf: OrderedDict[str, Opening] = OrderedDict()

    def look(self, image: Image, *, again: bool = False) -> Opening:
        """How far a series is; the first look starts reading it, ``again`` after a failure too."""
        with self._lock:
            opening = self._shelf.get(image.id)
            if opening is None or (again and opening.error is not None):
                opening = self._shelf[image.id] = Opening()
                threading.Thread(target=self._fill, args=(image, opening), daemon=True).start()
            self._shelf.move_to_end(image.id)
            return opening

    def get(self, image: Image) -> tuple[Block, ...]:
        """The blocks of a series; waits until they are read.

        Raises
        ------
        VolumeError
            The slices do not make a volume.
        """
        opening = self.look(image)
        opening.over.wait()
        if opening.error is not None:
            raise opening.error
        return opening.blocks or ()

    def _fill(self, image: Image, opening: Opening) -> None:
        try:
            volumes = self._read(image, opening.tell)
            opening.blocks = tuple(Block(volume) for volume in volumes)
        except BaseException as error:  # whoever waits must hear of it, whatever it is
            opening.error = error
        finally:
            opening.over.set()
        with self._lock:
            self._make_room()

    def _make_room(self) -> None:
        done = [(key, o.size) for key, o in self._shelf.items() if o.over.is_set()]
        total = sum(size for _, size in done)
        for key, size in done[:-1]:
            if total <= MOST_BYTES:
                return
            del self._shelf[key]
            total -= size
