"""Labels and hand edits as files: a line of JSON that tells of them, then packed numbers.

``hipwright labels 1`` or ``hipwright edits 1``, a newline, one line of JSON, and the arrays
packed with zlib, little-endian. Labels are written as the differences of neighbors along a
row, which packs thin bones in a few hundred kilobytes.
"""

from __future__ import annotations

import json
import math
import zlib
from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np

from hipwright.domain.errors import HipwrightError, VolumeError
from hipwright.domain.volume import Cut, LabelEdits, LabelVolume, Seed, VolumeGrid

LABELS, EDITS = b"hipwright labels 1\n", b"hipwright edits 1\n"
LARGEST = 1 << 31
"""No array may unpack to more bytes."""

_LEVEL = 1
T = TypeVar("T")


def labels_bytes(labels: LabelVolume) -> bytes:
    """Write labels with the grid they lie on."""
    differences = np.diff(labels.codes, axis=2, prepend=np.uint8(0))
    return LABELS + _line(_grid_facts(labels.grid)) + zlib.compress(differences.tobytes(), _LEVEL)


def labels_from(content: bytes) -> LabelVolume:
    """Read labels.

    Raises
    ------
    VolumeError
        The bytes are no such file.
    """

    def read(facts: dict[str, Any], packed: bytes) -> LabelVolume:
        grid = _grid(facts)
        values = np.frombuffer(_unpacked(packed, math.prod(grid.shape)), np.uint8)
        codes = np.cumsum(values.reshape(grid.shape), axis=2, dtype=np.uint8)
        return LabelVolume(codes=codes, grid=grid)

    return _read(content, LABELS, read)


def edits_bytes(edits: LabelEdits) -> bytes:
    """Write hand edits."""
    facts = {
        "shape": list(edits.shape),
        "voxels": len(edits.voxels),
        "cuts": [
            {"center_mm": list(c.center_mm), "normal": list(c.normal), "radius_mm": c.radius_mm}
            for c in edits.cuts
        ],
        "seeds": [{"at_mm": list(s.at_mm), "code": s.code} for s in edits.seeds],
    }
    steps = np.diff(edits.voxels, prepend=np.int64(0)).astype("<i8")
    packed = zlib.compress(steps.tobytes() + edits.codes.tobytes(), _LEVEL)
    return EDITS + _line(facts) + packed


def edits_from(content: bytes) -> LabelEdits:
    """Read hand edits.

    Raises
    ------
    VolumeError
        The bytes are no such file.
    """

    def read(facts: dict[str, Any], packed: bytes) -> LabelEdits:
        count = int(facts["voxels"])
        plain = _unpacked(packed, 9 * count)
        shape = _triple([int(n) for n in facts["shape"]])
        return LabelEdits(
            voxels=np.cumsum(np.frombuffer(plain, "<i8", count=count), dtype=np.int64),
            codes=np.frombuffer(plain, np.uint8, offset=8 * count),
            shape=shape,
            cuts=tuple(
                Cut(
                    center_mm=_triple([float(x) for x in cut["center_mm"]]),
                    normal=_triple([float(x) for x in cut["normal"]]),
                    radius_mm=float(cut["radius_mm"]),
                )
                for cut in facts["cuts"]
            ),
            seeds=tuple(
                Seed(at_mm=_triple([float(x) for x in s["at_mm"]]), code=int(s["code"]))
                for s in facts["seeds"]
            ),
        )

    return _read(content, EDITS, read)


def _line(facts: dict[str, Any]) -> bytes:
    return json.dumps(facts, separators=(",", ":")).encode("ascii") + b"\n"


def _grid_facts(grid: VolumeGrid) -> dict[str, Any]:
    return {
        "shape": list(grid.shape),
        "origin_mm": grid.origin_mm.tolist(),
        "steps_mm": grid.steps_mm.tolist(),
        "fixed_to": grid.fixed_to,
    }


def _grid(facts: dict[str, Any]) -> VolumeGrid:
    return VolumeGrid(
        shape=_triple([int(n) for n in facts["shape"]]),
        origin_mm=np.array(facts["origin_mm"], dtype=np.float64),
        steps_mm=np.array(facts["steps_mm"], dtype=np.float64),
        fixed_to=str(facts["fixed_to"]),
    )


def _triple(values: list[T]) -> tuple[T, T, T]:
    first, second, third = values
    return first, second, third


def _unpacked(packed: bytes, size: int) -> bytes:
    """Unpack exactly ``size`` bytes; a file that claims more cannot fill the memory."""
    if not 0 <= size <= LARGEST:
        raise ValueError
    unpacker = zlib.decompressobj()
    plain = unpacker.decompress(packed, size + 1)
    if len(plain) != size or not unpacker.eof or unpacker.unused_data:
        raise ValueError
    return plain


def _read(content: bytes, head: bytes, read: Callable[[dict[str, Any], bytes], T]) -> T:
    try:
        end = content.index(b"\n", content.index(head, 0, len(head)) + len(head))
        return read(json.loads(content[len(head) : end]), content[end + 1 :])
    except (ValueError, KeyError, TypeError, AttributeError, zlib.error, HipwrightError) as error:
        what = "labels" if head is LABELS else "hand edits"
        raise VolumeError(
            f"cannot read the {what} of a scan",
            found="bytes that are no such file, or a part of one",
            needed="the file as hipwright wrote it",
            next_step="Run `hipwright doctor`; restore a backup if the file is damaged.",
        ) from error
