"""The film that a CT would have given, at the geometry of a real film of the same person."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import CalibrationError, VolumeError
from hipwright.domain.keeping import Image, Reading
from hipwright.domain.side import Side
from hipwright.domain.study import VIEW_NAMES, View
from hipwright.domain.volume import Volume
from hipwright.engines.geometry.circles import fit_circle
from hipwright.engines.imaging.drr import simulate_film
from hipwright.engines.imaging.film_beam import (
    FALSE_PROFILE_TURN_DEG,
    USUAL_HEADS_DETECTOR_MM,
    USUAL_SOURCE_DETECTOR_MM,
    FilmBeam,
    FilmSize,
    beam_at,
    beam_on_heads,
    film_directions,
)

Floats = NDArray[np.float64]

LONGEST_SIDE = 760
"""Pixels of the longer side: what a screen shows of half its width."""

BANDS = 8
"""Parts of a film that are traced at the same time."""

WHY_NOT = {
    View.DUNN_45: "A 45° Dunn film is taken with the thigh bent and spread. The CT shows the leg "
    "as it lay, so this film cannot be made from it without moving the femur.",
    View.LATERAL_OTHER: "How a lateral film was taken is not known well enough to repeat it.",
    View.OTHER: "How this film was taken is not known.",
}
"""Views that cannot be made from a CT, and why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """A femoral head in the scan: center in ``patient_lps`` and radius."""

    center_mm: tuple[float, float, float]
    radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FilmFromCt:
    """Millimeters of water along every ray, and how the film was set up, in words."""

    water_mm: NDArray[np.float32] = field(repr=False)
    beam: FilmBeam
    mirrored: bool
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedFilm:
    """Where source and detector stand, and how that was found, in words."""

    beam: FilmBeam
    mirrored: bool
    notes: tuple[str, ...]


def place_film(
    film: Image,
    reading: Reading | None,
    heads: Mapping[Side, Head],
    *,
    tilt_deg: float = 0.0,
) -> PlacedFilm:
    """Find where source and detector of a film stood against the scanned patient.

    Parameters
    ----------
    film
        The real film.
    reading
        Its reading: the heads that were placed on it align the two.
    heads
        The heads in the scan.
    tilt_deg
        How much further forward the pelvis was tilted on the film than in the scanner.

    Raises
    ------
    CalibrationError
        The view cannot be made from a CT, or nothing tells where the film lies.
    """
    if film.view in WHY_NOT or not film.view.is_film:
        raise CalibrationError(
            f"cannot make the {VIEW_NAMES[film.view]} film from the CT",
            found=WHY_NOT.get(film.view, "no film"),
            needed="an AP pelvis or a false profile",
            next_step="Choose another film.",
            field="image",
        )
    seen = _heads_on_film(film, reading)
    turned = film.view is View.FALSE_PROFILE
    side = next((s for s in Side if film.laterality.value == s.value), next(iter(heads), None))
    turn = 0.0
    if turned:
        turn = FALSE_PROFILE_TURN_DEG if side is Side.LEFT else -FALSE_PROFILE_TURN_DEG
    directions = film_directions(tilt_deg=tilt_deg, turn_deg=turn)
    notes = [f"Source {USUAL_SOURCE_DETECTOR_MM:.0f} mm from the detector (common practice)."]
    size = _size(film, notes)
    both = [s for s in Side if s in seen and s in heads]
    mirrored = _is_mirrored(film, side)
    if len(both) == len(Side) and not turned:
        places = np.array([heads[s].center_mm for s in both])
        pixels = np.array([_shown(film, seen[s][0], mirrored=mirrored) for s in both])
        beam = beam_on_heads(places, pixels, size, directions)
        notes.append(
            "Aligned by both heads as they were placed on the film; scale by their distance."
        )
        return PlacedFilm(beam=beam, mirrored=mirrored, notes=tuple(notes))
    if side in seen and side in heads:
        center, radius = seen[side]
        own = FilmSize(
            columns=film.columns,
            rows=film.rows,
            hip_plane_mm=heads[side].radius_mm / radius,
            source_detector_mm=size.source_detector_mm,
            heads_detector_mm=size.heads_detector_mm,
        )
        x, y = _shown(film, center, mirrored=mirrored)
        beam = beam_at(np.array(heads[side].center_mm), (x, y), own, directions)
        notes.append("Aligned by the head as it was placed on the film; scale by its size.")
        if turned:
            notes.append(f"Pelvis turned {FALSE_PROFILE_TURN_DEG:.0f}° (common practice).")
        return PlacedFilm(beam=beam, mirrored=mirrored, notes=tuple(notes))
    return _on_the_middle(film, heads, size, directions, notes, mirrored=mirrored)


def _on_the_middle(
    film: Image,
    heads: Mapping[Side, Head],
    size: FilmSize,
    directions: tuple[Floats, Floats],
    notes: list[str],
    *,
    mirrored: bool,
) -> PlacedFilm:
    if not heads or not film.calibration.is_calibrated:
        raise CalibrationError(
            "cannot lay the CT's film beside the real one",
            found="a film without a scale on which no head was placed",
            needed="a scale, or the heads placed on the film",
            next_step="Place the heads on the Films screen.",
            field="image",
        )
    middle = np.mean([head.center_mm for head in heads.values()], axis=0)
    pixel = ((film.columns - 1) / 2, (film.rows - 1) / 2)
    notes.append(
        "The film has not been read: the heads are put into its middle, at its own scale."
    )
    beam = beam_at(middle, pixel, size, directions)
    return PlacedFilm(beam=beam, mirrored=mirrored, notes=tuple(notes))


def _size(film: Image, notes: list[str]) -> FilmSize:
    scale = film.calibration
    distance = USUAL_HEADS_DETECTOR_MM
    if scale.magnification is not None and scale.magnification > 1:
        distance = USUAL_SOURCE_DETECTOR_MM * (1 - 1 / scale.magnification)
        notes.append(f"Heads {distance:.0f} mm before it, from the film's magnification.")
    else:
        notes.append(f"Heads {distance:.0f} mm before it (judgment).")
    return FilmSize(
        columns=film.columns,
        rows=film.rows,
        hip_plane_mm=scale.column_mm,
        heads_detector_mm=distance,
    )


def _is_mirrored(film: Image, side: Side | None) -> bool:
    """Whether the real film is shown the other way round than the beam sees the patient."""
    if film.view is View.FALSE_PROFILE:
        # seen along the beam the front is to the right for a left hip
        usual = side is Side.LEFT
        shown = film.anterior_at_image_right
        return shown is not None and shown is not usual
    return not film.patient_right_at_image_left


def _shown(film: Image, pixel: tuple[float, float], *, mirrored: bool) -> tuple[float, float]:
    return (film.columns - 1 - pixel[0], pixel[1]) if mirrored else pixel


def _heads_on_film(
    film: Image, reading: Reading | None
) -> dict[Side, tuple[tuple[float, float], float]]:
    """Center and radius of the heads that were placed, in pixels."""
    if reading is None:
        return {}
    found: dict[Side, tuple[tuple[float, float], float]] = {}
    aspect = film.calibration.row_mm / film.calibration.column_mm
    for contour in reading.landmarks.contours:
        if contour.id == "femoral_head" and contour.side is not None:
            square = contour.xy_px * np.array([1.0, aspect])
            center, radius = fit_circle(square)
            found[contour.side] = ((float(center[0]), float(center[1]) / aspect), float(radius))
    return found


def trace_film(blocks: Sequence[Volume], placed: PlacedFilm) -> FilmFromCt:
    """Trace the film through the block of the scan that holds the hips.

    Raises
    ------
    VolumeError
        There is no block.
    """
    if not blocks:
        raise VolumeError(
            "cannot make a film from the CT",
            found="no slices",
            needed="a block of slices of the hips",
            next_step="Import the series again.",
        )
    step = max(1, -(-max(placed.beam.columns, placed.beam.rows) // LONGEST_SIDE))
    beam = placed.beam.thinned(step)
    edges = np.linspace(0, beam.rows, BANDS + 1).astype(int)
    bands = [(int(a), int(b)) for a, b in pairwise(edges) if b > a]
    total = np.zeros((beam.rows, beam.columns), dtype=np.float32)
    for volume in blocks:
        with ThreadPoolExecutor() as threads:
            parts = threads.map(lambda rows, v=volume: simulate_film(v, beam, rows=rows), bands)
            total += np.concatenate(list(parts))
    shown = total[:, ::-1] if placed.mirrored else total
    return FilmFromCt(
        water_mm=np.ascontiguousarray(shown),
        beam=beam,
        mirrored=placed.mirrored,
        notes=placed.notes,
    )
