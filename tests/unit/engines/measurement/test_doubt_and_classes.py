"""Draws, intervals, classes and the film's position."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from hipwright.catalog import load
from hipwright.domain.errors import UnitError
from hipwright.domain.measurement import Measurement
from hipwright.domain.quantities import Angle
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.engines.anatomy.canonical import FilmBorder
from hipwright.engines.measurement.classes import band_of, classify, interval
from hipwright.engines.measurement.construction import Circles
from hipwright.engines.measurement.doubt import Doubt
from hipwright.engines.measurement.draws import normals
from hipwright.engines.measurement.measure import (
    HipOnFilm,
    film_position,
    head_circles,
    measure_film,
    read_film,
)
from hipwright.engines.measurement.position import NOT_CHECKED
from hipwright.engines.measurement.shelf import CONSTRUCTIONS
from hipwright.phantoms.analytic_film import (
    AnalyticFilm,
    AnalyticPelvis,
    FilmMaking,
    pelvis_film,
)
from hipwright.phantoms.analytic_hip import KINDS, AnalyticHip, AnalyticSocket
from tests.golden.readings_of_phantoms import findings_of, measured

CATALOG = load()
LCEA = "lateral_center_edge_angle.sourcil"
BOTH = dict.fromkeys(Side, KINDS["normal"])


def lcea_film(degrees: float) -> AnalyticFilm:
    hip = AnalyticHip(socket=AnalyticSocket(lcea_sourcil_deg=degrees))
    return pelvis_film(dict.fromkeys(Side, hip))


def test_draws_are_standard_uncorrelated_and_mirrored() -> None:
    drawn = normals(5, tuple(f"k{i}" for i in range(60)), 600)
    columns = np.hstack(list(drawn.values()))[1:]
    assert columns.mean(axis=0) == pytest.approx(0, abs=1e-12)
    assert columns.T @ columns / 600 == pytest.approx(np.eye(180), abs=1e-9)
    assert columns[:300] == pytest.approx(-columns[300:])
    assert stats.kurtosis(columns, axis=None) == pytest.approx(0, abs=0.1)


def test_draws_with_fewer_rows_than_columns_are_still_standard() -> None:
    drawn = normals(5, tuple(f"k{i}" for i in range(60)), 41)
    columns = np.hstack(list(drawn.values()))
    assert columns.shape == (42, 180)
    assert (columns[0] == 0).all()
    assert columns[1:].std() == pytest.approx(1, abs=0.05)


def test_interval_of_normal_draws_is_two_standard_deviations_to_either_side() -> None:
    scores = stats.norm.ppf((np.arange(600) + 0.5) / 600)
    estimate = interval(np.concatenate([[30.0], 30 + 2 * scores]))
    assert (estimate.low, estimate.high) == pytest.approx((26.08, 33.92), abs=0.02)


def test_interval_of_skewed_draws_keeps_its_tails() -> None:
    draws = np.random.default_rng(1).gamma(9.0, 1.0, 4000)
    estimate = interval(np.concatenate([[9.0], draws]))
    expected = (stats.gamma.ppf(0.025, 9.0), stats.gamma.ppf(0.975, 9.0))
    assert (estimate.low, estimate.high) == pytest.approx(expected, abs=0.25)


def test_interval_of_draws_that_heap_up_is_counted_off() -> None:
    draws = np.concatenate([np.zeros(500), np.linspace(5, 10, 100)])
    estimate = interval(np.concatenate([[0.0], draws]))
    assert estimate.low == 0.0
    assert estimate.high == pytest.approx(np.quantile(draws, 0.975))


def test_interval_without_draws_is_the_value() -> None:
    estimate = interval(np.array([30.0]))
    assert (estimate.low, estimate.high) == (30.0, 30.0)


def test_interval_of_what_is_not_a_number_is_refused() -> None:
    with pytest.raises(UnitError):
        interval(np.array([np.nan, np.nan]))


def test_no_doubt_gives_no_interval() -> None:
    none = dict.fromkeys(CATALOG.landmarks, 0.0) | {"femoral_head.radius": 0.0}
    found = measured(lcea_film(29), doubt=Doubt(observer_sd_mm=none))
    estimate = found[LCEA, Side.LEFT].estimate
    assert (estimate.low, estimate.high) == pytest.approx((29, 29))
    sharp = found["extrusion_index", Side.LEFT].estimate
    assert sharp.high - sharp.low == pytest.approx(0, abs=1e-9)


def test_the_readers_own_spread_replaces_the_catalogs() -> None:
    made = lcea_film(29)
    own = Doubt(observer_sd_mm={"sourcil_lateral_edge": (2.0, 0.4)})
    wide = measured(made, doubt=own)[LCEA, Side.LEFT].estimate
    usual = measured(made)[LCEA, Side.LEFT].estimate
    assert wide.high - wide.low > 1.8 * (usual.high - usual.low)


def test_a_points_own_spread_in_pixels_counts_for_it_alone() -> None:
    made = lcea_film(29)
    points = tuple(
        replace(p, sd_px=0.0) if p.id == "sourcil_lateral_edge" else p
        for p in made.landmarks.points
    )
    narrow = findings_of(made.film, replace(made.landmarks, points=points))[LCEA, Side.LEFT]
    usual = measured(made)[LCEA, Side.LEFT].estimate
    assert isinstance(narrow, Measurement)
    assert narrow.estimate.high - narrow.estimate.low < usual.high - usual.low


def test_moving_one_landmark_does_not_change_another_ones_number() -> None:
    made = lcea_film(29)
    points = tuple(
        replace(p, x_px=p.x_px + 5) if p.id == "alpha_onset" else p for p in made.landmarks.points
    )
    before = measured(made)
    after = findings_of(made.film, replace(made.landmarks, points=points))
    changed = {
        key
        for key, value in before.items()
        if value.estimate != getattr(after[key], "estimate", 0)
    }
    assert {name for name, _ in changed} == {"alpha_angle.three_point", "alpha_angle.anatomic"}


def test_the_doubt_of_the_scale_widens_lengths_alone() -> None:
    hips = dict.fromkeys(Side, KINDS["normal"])
    sure = measured(pelvis_film(hips))
    unsure = measured(pelvis_film(hips, making=FilmMaking(relative_sd=0.2)))
    width = [f["pelvic_tilt.sacrococcygeal_symphysis", None].estimate for f in (sure, unsure)]
    assert width[1].high - width[1].low > 3 * (width[0].high - width[0].low)
    assert sure[LCEA, Side.LEFT].estimate == unsure[LCEA, Side.LEFT].estimate


def test_uncalibrated_films_have_the_same_angular_doubt() -> None:
    sure = measured(pelvis_film(BOTH))[LCEA, Side.LEFT].estimate
    blind = measured(pelvis_film(BOTH, making=FilmMaking(calibrated=False)))
    other = blind[LCEA, Side.LEFT].estimate
    assert other.high - other.low == pytest.approx(sure.high - sure.low, rel=0.02)


def test_kernel_on_draws_is_the_public_function_on_each_of_them() -> None:
    made = lcea_film(29)
    read = read_film(made.film, made.landmarks, catalog=CATALOG, doubt=Doubt(draws=12))
    hip = HipOnFilm(read, FilmBorder(film=made.film, side=Side.LEFT))
    for name in ("femoral_head_center", "sourcil_lateral_edge", "femoral_head"):
        assert hip.input(name) is not None
    entry = CATALOG.measurement("extrusion_index")
    head, rim = hip.input("femoral_head"), hip.input("acetabular_rim_lateral")
    assert isinstance(head, Circles)
    assert isinstance(rim, np.ndarray)
    many = CONSTRUCTIONS[entry.id].evaluate(head, rim)
    for row in range(13):
        one = Circles(center=head.center[row], radius=head.radius[row])
        assert CONSTRUCTIONS[entry.id].evaluate(one, rim[row]) == pytest.approx(many[row])


def test_class_of_a_value_far_from_a_threshold_is_one() -> None:
    value = measured(lcea_film(33))[LCEA, Side.LEFT]
    assert value.classification is not None
    assert value.classification.name == "normal"
    assert value.classification.in_words() == "normal"


def test_class_of_a_value_at_a_threshold_is_split_and_says_what_settles_it() -> None:
    value = measured(lcea_film(25.2))[LCEA, Side.LEFT]
    chosen = value.classification
    assert chosen is not None
    assert chosen.is_split
    assert {share.name for share in chosen.shares} == {"normal", "borderline"}
    assert sum(share.share for share in chosen.shares) == pytest.approx(1)
    assert "%" in chosen.in_words()
    assert chosen.settles
    assert chosen.variant == "unstated"
    assert not chosen.reference.seen.is_first_hand


def test_unrounded_values_are_compared() -> None:
    entry = CATALOG.measurement(LCEA)
    chosen = entry.range_for(View.PELVIS_AP)
    assert chosen is not None
    assert band_of(19.9999, chosen) == "dysplastic"
    assert band_of(20.0, chosen) == "borderline"


def test_an_entry_without_ranges_has_no_class() -> None:
    entry = CATALOG.measurement("alpha_angle.three_point.departure_half_mm")
    values = np.array([60.0, 61.0])
    assert classify(values, interval(values), entry, View.PELVIS_AP, CATALOG) is None


def test_draws_beyond_the_interval_do_not_split_a_class() -> None:
    entry = CATALOG.measurement(LCEA)
    values = np.concatenate([[30.0, 24.9], np.linspace(26.0, 34.0, 199)])
    estimate = interval(values)
    assert estimate.low > 25.0
    found = classify(values, estimate, entry, View.PELVIS_AP, CATALOG)
    assert found is not None
    assert not found.is_split


def test_the_baseline_says_where_the_two_lines_differ() -> None:
    made = pelvis_film(BOTH)
    points = tuple(
        replace(p, y_px=p.y_px + 60) if (p.id, p.side) == ("teardrop_inferior", Side.LEFT) else p
        for p in made.landmarks.points
    )
    value = findings_of(made.film, replace(made.landmarks, points=points))[LCEA, Side.LEFT]
    assert isinstance(value, Measurement)
    assert "line of the head centers" in value.baseline
    assert "differs by" in value.baseline


def test_without_heads_on_both_sides_the_teardrops_level() -> None:
    made = pelvis_film(BOTH, making=FilmMaking(roll_deg=3))
    contours = tuple(
        c for c in made.landmarks.contours if (c.id, c.side) != ("femoral_head", Side.RIGHT)
    )
    value = findings_of(made.film, replace(made.landmarks, contours=contours))[LCEA, Side.LEFT]
    assert isinstance(value, Measurement)
    assert value.value == pytest.approx(29.0)
    assert "teardrops" in value.baseline


def test_digest_changes_with_an_input_and_only_with_an_input() -> None:
    made = lcea_film(29)
    before = measured(made)[LCEA, Side.LEFT].provenance.inputs_sha256

    def after(name: str) -> str:
        points = tuple(
            replace(p, x_px=p.x_px + 1) if p.id == name else p for p in made.landmarks.points
        )
        found = findings_of(made.film, replace(made.landmarks, points=points))[LCEA, Side.LEFT]
        assert isinstance(found, Measurement)
        return found.provenance.inputs_sha256

    assert after("alpha_onset") == before
    assert after("sourcil_lateral_edge") != before
    assert after("teardrop_inferior") != before  # the baseline may rest on it


def test_head_circles_say_how_round_the_head_is() -> None:
    made = pelvis_film(BOTH)
    read = read_film(made.film, made.landmarks, catalog=CATALOG)
    circles = head_circles(read)
    assert {circle.side for circle in circles} == set(Side)
    for circle in circles:
        assert circle.radius == pytest.approx(24)
        assert circle.residual == pytest.approx(0, abs=1e-6)
        assert circle.in_words() == "radius 24.0 mm, residual 0.0 mm"


def test_head_circles_tell_of_points_that_were_left_out() -> None:
    made = pelvis_film(BOTH)
    head = made.landmarks.contour("femoral_head", Side.LEFT)
    assert head is not None
    middle = head.xy_px.mean(axis=0)
    bumped = head.xy_px.copy()
    bumped[:4] = middle + 1.2 * (bumped[:4] - middle)
    landmarks = made.landmarks.replacing([replace(head, xy_px=bumped)])
    read = read_film(made.film, landmarks, catalog=CATALOG)
    (left,) = (circle for circle in head_circles(read) if circle.side is Side.LEFT)
    assert left.left_out == 4
    assert "4 of 24 points left out" in left.in_words()
    assert left.radius == pytest.approx(24)


TILTED = {
    "backward": (AnalyticPelvis(coccyx_height_mm=2), "tilted backward"),
    "forward": (AnalyticPelvis(coccyx_height_mm=45), "tilted forward"),
    "to the right": (AnalyticPelvis(coccyx_offset_mm=-14), "to the right"),
    "to the left": (AnalyticPelvis(sacrum_offset_mm=15), "to the left"),
    "narrow right foramen": (AnalyticPelvis(foramen_right_mm=15), "right obturator"),
    "narrow left foramen": (AnalyticPelvis(foramen_left_mm=14), "left obturator"),
}


@pytest.mark.parametrize(("pelvis", "words"), TILTED.values(), ids=TILTED)
def test_signs_warn_when_the_film_is_out_of_position(pelvis: AnalyticPelvis, words: str) -> None:
    found = measured(pelvis_film(BOTH, pelvis=pelvis))
    for name in ("retroversion_index", "posterior_wall_sign", "ischial_spine_sign"):
        assert words in found[name, Side.LEFT].quality_warning
    assert found[LCEA, Side.LEFT].quality_warning == ""


def test_signs_do_not_warn_on_a_well_placed_film() -> None:
    value = measured(pelvis_film(BOTH))["posterior_wall_sign", Side.LEFT]
    assert value.quality_warning == ""
    assert value.notes == ()


def test_signs_say_when_the_position_was_not_checked() -> None:
    made = pelvis_film(BOTH)
    checked = {"symphysis_superior", "obturator_foramen_medial"}
    points = tuple(p for p in made.landmarks.points if p.id not in checked)
    landmarks = replace(made.landmarks, points=points)
    value = findings_of(made.film, landmarks)["posterior_wall_sign", Side.LEFT]
    assert isinstance(value, Measurement)
    assert NOT_CHECKED in value.notes
    position = film_position(read_film(made.film, landmarks, catalog=CATALOG))
    assert not position.is_checked


def test_an_uncalibrated_film_is_checked_by_its_ratio_alone() -> None:
    made = pelvis_film(
        BOTH,
        pelvis=AnalyticPelvis(coccyx_height_mm=60, foramen_right_mm=15),
        making=FilmMaking(calibrated=False),
    )
    position = film_position(read_film(made.film, made.landmarks, catalog=CATALOG))
    assert "obturator" in position.warning
    assert "coccyx" not in position.warning


def test_only_what_is_asked_for_is_measured() -> None:
    made = pelvis_film(BOTH)
    read = read_film(made.film, made.landmarks, catalog=CATALOG)
    borders = [FilmBorder(film=made.film, side=Side.LEFT)]
    found = measure_film(read, borders, only={LCEA, "pelvic_tilt.coccyx_symphysis"})
    assert [one.definition for one in found] == [LCEA, "pelvic_tilt.coccyx_symphysis"]
    assert measure_film(read, []) == ()


def test_public_construction_gives_a_quantity_with_its_unit() -> None:
    made = measured(lcea_film(29))
    assert Angle.from_degrees(made[LCEA, Side.LEFT].value).degrees == pytest.approx(29)
