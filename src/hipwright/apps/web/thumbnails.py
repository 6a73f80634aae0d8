"""Small pictures of films, made once and kept by the digest of the file they show."""

from __future__ import annotations

import io
import re
import secrets
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image as Pillow

from hipwright.workflows.ports import Picture

LONGEST_PX = 560
"""Twice what a page shows, for dense screens."""

DIGEST = re.compile(r"[0-9a-f]{64}")


def thumbnail(picture: Picture) -> bytes:
    """A film through its own window, as a small PNG."""
    step = max(1, max(picture.pixels.shape) // (2 * LONGEST_PX))
    values = picture.pixels[::step, ::step].astype(np.float32)
    low = picture.window_center - picture.window_width / 2
    share = (values - np.float32(low)) / np.float32(max(picture.window_width, 1e-6))
    made = Pillow.fromarray((np.clip(share, 0, 1) * 255 + 0.5).astype(np.uint8))
    made.thumbnail((LONGEST_PX, LONGEST_PX), Pillow.Resampling.LANCZOS)
    out = io.BytesIO()
    made.save(out, "PNG", compress_level=4)
    return out.getvalue()


class Thumbnails:
    """Thumbnails of stored files, in a folder that can be emptied at any time."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def get(self, sha256: str, picture: Callable[[], Picture]) -> bytes:
        """The thumbnail of a stored file; ``picture`` decodes it if there is none yet."""
        if not DIGEST.fullmatch(sha256):
            raise ValueError(sha256)
        path = self._folder / sha256[:2] / f"{sha256}.png"
        try:
            return path.read_bytes()
        except OSError:
            made = thumbnail(picture())
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        part = path.with_suffix(f".{secrets.token_hex(4)}.part")
        part.write_bytes(made)
        part.replace(path)
        return made
