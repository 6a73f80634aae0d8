"""Circle fits against general-purpose libraries, and against bumps."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares
from skimage.measure import CircleModel

from hipwright.engines.geometry.circles import (
    fit_circle,
    fit_circles,
    fit_round_part,
    fit_shifted_arcs,
)

Floats = NDArray[np.float64]
SAME = 1e-6  # mm: both solvers stop far below it
RADIUS, CENTER = 24.0, np.array([412.3, -77.1])
NOISE_MM = 0.15


def outline(generator: np.random.Generator, first: float, last: float, count: int) -> Floats:
    angle = np.radians(np.linspace(first, last, count))
    arms = RADIUS * np.column_stack([np.cos(angle), np.sin(angle)])
    return CENTER + arms + generator.normal(0, NOISE_MM, (count, 2))


def by_scipy(xy: Floats) -> Floats:
    def off(guess: Floats) -> Floats:
        return np.hypot(*(xy - guess[:2]).T) - guess[2]

    start = np.array([*xy.mean(axis=0), 20.0])
    return np.asarray(least_squares(off, start, xtol=1e-14, ftol=1e-14, gtol=1e-14).x)


@pytest.mark.parametrize(("first", "last", "count"), [(0, 350, 40), (20, 220, 24), (40, 150, 9)])
def test_circle_fit_is_the_one_of_scipys_least_squares(
    generator: np.random.Generator, first: float, last: float, count: int
) -> None:
    xy = outline(generator, first, last, count)
    center, radius = fit_circle(xy)
    assert np.array([*center, radius]) == pytest.approx(by_scipy(xy), abs=SAME)


def test_circle_fit_is_near_the_one_of_scikit_image(generator: np.random.Generator) -> None:
    """Its circle model minimizes squared areas, not distances: alike on a clean outline."""
    xy = outline(generator, 0, 350, 60)
    model = CircleModel.from_estimate(xy)
    center, radius = fit_circle(xy)
    assert np.array([*center, radius]) == pytest.approx([*model.center, model.radius], abs=0.01)


def test_fits_of_many_outlines_are_the_single_fits(generator: np.random.Generator) -> None:
    many = np.array([outline(generator, 10 * k, 10 * k + 90, 7) for k in range(5)])
    centers, radii = fit_circles(many)
    for xy, center, radius in zip(many, centers, radii, strict=True):
        alone, size = fit_circle(xy)
        assert np.array([*center, radius]) == pytest.approx([*alone, size], abs=1e-3)


def test_fits_of_outlines_on_a_line_are_not_a_number() -> None:
    centers, radii = fit_circles(np.array([[[0.0, 0.0], [1.0, 1.0], [2.0, 2.0], [3.0, 3.0]]]))
    assert np.isnan(centers).all()
    assert np.isnan(radii).all()


@pytest.mark.parametrize("higher", [-9.0, -2.0, 0.0, 4.0, 12.0])
def test_shifted_arcs_are_fitted_as_scipys_least_squares_fits_them(
    generator: np.random.Generator, higher: float
) -> None:
    still = outline(generator, 92, 130, 9)
    shifted = outline(generator, 40, 68, 8) + np.array([0.0, higher])

    def off(guess: Floats) -> Floats:
        both = np.vstack([still, shifted - np.array([0.0, guess[3]])])
        return np.hypot(*(both - guess[:2]).T) - guess[2]

    start = np.array([*still.mean(axis=0) - [0.0, 20.0], 20.0, 0.0])
    expected = least_squares(off, start, xtol=1e-14, ftol=1e-14, gtol=1e-14).x
    center, shift = fit_shifted_arcs(still, shifted)
    assert [*center, float(shift)] == pytest.approx(expected[[0, 1, 3]], abs=1e-4)  # mm
    assert float(shift) == pytest.approx(higher, abs=1.0)  # mm: the noise across the gap


def test_arcs_on_a_line_or_open_upward_have_no_shift() -> None:
    line = np.column_stack([np.arange(8.0), np.arange(8.0)])
    bowl = np.column_stack([np.arange(8.0), (np.arange(8.0) - 3.5) ** 2])
    for arc in (line, bowl):
        _, shift = fit_shifted_arcs(arc[:4], arc[4:])
        assert np.isnan(shift)


BUMPS = {
    "hill on a full outline": (0, 354, 60, (40, 90), 4.0),
    "ramp at the end of a long arc": (20, 260, 48, (20, 75), 4.0),
    "high ramp at the end": (20, 260, 48, (20, 85), 6.0),
}


@pytest.mark.parametrize("bump", BUMPS.values(), ids=BUMPS)
def test_round_part_leaves_the_bump_out(
    generator: np.random.Generator, bump: tuple[float, float, int, tuple[float, float], float]
) -> None:
    first, last, count, (low, high), height = bump
    xy = outline(generator, first, last, count)
    degrees = np.linspace(first, last, count)
    share = np.clip((high - degrees) / (high - low), 0, None) * (degrees >= low)
    hill = np.sin(np.pi * np.clip(share, 0, 1)) if first == 0 else share
    arms = (xy - CENTER) / np.linalg.norm(xy - CENTER, axis=1)[:, None]
    raised = xy + (height * hill)[:, None] * arms
    plain_center, _ = fit_circle(raised)
    center, radius, kept = fit_round_part(raised, tolerance=0.5)
    off, plain_off = np.hypot(*(center - CENTER)), np.hypot(*(plain_center - CENTER))
    assert not kept[height * hill > 1.5].any()
    assert off < 0.6  # mm: one tolerance of the low end of the ramp stays in
    assert off < plain_off / 2
    assert radius == pytest.approx(RADIUS, abs=0.5)


def test_round_part_leaves_the_pit_of_the_ligament_out(generator: np.random.Generator) -> None:
    """Five of 21 places lie in a pit 1.5 mm deep, as on a film of real bones (tests/studies)."""
    degrees = np.linspace(-40, 120, 21)
    depth = np.interp(degrees, [-4, 2, 14, 32], [0.0, 1.5, 1.5, 0.0])
    arms = np.column_stack([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    dented = CENTER + (RADIUS - depth)[:, None] * arms + generator.normal(0, 0.05, (21, 2))
    center, radius, kept = fit_round_part(dented, tolerance=0.02 * RADIUS)
    assert not kept[depth > 1.0].any()
    assert np.hypot(*(center - CENTER)) < 0.3  # mm
    assert radius == pytest.approx(RADIUS, abs=0.3)


def test_round_part_takes_a_place_clicked_twice(generator: np.random.Generator) -> None:
    xy = np.repeat(outline(generator, 0, 330, 10), 2, axis=0)
    center, _, _ = fit_round_part(xy, tolerance=0.5)
    assert np.hypot(*(center - CENTER)) < 0.3  # mm


def test_round_part_of_a_clean_outline_is_its_fit(generator: np.random.Generator) -> None:
    xy = outline(generator, 0, 350, 40)
    center, radius, kept = fit_round_part(xy, tolerance=0.6)
    alone, size = fit_circle(xy)
    assert kept.all()
    assert np.array([*center, radius]) == pytest.approx([*alone, size])


def test_round_part_of_few_points_leaves_none_out() -> None:
    xy = np.array([[24.0, 0.0], [0.0, 24.0], [-24.0, 0.0], [0.0, -29.0]])
    _, _, kept = fit_round_part(xy, tolerance=0.5)
    assert kept.all()


def test_round_part_falls_back_where_most_of_the_outline_would_go(
    generator: np.random.Generator,
) -> None:
    scattered = generator.uniform(-30, 30, (40, 2))
    center, radius, kept = fit_round_part(scattered, tolerance=0.1)
    alone, size = fit_circle(scattered)
    assert kept.all()
    assert np.array([*center, radius]) == pytest.approx([*alone, size])
