"""Outlines of single bones on a film, as sharp as the bones are."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from skimage.measure import find_contours

from hipwright.phantoms.film_bodies import Bone
from hipwright.phantoms.film_setup import RigidPose
from hipwright.phantoms.projection import Array, Beam
from hipwright.phantoms.ray_lengths import ray_lengths

FINE_MM = 0.12
"""Pixel of the detector on which outlines are traced, mm: to about 0.05 mm in the body."""

_SHADOW_MM = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shadow:
    """The shadow of a bone in a square part of a film.

    Parameters
    ----------
    mask
        Whether the ray of each fine pixel meets the bone.
    first_px, step_px
        Film pixel of the first fine pixel (column, row), and film pixels a fine pixel.
    """

    mask: NDArray[np.bool_]
    first_px: Array
    step_px: float

    def outlines(self) -> list[Array]:
        """Give all outlines in film pixels, (n, 2) column and row, longest first."""
        padded = np.pad(self.mask, 1).astype(np.float64)
        found = sorted(find_contours(padded, 0.5), key=len, reverse=True)
        return [self.first_px + (np.asarray(f)[:, ::-1] - 1) * self.step_px for f in found]


def shadow_of(
    bone: Bone, pose: RigidPose, beam: Beam, *, middle_px: Array, half_mm: float
) -> Shadow:
    """Trace a bone's shadow in a square about a place of the film.

    Parameters
    ----------
    bone, pose, beam
        What is traced, how it is held, and the beam of the film.
    middle_px
        Middle of the square, film pixels.
    half_mm
        Half its side on the detector.
    """
    count = 2 * round(half_mm / FINE_MM) + 1
    step = FINE_MM / beam.pixel_mm
    first = np.asarray(middle_px) - step * (count - 1) / 2
    fine = Beam(
        source_mm=beam.source_mm,
        first_pixel_mm=beam.pixel_position_mm(first)[0],
        column_axis=beam.column_axis,
        row_axis=beam.row_axis,
        pixel_mm=FINE_MM,
        columns=count,
        rows=count,
    )
    lengths = ray_lengths(pose.apply(bone.outer.vertices), bone.outer.faces, fine)
    return Shadow(mask=lengths > _SHADOW_MM, first_px=first, step_px=step)


def sphere_outline_px(beam: Beam, center_mm: Array, radius_mm: float, count: int = 360) -> Array:
    """Give the outline of a sphere's shadow, shape (count, 2), in closed form.

    Rays touch a sphere on a circle nearer to the source than its center; the
    outline is a touch larger than the radius times the magnification.
    """
    towards = np.asarray(center_mm) - beam.source_mm
    distance = float(np.linalg.norm(towards))
    axis = towards / distance
    right = beam.column_axis - (beam.column_axis @ axis) * axis
    right = right / np.linalg.norm(right)
    down = np.cross(axis, right)
    middle = center_mm - axis * radius_mm**2 / distance
    reach = radius_mm * np.sqrt(1 - (radius_mm / distance) ** 2)
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)[:, None]
    return beam.project(middle + reach * (np.cos(turn) * right + np.sin(turn) * down))


def resampled(line: Array, count: int) -> Array:
    """Give points at equal distances along a line, ends kept, shape (count, 2)."""
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    along: Array = np.concatenate([[0.0], np.cumsum(steps)])
    at = np.linspace(0.0, float(along[-1]), count)
    return np.column_stack([np.interp(at, along, line[:, k]) for k in range(line.shape[1])])
