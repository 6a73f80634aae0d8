"""The findings in a few sentences: value, interval, class, scheme, and how the source was seen."""

import pytest

from hipwright.catalog import load
from hipwright.catalog.headlines import headlines
from hipwright.domain.measurement import Measurement, NotMeasured
from hipwright.domain.side import Side
from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit
from hipwright.engines.reporting.sentences import baselines, findings_sentence, lower_first
from tests.unit.engines.reporting.reported_hips import (
    LCEA,
    a_measurement,
    analytic_findings,
    classed,
)


def test_a_finding_is_told_with_value_interval_class_scheme_and_source() -> None:
    found = a_measurement(24.0, 20.0, 28.0)
    words = findings_sentence("AP pelvis", Side.LEFT, [found], load())
    seen = load().reference(classed(found).reference.id).seen.value
    assert words.startswith("AP pelvis: lateral center-edge angle, to the sourcil 24.0°")
    assert "(95 % interval 20.0 to 28.0°)" in words
    assert f"{classed(found).in_words()} by {classed(found).scheme} [{seen}]" in words
    assert words.endswith(".")


def test_every_headline_of_a_hip_is_told_once_in_the_catalogs_order() -> None:
    findings = analytic_findings()
    words = findings_sentence("AP", Side.LEFT, findings, load())
    own = {f.definition: f for f in findings if isinstance(f, Measurement) and f.side is Side.LEFT}
    told = [own[key] for key in headlines() if key in own]
    assert len(told) >= 5
    places = [words.index(lower_first(found.name) + " ") for found in told]
    assert places == sorted(places)
    for found in told:
        assert f"{value_with_unit(found)} (95 % interval {interval_in_words(found)}" in words
        if found.classification is not None:
            assert classed(found).scheme in words


def test_the_other_hip_is_not_told_and_the_midline_is() -> None:
    left, right = a_measurement(24.0, 20.0, 28.0), a_measurement(31.0, 30.0, 32.0, side=Side.RIGHT)
    middle = a_measurement(2.0, 1.0, 3.0, side=None, definition="pelvic_rotation.coccyx_offset")
    assert "31.0" not in findings_sentence("AP", Side.LEFT, [left, right], load())
    assert "coccyx" in findings_sentence("AP", Side.LEFT, [middle], load())


def test_without_a_headline_whatever_was_measured_is_told() -> None:
    found = a_measurement(39.0, 37.0, 41.0, definition="sharp_angle")
    assert "Sharp angle 39.0°" in findings_sentence("AP", Side.LEFT, [found], load())


def test_a_warning_about_the_film_stands_beside_the_value() -> None:
    found = a_measurement(24.0, 20.0, 28.0, quality_warning="pelvis rotated")
    assert "(pelvis rotated)" in findings_sentence("AP", Side.LEFT, [found], load())


def test_the_level_of_an_interval_is_told_as_it_is() -> None:
    from dataclasses import replace

    found = a_measurement(24.0, 20.0, 28.0)
    found = replace(found, estimate=replace(found.estimate, level=0.9))
    assert "(90 % interval" in findings_sentence("AP", Side.LEFT, [found], load())


def test_where_nothing_was_measured_the_sentence_says_so() -> None:
    missing = NotMeasured(definition=LCEA, name="LCEA", reason="no head", side=Side.LEFT)
    words = findings_sentence("AP pelvis", Side.LEFT, [missing], load())
    assert words == "AP pelvis: nothing was measured."


@pytest.mark.parametrize(
    ("name", "inside"),
    [
        ("Lateral center-edge angle", "lateral center-edge angle"),
        ("FEAR index", "FEAR index"),
        ("Sharp angle", "Sharp angle"),
        ("Tönnis grade", "Tönnis grade"),
        ("Kellgren–Lawrence grade", "Kellgren–Lawrence grade"),
        ("Joint space, minimum", "joint space, minimum"),
    ],
)
def test_names_of_people_and_initials_keep_their_capital_inside_a_sentence(
    name: str, inside: str
) -> None:
    assert lower_first(name) == inside


def test_each_baseline_is_told_once() -> None:
    one, two = "line of the head centers", "inferior teardrops"
    findings = [a_measurement(1, 0, 2, baseline=line) for line in (one, two, one, "")]
    assert baselines(findings) == [two, one]
    assert baselines([NotMeasured(definition=LCEA, name="x", reason="y")]) == []
