"""Ordinary pictures, brought to one gray form without notes: a plain PNG.

A camera, a scanner or an export leaves names, places and dates beside the
pixels. None of it is kept: the pixels are written anew.
"""

from __future__ import annotations

import io
import warnings

import numpy as np
from PIL import Image, ImageOps

from hipwright.domain.errors import ImportRefusedError
from hipwright.engines.imaging.gray_levels import Pixels, as_shown, luma, window_of
from hipwright.workflows.ports import GrayFile, Picture

STARTS = (b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", b"II*\x00", b"MM\x00*")
LARGEST_SIDE = 20_000
LARGEST_PICTURE = 250_000_000
"""Pixels (judgment): a film of 43 × 43 cm at 0.1 mm has 19 million."""

WHITE_IS_ZERO = 0
PHOTOMETRIC_TAG = 262
"""TIFF 6.0, PhotometricInterpretation."""


class PictureReader:
    """Reads PNG, JPEG and TIFF."""

    def recognizes(self, head: bytes) -> bool:
        """Whether a file that begins so is a PNG, JPEG or TIFF."""
        return head.startswith(STARTS)

    def read(self, content: bytes) -> GrayFile:
        """Decode an ordinary picture and write its gray levels anew.

        Raises
        ------
        ImportRefusedError
            The picture is damaged, absurdly large, or of an unread form.
        """
        levels = _levels(content)
        rows, columns = levels.shape
        return GrayFile(stored=stored_png(levels), rows=rows, columns=columns)

    def shown(self, content: bytes) -> Picture:
        """A kept PNG as levels with a window."""
        levels = _levels(content)
        top = float(2 ** (8 * levels.itemsize) - 1)
        gray = as_shown(levels, lowest=0.0, highest=top, inverted=False, window=window_of(levels))
        return Picture(
            pixels=gray.levels, window_center=gray.window.center, window_width=gray.window.width
        )


def stored_png(levels: Pixels) -> bytes:
    """Gray levels of 8 or 16 bits as a PNG with nothing beside the pixels."""
    buffer = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(levels)).save(buffer, format="PNG", compress_level=3)
    return buffer.getvalue()


def _levels(content: bytes) -> Pixels:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a damaged tag beside the pixels is no news
            with Image.open(io.BytesIO(content), formats=("PNG", "JPEG", "TIFF")) as image:
                _check(image)
                return _gray(image)
    except ImportRefusedError:
        raise
    except Exception as problem:  # decoders raise what they like
        raise ImportRefusedError(
            "The picture cannot be decoded: truncated or damaged"
        ) from problem


def _check(image: Image.Image) -> None:
    width, height = image.size
    if max(width, height) > LARGEST_SIDE or width * height > LARGEST_PICTURE:
        raise ImportRefusedError(f"A picture of {width} × {height} pixels is absurd")
    frames = getattr(image, "n_frames", 1)
    if frames != 1:
        raise ImportRefusedError(f"It holds {frames} pages; only single pictures are read")


def _gray(image: Image.Image) -> Pixels:
    white_is_zero = (
        image.format == "TIFF"
        and getattr(image, "tag_v2", {}).get(PHOTOMETRIC_TAG) == WHITE_IS_ZERO
    )
    image = ImageOps.exif_transpose(image)
    if image.mode in {"I;16", "I;16L", "I;16B", "I;16N", "I"}:
        wide = np.asarray(image).astype(np.int64)
        if wide.min() < 0 or wide.max() > np.iinfo(np.uint16).max:
            raise ImportRefusedError("Its values need more than 16 bits")
        levels = wide.astype(np.uint16)
        return np.uint16(np.iinfo(np.uint16).max) - levels if white_is_zero else levels
    if image.mode in {"1", "L"}:
        return np.asarray(image.convert("L"))  # the library has turned white-is-zero already
    if image.mode == "F":
        raise ImportRefusedError("Its pixels are floating-point numbers, which are not read")
    return luma(np.asarray(image.convert("RGB"))).astype(np.uint8)
