"""The parts that find something by themselves: the circle of the head, the pelvic baseline."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from skimage.measure import CircleModel

from hipwright.catalog import load
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.engines.geometry.circles import fit_round_part
from hipwright.engines.measurement.doubt import BUMP_TOLERANCE_SHARE
from hipwright.engines.measurement.measure import read_film
from hipwright.phantoms.analytic_film import AnalyticFilm
from hipwright.phantoms.film_truth import head_circle_px
from hipwright.phantoms.people import Person
from tests.golden.noisy_readings import read_again
from tests.studies.errors import FEW, Measured
from tests.studies.perfect_readings import PerfectReading

HAND_MM = 0.3
"""Spread of one click across the outline (judgment)."""

CLICKS = 30
SEED = 20_261_127


@dataclass(frozen=True, slots=True, kw_only=True)
class CircleError:
    """One outline clicked by hand, over the bump too: errors of plain and of robust fit, mm."""

    bump_mm: float
    plain_center: float
    plain_radius: float
    robust_center: float
    robust_radius: float


def circle_errors(
    person: Person, bumps: dict[Side, float], reading: PerfectReading, repeats: int = 10
) -> Iterator[CircleError]:
    """Click round the head of a Dunn film down to 45° from the neck axis, the bump included."""
    side = reading.side
    assert side is not None
    generator = np.random.default_rng([SEED, int(1000 * bumps[side])])
    center, radius = head_circle_px(reading.simulated, person.truth.hip(side))
    outline = _outline_px(reading, side, center)
    mm = reading.film.calibration.column_mm
    for _ in range(repeats):
        clicks = mm * outline + generator.normal(0, HAND_MM, outline.shape)
        plain = CircleModel.from_estimate(clicks)
        robust, size, _ = fit_round_part(clicks, tolerance=BUMP_TOLERANCE_SHARE * radius * mm)
        yield CircleError(
            bump_mm=bumps[side],
            plain_center=float(np.linalg.norm(plain.center - mm * center)),
            plain_radius=float(plain.radius - mm * radius),
            robust_center=float(np.linalg.norm(robust - mm * center)),
            robust_radius=size - mm * radius,
        )


def _outline_px(reading: PerfectReading, side: Side, center: np.ndarray) -> np.ndarray:
    """Evenly spaced places on the traced outline, from 45° to 272° from the neck axis."""
    head = reading.landmarks.contour("femoral_head", side)
    upper = reading.landmarks.contour("head_neck_contour", side)
    necks = [
        reading.landmarks.point(f"femoral_neck_{end}", side) for end in ("superior", "inferior")
    ]
    assert head is not None
    assert upper is not None
    middle = np.mean([[p.x_px, p.y_px] for p in necks if p is not None], axis=0) - center
    first = head.xy_px[0] - center
    turn = np.sign(middle[0] * first[1] - middle[1] * first[0])

    def from_neck(xy: np.ndarray) -> np.ndarray:
        arm = xy - center
        across = turn * (middle[0] * arm[:, 1] - middle[1] * arm[:, 0])
        return np.degrees(np.arctan2(across, arm @ middle)) % 360

    own = from_neck(upper.xy_px)
    bump = upper.xy_px[(own > 45.0) & (own < 88.0)]
    whole = np.vstack([bump, head.xy_px])
    angles = from_neck(whole)
    order = np.argsort(angles)
    even = np.linspace(angles[order][0], angles[order][-1], CLICKS)
    distance = np.interp(even, angles[order], np.linalg.norm(whole[order] - center, axis=1))
    start = np.arctan2(middle[1], middle[0])
    way = start + turn * np.radians(even)
    return center + distance[:, None] * np.column_stack([np.cos(way), np.sin(way)])


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelError:
    """Baseline less the true roll, degrees; of a perfect and of an ordinary reading."""

    neutral: bool
    heads: float
    teardrops: float
    noisy_heads: float


def level_errors(readings: Sequence[Measured]) -> Iterator[LevelError]:
    """How well AP films are leveled."""
    generator, catalog = np.random.default_rng(SEED), load()
    for one in readings:
        reading = one.reading
        if reading.view is not View.PELVIS_AP:
            continue
        true = -reading.position.roll_deg  # roll is clockwise, a rise against the clock
        perfect = read_film(reading.film, reading.landmarks, catalog=catalog, doubt=FEW).leveling
        made = AnalyticFilm(film=reading.film, landmarks=reading.landmarks, truth={})
        film, landmarks = read_again(made, catalog, generator)
        noisy = read_film(film, landmarks, catalog=catalog, doubt=FEW).leveling
        own = float(np.degrees(perfect.roll_rad[0]))
        yield LevelError(
            neutral=reading.position.is_neutral,
            heads=own - true,
            teardrops=own + (perfect.other_deg or 0.0) - true,
            noisy_heads=float(np.degrees(noisy.roll_rad[0])) - true,
        )
