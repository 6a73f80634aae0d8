"""What the radiographer adds: collimation, the lead letter of the side, a steel ball."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from hipwright.domain.side import Side
from hipwright.phantoms.film_appearance import FULL_SCALE, Picture
from hipwright.phantoms.film_bodies import Part, Skeleton
from hipwright.phantoms.film_setup import Scene
from hipwright.phantoms.projection import Array, Beam

BALL_RADIUS_MM = 12.7
"""One inch of steel, the common size of calibration balls (common practice)."""

_UPPER_FEMUR_MM = 75.0
_BALL_BELOW_HEADS_MM = 90.0
_LETTER_MM = 14.0
_STROKE_MM = 2.2


def ball_place_mm(skeleton: Skeleton, scene: Scene, side: Side) -> Array:
    """Give where the ball lies: between the thighs, as deep as that side's trochanter.

    Depth is counted along the beam.
    """
    bone = max(skeleton.of_part(Part.femur(side)), key=lambda b: len(b.outer.vertices))
    posed = scene.poses[Part.femur(side)].apply(bone.outer.vertices)
    near = posed[np.linalg.norm(posed - skeleton.head_centers_mm[side], axis=1) < _UPPER_FEMUR_MM]
    outward = near[:, 0] * (1.0 if side is Side.LEFT else -1.0)
    trochanter = near[outward.argmax()]
    down = np.mean([scene.shafts[s] for s in Side], axis=0)
    place = skeleton.middle_of_heads_mm + _BALL_BELOW_HEADS_MM * down
    return place + ((trochanter - place) @ scene.beam.direction) * scene.beam.direction


def sphere_lengths(beam: Beam, center_mm: Array, radius_mm: float) -> Array:
    """Give the length of every ray inside a sphere in mm, in closed form."""
    towards = center_mm - beam.source_mm
    start = beam.first_pixel_mm - beam.source_mm
    across = start @ beam.column_axis + beam.pixel_mm * np.arange(beam.columns)
    down = start @ beam.row_axis + beam.pixel_mm * np.arange(beam.rows)
    along = (
        (towards @ beam.column_axis) * across[None, :]
        + (towards @ beam.row_axis) * down[:, None]
        + (towards @ beam.direction) * beam.source_detector_mm
    ) / beam.ray_norms()
    return 2 * np.sqrt(np.maximum(radius_mm**2 - (towards @ towards - along**2), 0))


def letter_mask(letter: str, size_px: float, stroke_px: float) -> NDArray[np.bool_]:
    """Draw a plain L or R from strokes, shape about (size, 0.7 size)."""
    high, wide = round(size_px + stroke_px), round(0.66 * size_px + stroke_px)
    row, column = np.mgrid[:high, :wide].astype(float)
    y, x = (row - stroke_px / 2) / size_px, (column - stroke_px / 2) / size_px

    def line(x0: float, y0: float, x1: float, y1: float) -> NDArray[np.bool_]:
        t = ((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / ((x1 - x0) ** 2 + (y1 - y0) ** 2)
        t = np.clip(t, 0, 1)
        away = np.hypot(x - x0 - t * (x1 - x0), y - y0 - t * (y1 - y0))
        return away <= stroke_px / size_px / 2

    if letter not in {"L", "R"}:
        raise ValueError(f"cannot draw the side letter {letter!r}: it must be L or R")
    upright = line(0, 0, 0, 1)
    if letter == "L":
        return upright | line(0, 1, 0.6, 1)
    bowl_at = 0.32  # where the round part of the R begins
    ring = np.abs(np.hypot(x - bowl_at, y - 0.26) - 0.26) <= stroke_px / size_px / 2
    bowl = (ring & (x >= bowl_at)) | line(0, 0, bowl_at, 0) | line(0, 0.52, bowl_at, 0.52)
    return upright | bowl | line(0.28, 0.52, 0.6, 1)


def mark_film(gray: Picture, beam: Beam, *, marker: Side, rng: np.random.Generator) -> Picture:
    """Blacken outside the collimated field and lay down the lead letter inside it."""
    rows, columns = gray.shape
    result = gray.copy()
    margins = rng.uniform(2.0, 9.0, 4) / beam.pixel_mm
    top, bottom, left, right = (round(m) for m in margins)
    field = np.zeros((rows, columns), np.float32)
    field[top : rows - bottom, left : columns - right] = 1.0
    field = gaussian_filter(field, 0.5 / beam.pixel_mm)
    mask = letter_mask(
        marker.value[0].upper(), _LETTER_MM / beam.pixel_mm, _STROKE_MM / beam.pixel_mm
    )
    lead = gaussian_filter(mask.astype(np.float32), 0.12 / beam.pixel_mm)
    high, wide = lead.shape
    on_left = marker is Side.RIGHT
    row = top + round((18.0 + rng.uniform(0, 25)) / beam.pixel_mm)
    gap = round((14.0 + rng.uniform(0, 10)) / beam.pixel_mm)
    column = left + gap if on_left else columns - right - gap - wide
    window = result[row : row + high, column : column + wide]
    window += lead[: window.shape[0], : window.shape[1]] * (0.99 * FULL_SCALE - window)
    return result * field
