"""What must not change a measurement, does not; what must, does so in the right direction."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hipwright.catalog import load
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.measurement import Measurement, Unit
from hipwright.domain.side import Side
from hipwright.domain.study import Film, View
from hipwright.engines.measurement.doubt import Doubt
from hipwright.phantoms.analytic_film import AnalyticFilm, FilmMaking, lateral_film, pelvis_film
from hipwright.phantoms.analytic_hip import KINDS, AnalyticFemur, AnalyticHip, AnalyticSocket
from tests.golden.readings_of_phantoms import Key, findings_of, measured

FEW = Doubt(draws=20)
EXACT = 1e-6  # degrees, mm or %: rounding of pixels to mm and back
THINNED = 0.05  # outlines are thinned to 0.01 mm, and differently on another grid
THINNED_ENTRIES = ("departure", "triangular", "joint_space")
SLOW = settings(max_examples=12, deadline=None)


def close(name: str) -> float:
    return THINNED if any(part in name for part in THINNED_ENTRIES) else EXACT


def moved(made: AnalyticFilm, matrix: np.ndarray, shift: tuple[float, float]) -> LandmarkSet:
    """Every landmark through a linear map about the middle of the picture, then shifted."""
    middle = np.array([(made.film.columns - 1) / 2, (made.film.rows - 1) / 2])

    def go(xy: np.ndarray) -> np.ndarray:
        return (xy - middle) @ matrix.T + middle + np.array(shift)

    points: list[PlacedPoint] = []
    for p in made.landmarks.points:
        x, y = go(np.array([p.x_px, p.y_px]))
        points.append(replace(p, x_px=float(x), y_px=float(y)))
    contours = [
        PlacedContour(id=c.id, side=c.side, xy_px=go(c.xy_px)) for c in made.landmarks.contours
    ]
    return replace(made.landmarks, points=tuple(points), contours=tuple(contours))


def values(film: Film, landmarks: LandmarkSet) -> dict[Key, float]:
    found = findings_of(film, landmarks, doubt=FEW)
    return {k: v.value for k, v in found.items() if isinstance(v, Measurement)}


def same(one: dict[Key, float], other: dict[Key, float]) -> None:
    assert one.keys() == other.keys()
    for key, value in one.items():
        assert other[key] == pytest.approx(value, abs=close(key[0])), key


PELVIS = pelvis_film({Side.LEFT: KINDS["cam"], Side.RIGHT: KINDS["retroverted"]})


@SLOW
@given(kind=st.sampled_from(list(KINDS)), roll=st.floats(-8, 8), mirrored=st.booleans())
def test_a_left_hip_measures_like_its_mirrored_right_hip(
    kind: str, roll: float, mirrored: bool
) -> None:
    hips = dict.fromkeys(Side, KINDS[kind])
    making = FilmMaking(roll_deg=roll, mirrored=mirrored)
    found = measured(pelvis_film(hips, making=making), doubt=FEW)
    for (name, side), value in found.items():
        if side is Side.LEFT:
            other = found[name, Side.RIGHT].value
            assert other == pytest.approx(value.value, abs=close(name)), name


@SLOW
@given(column=st.floats(-400, 400), row=st.floats(-400, 400))
def test_shifting_all_landmarks_changes_nothing(column: float, row: float) -> None:
    before = values(PELVIS.film, PELVIS.landmarks)
    same(before, values(PELVIS.film, moved(PELVIS, np.eye(2), (column, row))))


@SLOW
@given(roll=st.floats(-12, 12))
def test_rolling_the_whole_film_changes_nothing_once_it_is_leveled(roll: float) -> None:
    cos, sin = np.cos(np.radians(roll)), np.sin(np.radians(roll))
    turned = moved(PELVIS, np.array([[cos, -sin], [sin, cos]]), (0, 0))
    same(values(PELVIS.film, PELVIS.landmarks), values(PELVIS.film, turned))


@SLOW
@given(factor=st.floats(0.6, 1.5))
def test_enlarging_changes_lengths_alone_and_by_its_factor(factor: float) -> None:
    larger = moved(PELVIS, factor * np.eye(2), (0, 0))
    after = values(PELVIS.film, larger)
    catalog = load()
    for key, value in values(PELVIS.film, PELVIS.landmarks).items():
        entry = catalog.measurement(key[0])
        if entry.needs_scale:
            continue
        expected = value * factor if entry.unit is Unit.MILLIMETER else value
        assert after[key] == pytest.approx(expected, abs=close(key[0])), key


@SLOW
@given(degrees=st.floats(-25, 25))
def test_rolling_a_lateral_changes_no_angle_of_the_neck(degrees: float) -> None:
    made = lateral_film(Side.LEFT, KINDS["cam"], view=View.LATERAL_OTHER)
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    turned = moved(made, np.array([[cos, -sin], [sin, cos]]), (0, 0))
    same(values(made.film, made.landmarks), values(made.film, turned))


def measure(hip: AnalyticHip, name: str) -> float:
    made = pelvis_film({Side.LEFT: hip, Side.RIGHT: hip})
    return measured(made, doubt=FEW)[name, Side.LEFT].value


@SLOW
@given(less=st.floats(5, 44), more=st.floats(0.5, 10))
def test_more_cover_is_a_larger_center_edge_angle_and_less_extrusion(
    less: float, more: float
) -> None:
    hips = [AnalyticHip(socket=AnalyticSocket(lcea_rim_deg=lcea)) for lcea in (less, less + more)]
    small, large = (measure(hip, "lateral_center_edge_angle.rim") for hip in hips)
    assert large > small
    assert measure(hips[1], "extrusion_index") < measure(hips[0], "extrusion_index")


@SLOW
@given(onset=st.floats(50, 75), more=st.floats(0.5, 10))
def test_an_earlier_onset_is_a_larger_alpha_by_every_variant(onset: float, more: float) -> None:
    low, high = (
        AnalyticHip(femur=AnalyticFemur(cam_onset_deg=angle)) for angle in (onset, onset + more)
    )
    before, after = (
        {n: v.value for (n, _), v in measured(lateral_film(Side.LEFT, h), doubt=FEW).items()}
        for h in (low, high)
    )
    alphas = [name for name in before if name.startswith("alpha_angle")]
    assert len(alphas) == 6
    for name in alphas:
        assert after[name] - before[name] == pytest.approx(more, abs=THINNED), name


@SLOW
@given(low=st.floats(5, 30), more=st.floats(1, 15))
def test_rims_that_cross_lower_have_a_larger_index(low: float, more: float) -> None:
    small, large = (
        measure(
            AnalyticHip(
                socket=AnalyticSocket(
                    retroversion_percent=percent, posterior_wall_mm=4.0, anterior_wall_index=0.6
                )
            ),
            "retroversion_index",
        )
        for percent in (low, min(low + more, 40))
    )
    assert large > small


@SLOW
@given(wide=st.floats(2, 6), less=st.floats(0.2, 1.5))
def test_a_narrower_joint_space_measures_narrower(wide: float, less: float) -> None:
    def hip(mm: float) -> AnalyticHip:
        socket = AnalyticSocket(
            space_lateral_mm=mm, space_apical_mm=mm + 0.5, space_medial_mm=mm + 1
        )
        return AnalyticHip(socket=socket)

    name = "joint_space.minimum"
    assert measure(hip(wide), name) - measure(hip(wide - less), name) == pytest.approx(
        less, abs=THINNED
    )
