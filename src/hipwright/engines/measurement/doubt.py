"""The doubt of landmarks, as seeded draws.

Row 0 of every array is what the reader placed; rows 1 to n are what the same
reader, or another, might have placed. A landmark's draws depend only on the
seed, its id and its side, so a number does not flicker when some *other*
landmark is moved, and value and interval come from one call of the kernel.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import Catalog
from hipwright.catalog.entries import LandmarkDefinition, LandmarkKind
from hipwright.domain.landmarks import LandmarkSet, PlacedPoint
from hipwright.domain.study import Film
from hipwright.engines.geometry.circles import fit_round_part
from hipwright.engines.imaging.film_plane import plane_from_px

Floats = NDArray[np.float64]
Key = tuple[str, object]
"""A landmark id and the side it was placed on (``None`` in the midline)."""

DRAWS = 600
"""Draws an interval is made of: its ends then repeat within about 5 % of its width."""

BUMP_TOLERANCE_SHARE = 0.02
"""Outline points farther outside the head circle than this share of its radius (0.5 mm at
24 mm) belong to the bump, not to the round part (judgment)."""

NOMINAL_HEAD_RADIUS_MM = 24.0
"""Stands in for the scale of an uncalibrated film when default spreads, which are in mm,
are turned into its unit; no shown length ever uses it (judgment)."""

FALLBACK_PIXEL_MM = 0.15
"""The same for an uncalibrated film without a head circle (judgment)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """How the doubt is drawn.

    Parameters
    ----------
    draws
        Number of draws beside the placed landmarks.
    seed
        Makes them repeatable.
    observer_sd_mm
        The observer's own spread by landmark id, in place of the catalog's, where
        it is known from repeat readings.
    """

    draws: int = DRAWS
    seed: int = 20_260_101
    observer_sd_mm: Mapping[str, float] = field(default_factory=dict[str, float])

    def sd_mm(self, entry: LandmarkDefinition) -> float:
        """Spread along each axis, in the plane of the hip."""
        return self.observer_sd_mm.get(entry.id, entry.observer_sd_mm)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SampledCircle:
    """A fitted circle as draws: ``center`` (n, 2), ``radius`` (n,), and how well it fitted.

    ``kept`` tells which outline points were taken for the round part; ``rms`` is their
    root-mean-square distance from the circle.
    """

    center: Floats
    radius: Floats
    kept: NDArray[np.bool_]
    rms: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sampled:
    """All landmarks of one reading as draws, in the film plane.

    Points are (n, 2), contours (n, m, 2); ``scale`` (n,) is the relative scale of each
    draw, 1 in row 0.
    """

    draws: int
    points: Mapping[Key, Floats]
    circles: Mapping[Key, SampledCircle]
    contours: Mapping[Key, Floats]
    scale: Floats


def sample(film: Film, landmarks: LandmarkSet, catalog: Catalog, doubt: Doubt) -> Sampled:
    """Draw every landmark of a reading.

    Parameters
    ----------
    film, landmarks
        The film and what was placed on it.
    catalog
        For the landmarks' kinds and default spreads.
    doubt
        How to draw.

    Notes
    -----
    A contour moves as a whole: its own roughness is the drawing's, and drawing
    noise on top of it would count it twice. A circle moves as a whole and
    breathes in radius.

    Raises
    ------
    DegenerateGeometryError
        An outline holds no circle.
    """
    fits = {
        (c.id, c.side): _fit(plane_from_px(film, c.xy_px))
        for c in landmarks.contours
        if catalog.landmark(c.id).kind is LandmarkKind.CIRCLE
    }
    unit = _units_per_mm(film, fits)

    def shift(key: Key, sd: float) -> Floats:
        return sd * _normals(doubt.seed, f"{key[0]}/{key[1]}", doubt.draws)

    points = {
        (p.id, p.side): plane_from_px(film, np.array([p.x_px, p.y_px]))
        + shift((p.id, p.side), _sd(p, film, catalog, doubt, unit))[:, :2]
        for p in landmarks.points
    }
    contours = {
        (c.id, c.side): plane_from_px(film, c.xy_px)
        + shift((c.id, c.side), unit * doubt.sd_mm(catalog.landmark(c.id)))[:, None, :2]
        for c in landmarks.contours
        if (c.id, c.side) not in fits
    }
    circles: dict[Key, SampledCircle] = {}
    for key, (center, radius, kept, rms) in fits.items():
        entry = catalog.landmark(key[0])
        breath = shift(key, unit * entry.observer_sd_radius_mm)[:, 2]
        circles[key] = SampledCircle(
            center=center + shift(key, unit * doubt.sd_mm(entry))[:, :2],
            radius=np.maximum(radius + breath, radius / 2),
            kept=kept,
            rms=rms,
        )
    scale = 1 + film.calibration.relative_sd * _normals(doubt.seed, "scale", doubt.draws)[:, 0]
    return Sampled(
        draws=doubt.draws + 1, points=points, circles=circles, contours=contours, scale=scale
    )


def _fit(outline: Floats) -> tuple[Floats, float, NDArray[np.bool_], float]:
    extent = float(np.ptp(outline, axis=0).max()) / 2
    center, radius, kept = fit_round_part(outline, tolerance=BUMP_TOLERANCE_SHARE * extent)
    off = np.hypot(*(outline[kept] - center).T) - radius
    return center, radius, kept, float(np.sqrt(np.mean(off**2)))


def _units_per_mm(film: Film, fits: Mapping[Key, tuple[Floats, float, object, float]]) -> float:
    if film.calibration.is_calibrated:
        return 1.0
    radii = [fit[1] for key, fit in fits.items() if key[0] == "femoral_head"]
    if radii:
        return float(np.mean(radii)) / NOMINAL_HEAD_RADIUS_MM
    return 1 / FALLBACK_PIXEL_MM


def _sd(
    point: PlacedPoint, film: Film, catalog: Catalog, doubt: Doubt, units_per_mm: float
) -> float:
    if point.sd_px is not None:
        return point.sd_px * film.calibration.column_mm
    return units_per_mm * doubt.sd_mm(catalog.landmark(point.id))


@lru_cache(maxsize=4096)
def _normals(seed: int, key: str, draws: int) -> Floats:
    """Standard normals (draws + 1, 3), the first row zero: column 2 is for radii."""
    sequence = np.random.SeedSequence([seed, zlib.crc32(key.encode())])
    drawn = np.random.Generator(np.random.PCG64(sequence)).standard_normal((draws, 3))
    rows = np.vstack([np.zeros((1, 3)), drawn])
    rows.setflags(write=False)
    return rows
