"""Decoded pictures, kept for a while: a small preview, and all gray values as raw rows."""

from __future__ import annotations

import io
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pillow

from hipwright.workflows.ports import Dock, Keeper, Picture

MOST_BYTES = 96 * 2**20
"""All decoded pictures together; the oldest goes first, the newest always stays."""

PREVIEW_SIDE = 1200
PREVIEW_QUALITY = 82


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShownPicture:
    """A decoded film and its preview as JPEG."""

    picture: Picture
    preview: bytes = field(repr=False)

    @property
    def size(self) -> int:
        """Bytes it takes."""
        return self.picture.pixels.nbytes + len(self.preview)


class PictureShelf:
    """Decodes each film once, however many requests ask for it at the same time."""

    def __init__(self, keeper: Callable[[], Keeper], dock: Callable[[], Dock]) -> None:
        self._keeper = keeper
        self._dock = dock
        self._lock = threading.Lock()
        self._shelf: OrderedDict[str, Future[ShownPicture]] = OrderedDict()

    def get(self, sha256: str) -> ShownPicture:
        """The decoded film of that digest; waits for another thread that is at it already."""
        with self._lock:
            future = self._shelf.get(sha256)
            mine = future is None
            if future is None:
                future = self._shelf[sha256] = Future()
            self._shelf.move_to_end(sha256)
        if mine:
            self._fill(sha256, future)
        return future.result()

    def _fill(self, sha256: str, future: Future[ShownPicture]) -> None:
        try:
            picture = self._dock().picture(self._keeper().get_file(sha256))
            future.set_result(ShownPicture(picture=picture, preview=preview_of(picture)))
        except BaseException as error:  # the waiting threads must hear of it, whatever it is
            with self._lock:
                self._shelf.pop(sha256, None)
            future.set_exception(error)
            return
        with self._lock:
            self._make_room()

    def _make_room(self) -> None:
        done = [(key, f.result().size) for key, f in self._shelf.items() if f.done()]
        total = sum(size for _, size in done)
        for key, size in done[:-1]:
            if total <= MOST_BYTES:
                return
            del self._shelf[key]
            total -= size


def preview_of(picture: Picture) -> bytes:
    """The film in 8 bits through its own window, at most 1200 pixels wide or high."""
    pixels = picture.pixels
    step = max(1, -(-max(pixels.shape) // PREVIEW_SIDE))
    image = Pillow.fromarray(windowed(_thinned(pixels, step), picture))
    out = io.BytesIO()
    image.save(out, "JPEG", quality=PREVIEW_QUALITY)
    return out.getvalue()


def _thinned(pixels: NDArray[np.uint16], step: int) -> NDArray[np.float32]:
    """Means of ``step`` × ``step`` blocks; what does not fill a block at the edge is cut off."""
    rows, columns = (max(1, length // step) * step for length in pixels.shape)
    if step == 1 or min(pixels.shape) < step:
        return pixels.astype(np.float32)
    total = np.zeros((rows // step, columns // step), dtype=np.uint32)
    for row in range(step):
        for column in range(step):
            total += pixels[row:rows:step, column:columns:step]
    return (total / np.float32(step * step)).astype(np.float32)


def windowed(values: NDArray[np.float32], picture: Picture) -> NDArray[np.uint8]:
    """Gray values through the window, linearly, 0 to 255."""
    low = picture.window_center - picture.window_width / 2
    share = (values - np.float32(low)) / np.float32(max(picture.window_width, 1e-6))
    return (np.clip(share, 0, 1) * 255 + 0.5).astype(np.uint8)
