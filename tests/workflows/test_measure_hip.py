"""Measuring the films of a case from their readings."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hipwright.catalog import load
from hipwright.domain.errors import LandmarkError
from hipwright.domain.keeping import Image, ImageKind, Laterality
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.measurement import Measurement, NotMeasured
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.engines.measurement.doubt import Doubt
from hipwright.workflows.measure_hip import (
    check_landmarks,
    measure_case,
    measure_landmarks,
    newest_reading,
)
from hipwright.workflows.reading_doubt import Circumstances
from hipwright.workflows.save_reading import save_reading
from tests.analytic_cases import ANALYTIC, SMALL, KeptCase, keep_case, perfect_reading
from tests.contract.fakes import MemoryKeeper

LCEA = "lateral_center_edge_angle.sourcil"
DEG = 0.2  # what the angles of analytic hips must be recovered to


@pytest.fixture
def keeper() -> MemoryKeeper:
    return MemoryKeeper()


def read(keeper: MemoryKeeper, kept: KeptCase, key: str, **who: object) -> None:
    landmarks = replace(perfect_reading(kept, key), **who)
    save_reading(keeper, kept.case, kept.images[key], landmarks)


def values(findings: tuple[object, ...], side: Side) -> dict[str, float]:
    return {
        f.definition: f.value for f in findings if isinstance(f, Measurement) and f.side is side
    }


def test_every_film_of_the_hip_is_measured_oldest_first(keeper: MemoryKeeper) -> None:
    kept = keep_case(keeper, "after_ap", "dunn", "false_profile", "ap")  # as they came in
    for key in kept.images:
        read(keeper, kept, key)
    measured = measure_case(keeper, kept.case)
    days = [shown.image.acquired_on for shown in measured]
    assert days == sorted(days, key=lambda day: day or date.max)
    assert len(measured) == 4
    for shown in measured:
        key = next(k for k, image in kept.images.items() if image.id == shown.image.id)
        made, _ = ANALYTIC[key]
        for definition, value in values(shown.findings, Side.LEFT).items():
            if definition.startswith(("lateral_center", "anterior_center", "neck_shaft", "roof")):
                assert value == pytest.approx(made.truth[definition, Side.LEFT], abs=DEG)


def test_a_film_without_a_reading_measures_nothing_and_says_why(keeper: MemoryKeeper) -> None:
    kept = keep_case(keeper, "ap")
    (shown,) = measure_case(keeper, kept.case)
    assert shown.reading is None
    assert shown.findings
    for finding in shown.findings:
        assert isinstance(finding, NotMeasured)
        assert finding.reason


def test_the_other_hip_is_measured_when_it_is_asked_for(keeper: MemoryKeeper) -> None:
    kept = keep_case(keeper, "ap")
    read(keeper, kept, "ap")
    (alone,), (both,) = (
        measure_case(keeper, kept.case),
        measure_case(keeper, kept.case, both_sides=True),
    )
    assert not values(alone.findings, Side.RIGHT)
    assert set(values(both.findings, Side.RIGHT)) == set(values(both.findings, Side.LEFT))


def test_slices_and_films_of_the_other_hip_are_left_out(keeper: MemoryKeeper) -> None:
    kept = keep_case(keeper, "ap", "dunn", "false_profile")
    changes: dict[str, dict[str, object]] = {
        "dunn": {"laterality": Laterality.RIGHT},
        "false_profile": {"view": View.CT},
    }
    for key, change in changes.items():
        changed: Image = replace(kept.images[key], **change)
        keeper.change_image(changed, expected_version=1)
    keeper.add_image(replace(kept.images["ap"], id=keeper.new_id(), kind=ImageKind.SERIES))
    assert [shown.image.id for shown in measure_case(keeper, kept.case)] == [kept.images["ap"].id]


def test_the_newest_reading_counts_unless_an_observer_is_named(keeper: MemoryKeeper) -> None:
    kept = keep_case(keeper, "ap")
    read(keeper, kept, "ap", observer="human:first")
    read(keeper, kept, "ap", observer="human:second")
    image = kept.images["ap"].id
    newest = newest_reading(keeper, image, None)
    assert newest is not None
    assert newest.landmarks.observer == "human:second"
    (shown,) = measure_case(keeper, kept.case, observer="human:first")
    assert shown.reading is not None
    assert {f.observer for f in shown.findings if isinstance(f, Measurement)} == {"human:first"}
    assert newest_reading(keeper, image, "human:nobody") is None


def test_a_readers_own_spread_takes_the_place_of_the_catalogs() -> None:
    made, _ = ANALYTIC["ap"]
    given = Circumstances(doubt=Doubt(observer_sd_mm=dict.fromkeys(load().landmarks, 0.01)))
    (steady,) = measure_landmarks(
        made.film, made.landmarks, [Side.LEFT], only={LCEA}, circumstances=given
    )
    (usual,) = measure_landmarks(made.film, made.landmarks, [Side.LEFT], only={LCEA})
    assert isinstance(steady, Measurement)
    assert isinstance(usual, Measurement)
    width = [found.estimate.high - found.estimate.low for found in (steady, usual)]
    assert width[0] < 0.1 * width[1]
    assert steady.value == usual.value


def test_ten_repeat_readings_of_a_steady_reader_narrow_the_interval(
    keeper: MemoryKeeper,
) -> None:
    kept = keep_case(keeper, "ap")

    def interval_width() -> float:
        (shown,) = measure_case(keeper, kept.case)
        found = next(f for f in shown.findings if f.definition == LCEA)
        assert isinstance(found, Measurement)
        return found.estimate.high - found.estimate.low

    read(keeper, kept, "ap", observer="human:steady")
    usual = interval_width()
    for number in range(2, 6):
        read(keeper, kept, "ap", observer="human:steady", reading=number)
    assert interval_width() == usual  # four repeats of two hips are not ten
    read(keeper, kept, "ap", observer="human:steady", reading=6)
    assert interval_width() < 0.5 * usual


def a_set(*points: PlacedPoint, contours: tuple[PlacedContour, ...] = ()) -> LandmarkSet:
    return LandmarkSet(image="film", observer="human:x", points=points, contours=contours)


def a_point(name: str, side: Side | None, x_px: float = 9.0, y_px: float = 9.0) -> PlacedPoint:
    return PlacedPoint(id=name, side=side, x_px=x_px, y_px=y_px)


@pytest.mark.parametrize(
    ("point", "words"),
    [
        (a_point("nose", Side.LEFT), "catalog does not have"),
        (a_point("alpha_onset", None), "left or right"),
        (a_point("coccyx_tip", Side.LEFT), "lies in the midline"),
        (a_point("alpha_onset", Side.LEFT, x_px=SMALL.columns), "a place on the picture"),
        (a_point("alpha_onset", Side.LEFT, y_px=-1.0), "a place on the picture"),
    ],
)
def test_a_landmark_that_cannot_be_is_refused_by_name(point: PlacedPoint, words: str) -> None:
    film, _ = ANALYTIC["ap"]
    with pytest.raises(LandmarkError, match=point.id) as caught:
        measure_landmarks(film.film, a_set(point), [Side.LEFT])
    assert words in str(caught.value)
    assert caught.value.field == point.id
    assert caught.value.next_step


def test_an_outline_that_leaves_the_picture_is_refused_by_name() -> None:
    film, _ = ANALYTIC["ap"]
    xy = np.array([[5.0, 5.0], [SMALL.columns + 4.0, 5.0]])
    outline = PlacedContour(id="anterior_rim", side=Side.LEFT, xy_px=xy)
    with pytest.raises(LandmarkError, match="anterior_rim"):
        check_landmarks(film.film, a_set(contours=(outline,)), load())


@given(
    st.floats(-0.5, SMALL.columns - 0.5),
    st.floats(-0.5, SMALL.rows - 0.5),
)
def test_every_place_from_edge_to_edge_of_the_picture_is_taken(x: float, y: float) -> None:
    film, _ = ANALYTIC["ap"]
    check_landmarks(film.film, a_set(a_point("alpha_onset", Side.LEFT, x, y)), load())
