"""The doubt of landmarks, as seeded draws.

Row 0 of every array is what the reader placed; rows 1 to n are what the same
reader, or another, might have placed. A landmark's draws depend only on the
seed, its id and its side, so a number does not flicker when some *other*
landmark is moved or added, and value and interval come from one call of the kernel.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import Catalog
from hipwright.catalog.entries import LandmarkDefinition, LandmarkKind
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.study import Film
from hipwright.engines.geometry.circles import fit_round_part
from hipwright.engines.geometry.polylines import thinned
from hipwright.engines.imaging.film_plane import plane_from_px
from hipwright.engines.measurement.draws import normals

Floats = NDArray[np.float64]
Key = tuple[str, object]
"""A landmark id and the side it was placed on (``None`` in the midline)."""

Spreads = float | tuple[float, float]
"""A spread in mm: the same along both axes, or along u and along v."""

DRAWS = 600
"""Draws an interval is made of: uncorrelated and in mirrored pairs (:mod:`.draws`)."""

BUMP_TOLERANCE_SHARE = 0.02
"""Outline points farther outside the head circle than this share of its radius (0.5 mm at
24 mm) belong to the bump, not to the round part (judgment)."""

THINNING_MM = 0.01
"""Vertices of a drawn outline closer than this to the line through their neighbors are left
out: far below what can be drawn, and ten times less to compute on a dense outline (judgment)."""

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
        it is known from repeat readings: one number, or along u and along v. A
        circle's spread in radius stands under ``<id>.radius``.
    """

    draws: int = DRAWS
    seed: int = 20_260_101
    observer_sd_mm: Mapping[str, Spreads] = field(default_factory=dict[str, Spreads])

    def sd_mm(self, entry: LandmarkDefinition) -> Floats:
        """Spread along u and along v, in the plane of the hip, shape (2,)."""
        own = self.observer_sd_mm.get(entry.id, entry.observer_sd_mm)
        return np.broadcast_to(np.asarray(own, dtype=np.float64), (2,))

    def radius_sd_mm(self, entry: LandmarkDefinition) -> float:
        """Spread of a circle's radius."""
        own = self.observer_sd_mm.get(f"{entry.id}.radius", entry.observer_sd_radius_mm)
        return float(np.mean(own))

    def normals(self, catalog: Catalog) -> Mapping[str, Floats]:
        """Standard normals by key, (draws + 1, 3), the first row zero."""
        return normals(self.seed, _keys(catalog), self.draws)


SCALE_KEY = "scale"


def parameter_key(entry: str, parameter: str) -> str:
    """The key under which a construction's parameter is drawn."""
    return f"{entry}#{parameter}"


def _landmark_key(landmark: str, side: object) -> str:
    return f"{landmark}/{side}"


def _keys(catalog: Catalog) -> tuple[str, ...]:
    """All keys of a catalog, in its order."""
    return _keys_of(
        tuple((entry.id, entry.midline) for entry in catalog.landmarks.values()),
        tuple(
            parameter_key(entry.id, name)
            for entry in catalog.measurements.values()
            for name in entry.parameter_sd
        ),
    )


@lru_cache(maxsize=8)
def _keys_of(
    landmarks: tuple[tuple[str, bool], ...], parameters: tuple[str, ...]
) -> tuple[str, ...]:
    sides = {False: ("left", "right"), True: (None,)}
    placed = (_landmark_key(name, side) for name, midline in landmarks for side in sides[midline])
    return (*placed, SCALE_KEY, *parameters)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SampledCircle:
    """A fitted circle as draws: ``center`` (n, 2), ``radius`` (n,), and how well it fitted.

    ``kept`` tells which outline points were taken for the round part; ``rms`` is their
    root-mean-square distance from the circle; ``breath`` (n,) what each draw adds to the radius.
    """

    center: Floats
    radius: Floats
    breath: Floats
    kept: NDArray[np.bool_]
    rms: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sampled:
    """All landmarks of one reading as draws, in the film plane.

    Points are (n, 2), contours (n, m, 2); ``scale`` (n,) is the relative scale of each
    draw, 1 in row 0; ``units_per_mm`` turns spreads in mm into the plane's unit.
    """

    draws: int
    points: Mapping[Key, Floats]
    circles: Mapping[Key, SampledCircle]
    contours: Mapping[Key, Floats]
    scale: Floats
    units_per_mm: float


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
    breathes in radius; a contour on the same edge follows it.

    Raises
    ------
    DegenerateGeometryError
        An outline holds no circle.
    """
    return _Sampler(film, landmarks, catalog, doubt).run()


class _Sampler:
    def __init__(self, film: Film, landmarks: LandmarkSet, catalog: Catalog, doubt: Doubt) -> None:
        self.film = film
        self.landmarks = landmarks
        self.catalog = catalog
        self.doubt = doubt
        self.normals = doubt.normals(catalog)
        self.units_per_mm = 1.0
        self.circles: dict[Key, SampledCircle] = {}

    def run(self) -> Sampled:
        kinds = {item.id: self.catalog.landmark(item.id).kind for item in self.landmarks}
        outlines = [c for c in self.landmarks.contours if kinds[c.id] is LandmarkKind.CIRCLE]
        open_contours = [c for c in self.landmarks.contours if kinds[c.id] is LandmarkKind.CONTOUR]
        fits: dict[Key, _Fit] = {
            (c.id, c.side): _fit(plane_from_px(self.film, c.xy_px)) for c in outlines
        }
        self.units_per_mm = _units_per_mm(self.film, fits)
        self.circles = {key: self._circle(key, fit) for key, fit in fits.items()}
        relative_sd = self.film.calibration.relative_sd
        return Sampled(
            draws=self.doubt.draws + 1,
            points={(p.id, p.side): self._point(p) for p in self.landmarks.points},
            circles=self.circles,
            contours={(c.id, c.side): self._contour(c) for c in open_contours},
            scale=1 + relative_sd * self.normals[SCALE_KEY][:, 0],
            units_per_mm=self.units_per_mm,
        )

    def _shift(self, key: Key) -> Floats:
        sd = self.units_per_mm * self.doubt.sd_mm(self.catalog.landmark(key[0]))
        return sd * self._normals(key)[:, :2]

    def _normals(self, key: Key) -> Floats:
        return self.normals[_landmark_key(*key)]

    def _point(self, placed: PlacedPoint) -> Floats:
        key = (placed.id, placed.side)
        at = plane_from_px(self.film, np.array([placed.x_px, placed.y_px]))
        if placed.sd_px is None:
            return at + self._shift(key)
        return at + placed.sd_px * self.film.calibration.column_mm * self._normals(key)[:, :2]

    def _circle(self, key: Key, fit: _Fit) -> SampledCircle:
        sd = self.units_per_mm * self.doubt.radius_sd_mm(self.catalog.landmark(key[0]))
        radius = np.maximum(fit.radius + sd * self._normals(key)[:, 2], fit.radius / 2)
        return SampledCircle(
            center=fit.center + self._shift(key),
            radius=radius,
            breath=radius - fit.radius,
            kept=fit.kept,
            rms=fit.rms,
        )

    def _contour(self, placed: PlacedContour) -> Floats:
        key = (placed.id, placed.side)
        tolerance = THINNING_MM * self.units_per_mm
        at = _thinned(plane_from_px(self.film, placed.xy_px).tobytes(), tolerance)
        drawn = at + self._shift(key)[:, None, :]
        circle = self.circles.get((self.catalog.landmark(placed.id).moves_with, placed.side))
        if circle is None:
            return drawn
        arms = at - circle.center[0]
        outward = arms / np.maximum(np.hypot(*arms.T), 1e-12)[:, None]
        carried = (circle.center - circle.center[0])[:, None, :]
        return drawn + carried + circle.breath[:, None, None] * outward


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fit:
    center: Floats
    radius: float
    kept: NDArray[np.bool_]
    rms: float


def _fit(outline: Floats) -> _Fit:
    return _fit_again(np.ascontiguousarray(outline).tobytes())


@lru_cache(maxsize=64)
def _fit_again(outline_bytes: bytes) -> _Fit:
    """The fit of an outline, remembered: most changes of a reading leave the heads alone."""
    outline = np.frombuffer(outline_bytes, dtype=np.float64).reshape(-1, 2)
    extent = float(np.ptp(outline, axis=0).max()) / 2
    center, radius, kept = fit_round_part(outline, tolerance=BUMP_TOLERANCE_SHARE * extent)
    off: Floats = np.linalg.norm(outline[kept] - center, axis=-1) - radius
    return _Fit(center=center, radius=radius, kept=kept, rms=float(np.sqrt(np.mean(off**2))))


def _units_per_mm(film: Film, fits: Mapping[Key, _Fit]) -> float:
    if film.calibration.is_calibrated:
        return 1.0
    radii = [fit.radius for key, fit in fits.items() if key[0] == "femoral_head"]
    if radii:
        return float(np.mean(radii)) / NOMINAL_HEAD_RADIUS_MM
    return 1 / FALLBACK_PIXEL_MM


@lru_cache(maxsize=256)
def _thinned(outline_bytes: bytes, tolerance: float) -> Floats:
    """A drawn outline without needless vertices, remembered."""
    return thinned(np.frombuffer(outline_bytes, dtype=np.float64).reshape(-1, 2), tolerance)
