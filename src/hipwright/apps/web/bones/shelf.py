"""Measured and packed bones, kept in memory for a while."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, TypeVar

Made = TypeVar("Made")

MOST_KEPT = 24


class BoneShelf:
    """Does each thing once, however many parts of a page ask for it at the same time."""

    def __init__(self, most: int = MOST_KEPT) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[object, ...], Future[Any]] = OrderedDict()

    def get(self, key: tuple[object, ...], make: Callable[[], Made]) -> Made:
        """What was made under that key, else what ``make`` makes now; a failure is not kept."""
        with self._lock:
            future = self._kept.get(key)
            mine = future is None
            if future is None:
                future = self._kept[key] = Future()
            self._kept.move_to_end(key)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        if mine:
            try:
                future.set_result(make())
            except BaseException as error:  # the waiting threads must hear of it, whatever it is
                with self._lock:
                    self._kept.pop(key, None)
                future.set_exception(error)
        return future.result()
