"""What the Slices screen needs to know about an open series before it draws."""

from __future__ import annotations

from typing import Any

import numpy as np

from hipwright.apps.web.slices.volume_shelf import Block
from hipwright.domain.anatomy import Bone
from hipwright.domain.volume import Modality
from hipwright.engines.imaging.slice_views import SliceView, is_square, letters_of, turned_by_deg

Json = dict[str, Any]

TURNED_DEG = 3.0
"""From here on the screen says that the scan lies turned in the patient."""

TILTED = (
    "Taken with a tilted gantry: the three views are cut along the patient's axes, "
    "between the voxels."
)
TURNED = (
    "The scan lies turned by {:.0f}° in the patient. "
    "The views run along the scan's own axes; see the letters at their edges."
)

COLORS: dict[Bone, str] = {
    Bone.HIP_BONE_RIGHT: "#56b4e9",
    Bone.HIP_BONE_LEFT: "#009e73",
    Bone.FEMUR_RIGHT: "#e69f00",
    Bone.FEMUR_LEFT: "#f0e442",
    Bone.SACRUM: "#cc79a7",
    Bone.TIBIA_RIGHT: "#d55e00",
    Bone.TIBIA_LEFT: "#0072b2",
    Bone.OTHER: "#c4c4c4",
}
"""The eight colors of Okabe and Ito's general palette (gray in place of black): told apart by
people with any common color blindness. Each bone is also named in words."""

CT_WINDOWS = (
    ("Bone", 400.0, 2000.0),
    ("Soft tissue", 40.0, 400.0),
    ("Joint space", 150.0, 900.0),
)
"""Center and width, HU (common practice; the joint-space one judged here)."""


def block_facts(block: Block, number: int) -> Json:
    """One block of slices: its views, gray windows and what was noticed."""
    volume = block.volume
    grid = volume.grid
    spacing = grid.spacing_mm
    return {
        "number": number,
        "modality": volume.modality.value,
        "unit": "HU" if volume.modality is Modality.CT else "",
        "views": [view_facts(view) for view in block.views],
        "windows": windows_of(block),
        "details": [
            ["Voxel", f"{spacing[2]:.2f} × {spacing[1]:.2f} × {spacing[0]:.2f} mm"],
            ["Size", f"{grid.shape[2]} × {grid.shape[1]} × {grid.shape[0]}"],
            *([["Kernel", volume.kernel]] if volume.kernel else []),
            *(
                [["Slice thickness", f"{volume.slice_thickness_mm:g} mm"]]
                if volume.slice_thickness_mm
                else []
            ),
        ],
        "notes": [*_lie(block), *volume.notes],
    }


def _lie(block: Block) -> list[str]:
    grid = block.volume.grid
    if not is_square(grid):
        return [TILTED]
    turned = turned_by_deg(grid)
    if turned > TURNED_DEG:
        return [TURNED.format(turned)]
    return []


def view_facts(view: SliceView) -> Json:
    """Where a view's pictures lie and what stands at their edges."""
    first = view.first
    right, down = first.right_mm, first.down_mm
    through = np.cross(right, down)
    return {
        "direction": view.direction.value,
        "columns": first.columns,
        "rows": first.rows,
        "count": view.count,
        "origin": first.origin_mm.tolist(),
        "right": right.tolist(),
        "down": down.tolist(),
        "through": view.through_mm.tolist(),
        "letters": {
            "left": letters_of(-right),
            "right": letters_of(right),
            "top": letters_of(-down),
            "bottom": letters_of(down),
        },
        "stepMm": abs(float(view.through_mm @ through)) / float(np.linalg.norm(through)),
        "exact": view.axes is not None,
    }


def windows_of(block: Block) -> list[Json]:
    """Gray windows with their names, the usual one first."""
    least, low, middle, high, most = block.spread
    whole = ("Whole range", (least + most) / 2, max(most - least, 1.0))
    if block.volume.modality is Modality.CT:
        rows = (*CT_WINDOWS, whole)
    else:
        rows = (
            ("Usual", (low + high) / 2, max(high - low, 1.0)),
            ("Cartilage", (middle + high) / 2, max(high - middle, 1.0)),
            whole,
        )
    return [{"name": n, "center": round(c, 1), "width": round(w, 1)} for n, c, w in rows]


def legend() -> list[Json]:
    """Every bone that a label can stand for: code, words, color."""
    return [{"code": bone.code, "words": bone.words, "color": COLORS[bone]} for bone in Bone]
