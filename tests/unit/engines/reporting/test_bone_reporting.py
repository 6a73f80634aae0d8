"""Clock faces, tables and the report of bones."""

import math
from dataclasses import replace

import pytest

from hipwright.catalog import load
from hipwright.domain.evidence import Estimate
from hipwright.domain.measurement import Measurement, NotMeasured
from hipwright.domain.report import ClockRow, Notice, Paragraph, Table
from hipwright.domain.side import Side
from hipwright.engines.reporting.bone_clock import clock_face, clock_place
from hipwright.engines.reporting.bone_report import ReportedBones, bone_section
from hipwright.engines.reporting.bone_tables import (
    difference,
    difference_in_words,
    not_measured,
    series_of,
    side_by_side,
)
from hipwright.engines.reporting.numbers import MINUS
from tests.bones_house import made_up_findings
from tests.unit.engines.reporting.reported_hips import a_measurement

LEFT, RIGHT = made_up_findings(Side.LEFT, 0.0), made_up_findings(Side.RIGHT, 0.0)
SERIES = "alpha_angle.radial"


def series(findings):
    return [f for f in findings if isinstance(f, Measurement) and f.definition == SERIES]


def face(left=None, right=None):
    hips = [("Left hip", LEFT if left is None else left), ("Right hip", right or [])]
    found = clock_face(load().measurement(SERIES), hips)
    assert found is not None
    return found


def test_twelve_is_above_and_three_in_front_on_the_right():
    assert clock_place(12.0, 1.0) == (0.0, -1.0)
    assert clock_place(3.0, 1.0) == (1.0, 0.0)
    assert clock_place(6.0, 1.0) == (0.0, 1.0)
    assert clock_place(9.0, 1.0) == (-1.0, 0.0)


def test_larger_values_lie_further_out_and_the_interval_around_them():
    drawn = face().series[0]
    by_value = sorted(
        zip(series(LEFT), sorted(drawn.values, key=lambda v: series_order(v.hour)), strict=True),
        key=lambda pair: pair[0].value,
    )
    radii = [math.hypot(*value.at) for _, value in by_value]
    assert radii == pytest.approx(sorted(radii), abs=2e-4)  # places are rounded to 1e-4
    for value in drawn.values:
        assert math.hypot(*value.low) <= math.hypot(*value.at) <= math.hypot(*value.high)


def series_order(hour: float) -> int:
    return [f.hour for f in series(LEFT)].index(hour)


def test_a_whole_clock_is_one_closed_run():
    (run,) = face().series[0].runs
    assert len(run) == len(load().measurement(SERIES).hours) + 1
    assert run[0] == run[-1]


def test_a_missing_hour_parts_the_run_there():
    without = [f for f in LEFT if f.hour not in {2.0, 8.0}]
    runs = face(left=without).series[0].runs
    assert len(runs) == 2
    assert sum(map(len, runs)) == len(series(without))


def test_thresholds_of_the_catalog_are_rings_with_the_classes_they_part():
    entry = load().measurement(SERIES)
    chosen = entry.range_for(series(LEFT)[0].view)
    rings = [ring for ring in face().rings if ring.threshold]
    if chosen is None:
        assert rings == []
    else:
        names = {band.name for band in chosen.bands}
        assert rings
        assert all(any(name in ring.threshold for name in names) for ring in rings)


def test_both_hips_are_told_in_words():
    label = face(right=RIGHT).label
    assert "Left hip: from" in label
    assert "Right hip: from" in label


def test_no_hour_measured_gives_no_face():
    assert clock_face(load().measurement(SERIES), [("Left hip", [])]) is None


def test_a_difference_of_sides_adds_half_intervals_as_squares():
    """Independent errors add in quadrature (JCGM 100:2008, 5.1.2)."""
    own = Estimate(value=50.0, low=47.0, high=53.0)
    other = Estimate(value=45.0, low=41.0, high=49.0)
    between = difference(own, other)
    assert (between.value, between.low, between.high) == pytest.approx((5.0, 0.0, 10.0))


def test_a_difference_is_signed_and_zero_has_no_sign():
    one = next(f for f in LEFT if isinstance(f, Measurement) and f.hour is None)
    same = difference_in_words(one, one)
    assert same.startswith("0")
    more = replace(one, estimate=Estimate(value=one.value + 3, low=one.value, high=one.value + 6))
    assert difference_in_words(more, one).startswith("+3")
    assert difference_in_words(one, more).startswith("−3")


def test_places_on_the_clock_differ_the_shorter_way_round_in_hours_and_minutes():
    hour = "alpha_angle.radial.maximum_hour"
    late, early = (a_measurement(x, x - 0.3, x + 0.4, definition=hour) for x in (11.8, 0.4))
    assert difference_in_words(late, early) == "−0:36 h (−1:06 to −0:06)"
    assert difference_in_words(early, late) == "+0:36 h (0:06 to 1:06)"
    assert difference_in_words(late, late) == "0:00 h (−0:30 to 0:30)"


def test_sides_are_paired_in_the_order_of_the_catalog_and_series_left_out():
    groups = side_by_side(LEFT, RIGHT, load())
    ids = [row.entry.id for group in groups for row in group.rows]
    assert SERIES not in ids
    assert "femoral_version.murphy" in ids
    for group in groups:
        order = [list(load().measurements).index(row.entry.id) for row in group.rows]
        assert order == sorted(order)
    rows = [row for group in groups for row in group.rows]
    both = [r for r in rows if isinstance(r.own, Measurement) and isinstance(r.other, Measurement)]
    assert both
    assert all(row.difference for row in both)


def test_what_only_the_other_hip_has_still_tells_class_and_unit():
    (group,) = [g for g in side_by_side([], RIGHT, load()) if "femur" in g.name]
    assert group.rows[0].measured is group.rows[0].other
    assert group.rows[0].difference == ""


def test_series_are_listed_once():
    assert [e.id for e in series_of([*LEFT, *RIGHT], load())].count(SERIES) == 1


def test_a_series_is_lacking_only_if_no_hour_was_measured():
    one = NotMeasured(definition=SERIES, name="Alpha", reason="hidden", hour=1.0)
    assert ("Alpha", "hidden") not in not_measured([*LEFT, one])
    assert not_measured([one, one]) == (("Alpha", "hidden"),)


def reported(**changes) -> ReportedBones:
    facts = {
        "title": "Bones from CT", "own_name": "Left hip", "other_name": "Right hip",
        "own": tuple(LEFT), "other": tuple(RIGHT), "facts": (("Models", "1"),),
        "refusals": ("Right femur: it leaks.",), "warnings": ("Left femur: look.",),
        "notes": ("Slices lie 1 mm apart.",),
        "tilted": {"standing, 6.0° forward": tuple(made_up_findings(Side.LEFT, 4.0))},
    }  # fmt: skip
    return ReportedBones(**{**facts, **changes})


def test_the_report_puts_refusals_first_and_says_what_tilt_changes():
    blocks = bone_section(reported(), load()).blocks
    assert [b.title for b in blocks[:2] if isinstance(b, Notice)] == ["Refused", "Mind"]
    tables = [b for b in blocks if isinstance(b, Table)]
    assert tables[-1].columns[-1].heading == "Standing, 6.0° forward"
    assert any(isinstance(b, ClockRow) and len(b.faces) == 2 for b in blocks)
    texts = [b.text for b in blocks if isinstance(b, Paragraph)]
    assert any("the knee was not scanned" in text for text in texts)


def test_the_report_of_bones_that_gave_nothing_says_so():
    blocks = bone_section(reported(own=(), other=(), tilted={}), load()).blocks
    texts = [b.text for b in blocks if isinstance(b, Paragraph)]
    assert "Nothing could be measured on these bones." in texts
    assert not any(isinstance(b, Table) for b in blocks)


def test_a_lone_last_clock_face_names_no_left_and_right():
    only = [f for f in LEFT if f.hour is None or f.definition == SERIES]
    other = [f for f in RIGHT if f.hour is None]
    (row,) = [
        b for b in bone_section(reported(own=tuple(only), other=tuple(other)), load()).blocks
        if isinstance(b, ClockRow)
    ]  # fmt: skip
    assert not row.caption.startswith("Left:")


def test_a_series_of_part_of_the_clock_is_not_joined_across_the_rest():
    """The rim is read from 8 over 12 to 4 alone: below there is no line."""
    entry = load().measurement("joint_space.in_space.by_hour")
    found = [
        replace(a_measurement(3.6, 3.3, 3.9, definition=entry.id), hour=hour, side=Side.LEFT)
        for hour in entry.hours
    ]
    drawn = clock_face(entry, [("Left hip", found)])
    assert drawn is not None
    (run,) = drawn.series[0].runs
    assert len(run) == len(entry.hours)
    assert run[0] != run[-1]
    assert {run[0], run[-1]} == {v.at for v in drawn.series[0].values if v.hour in {4.0, 8.0}}


def test_no_ring_of_a_length_lies_below_nothing():
    entry = load().measurement("joint_space.in_space.by_hour")
    found = [replace(a_measurement(2.0, 1.8, 2.2, definition=entry.id), hour=12.0)]
    drawn = clock_face(entry, [("Left hip", found)])
    assert drawn is not None
    assert drawn.rings[0].text == "0 mm"
    assert not any(ring.text.startswith(MINUS) for ring in drawn.rings)
