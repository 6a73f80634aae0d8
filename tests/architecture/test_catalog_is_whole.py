"""The catalog and the program hold each other: nothing on the shelf without its papers."""

import inspect

import pytest

from bench.generated_pages import MAKERS, differences
from bench.place import ROOT
from hipwright.catalog import load
from hipwright.catalog.bone_checks import bone_checks
from hipwright.catalog.entries import EntryKind, LandmarkKind, MeasurementDefinition
from hipwright.catalog.frame_fallbacks import frame_fallbacks
from hipwright.catalog.guidance import Spot
from hipwright.catalog.loader import DERIVED_INPUTS, placed_for
from hipwright.domain.study import View
from hipwright.engines.measurement.shelf import CONSTRUCTIONS
from hipwright.engines.measurement.space_shelf import SPACE_CONSTRUCTIONS

CATALOG = load()
ENTRIES = list(CATALOG.measurements.values())
COMPUTED = [
    entry for entry in ENTRIES if entry.kind is not EntryKind.GRADED and not entry.is_in_space
]
IN_SPACE = [entry for entry in ENTRIES if entry.is_in_space]
GRADED = [entry for entry in ENTRIES if entry.kind is EntryKind.GRADED]
ASKED_FOR = {
    "lateral_center_edge_angle.sourcil",
    "lateral_center_edge_angle.rim",
    "roof_angle.tonnis",
    "sharp_angle",
    "extrusion_index",
    "anterior_center_edge_angle.sourcil",
    "anterior_center_edge_angle.rim",
    "fear_index",
    "retroversion_index",
    "posterior_wall_sign",
    "ischial_spine_sign",
    "anterior_wall_index",
    "posterior_wall_index",
    "head_lateralization",
    "shenton_step",
    "coxa_profunda",
    "protrusio",
    "alpha_angle.three_point",
    "alpha_angle.anatomic",
    "alpha_angle.three_point.departure_half_mm",
    "alpha_angle.three_point.departure_two_mm",
    "head_neck_offset",
    "head_neck_offset_ratio",
    "triangular_index",
    "neck_shaft_angle",
    "joint_space.lateral",
    "joint_space.apical",
    "joint_space.medial",
    "joint_space.minimum",
    "pelvic_tilt.coccyx_symphysis",
    "pelvic_tilt.sacrococcygeal_symphysis",
    "pelvic_rotation.coccyx_offset",
    "pelvic_rotation.obturator_index",
    "tonnis_grade",
    "kellgren_lawrence_grade",
    "heterotopic_ossification.brooker",
    "heterotopic_ossification.three_grades",
    "anterior_inferior_spine_type",
    "os_acetabuli",
    "labral_ossification",
    "herniation_pit",
}


def by_id(entries: list[MeasurementDefinition]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("entry", entries, ids=[entry.id for entry in entries])


def cited(entry: MeasurementDefinition) -> set[str]:
    """Every reference that an entry leans on."""
    return {
        *entry.defined_by,
        *(row.cite for row in entry.reference_ranges),
        *(row.cite for row in entry.population),
        *(row.cite for row in entry.repeatability),
        *(cite for pitfall in entry.pitfalls for cite in pitfall.cite),
    }


def test_catalog_has_every_measurement_that_was_asked_for() -> None:
    assert CATALOG.measurements.keys() >= ASKED_FOR


def test_computed_entries_and_constructions_are_the_same() -> None:
    assert {entry.id for entry in COMPUTED} == CONSTRUCTIONS.keys()


def test_entries_in_space_and_constructions_in_space_are_the_same() -> None:
    assert {entry.id for entry in IN_SPACE} == SPACE_CONSTRUCTIONS.keys()


@by_id(IN_SPACE)
def test_construction_in_space_takes_the_entrys_parameters_and_hours(
    entry: MeasurementDefinition,
) -> None:
    kernel = SPACE_CONSTRUCTIONS[entry.id].kernel
    first, *named = inspect.signature(kernel).parameters.values()
    assert first.name == "hip"
    assert {p.name for p in named} == {*entry.parameters, *(["hours"] if entry.hours else [])}
    assert (entry.kind is EntryKind.SERIES) == bool(entry.hours)


@by_id(IN_SPACE)
def test_entry_in_space_is_built_from_features_of_the_catalog(
    entry: MeasurementDefinition,
) -> None:
    assert not entry.landmarks
    assert all(name in CATALOG.bone_features for name in entry.features)
    assert set(entry.views) <= {View.CT, View.MR}
    assert entry.undefined_when
    assert entry.sign


@by_id(GRADED)
def test_graded_entry_has_grades_and_no_construction(entry: MeasurementDefinition) -> None:
    assert entry.id not in CONSTRUCTIONS
    assert len(entry.grades) > 1
    assert len({grade.value for grade in entry.grades}) == len(entry.grades)
    assert all(grade.text for grade in entry.grades)
    assert not entry.landmarks


@by_id(COMPUTED)
def test_construction_takes_the_entrys_landmarks_and_parameters(
    entry: MeasurementDefinition,
) -> None:
    parameters = inspect.signature(CONSTRUCTIONS[entry.id].kernel).parameters.values()
    placed = [p for p in parameters if p.kind is p.POSITIONAL_OR_KEYWORD]
    named = {p.name for p in parameters if p.kind is p.KEYWORD_ONLY}
    assert len(placed) == len(entry.landmarks)
    assert named == set(entry.parameters)
    assert set(entry.parameter_sd) <= named


@by_id(COMPUTED)
def test_every_input_is_a_landmark_of_the_entrys_views(entry: MeasurementDefinition) -> None:
    for name in entry.inputs:
        placed = CATALOG.landmark(placed_for(name.landmark))
        assert set(entry.views) <= set(placed.views), name
        assert name.side in {"", "left", "right"}


@by_id(ENTRIES)
def test_entry_says_what_a_reader_must_know(entry: MeasurementDefinition) -> None:
    assert entry.construction.endswith(".")
    assert entry.defined_by
    if entry.kind is not EntryKind.GRADED:
        assert entry.sign
        assert entry.reported_to > 0


@by_id(ENTRIES)
def test_every_reference_of_an_entry_resolves(entry: MeasurementDefinition) -> None:
    assert cited(entry) <= CATALOG.references.keys()
    for row in (*entry.reference_ranges, *entry.population):
        assert row.variant in {"this", "unstated", *CATALOG.measurements}


def test_every_reference_is_used_or_told_why() -> None:
    used = set[str]().union(*(cited(entry) for entry in ENTRIES))
    used |= {cite for landmark in CATALOG.landmarks.values() for cite in landmark.observer_sd_cite}
    used |= {cite for feature in CATALOG.bone_features.values() for cite in feature.sd_cite}
    used |= {limit.cite for limit in CATALOG.position_limits}
    used |= {cite for check in bone_checks() for cite in check.cite}
    used |= {fallback.cite for fallback in frame_fallbacks().values()}
    cited_in_the_engines = {"shrout_fleiss1979"}
    assert set(CATALOG.references) == used | cited_in_the_engines


def test_every_reference_has_an_identifier_of_a_known_kind() -> None:
    for reference in CATALOG.references.values():
        kind, _, text = reference.identifier.partition(":")
        assert kind in {"doi", "pmid", "pmc", "url", "print"}
        assert text


def test_yes_or_no_signs_are_split_at_zero_into_absent_and_present() -> None:
    signs = {"posterior_wall_sign", "ischial_spine_sign", "coxa_profunda", "protrusio"}
    for name in signs:
        absent, present = CATALOG.measurement(name).reference_ranges[0].bands
        assert (absent.name, absent.high, present.name) == ("absent", 0, "present")


def test_position_sensitive_signs_are_marked() -> None:
    for name in ("retroversion_index", "posterior_wall_sign", "ischial_spine_sign"):
        assert CATALOG.measurement(name).position_sensitive


def test_position_limits_are_of_computed_midline_entries() -> None:
    for limit in CATALOG.position_limits:
        assert CATALOG.measurement(limit.measurement).midline
        assert limit.low < limit.high
        assert limit.cite in CATALOG.references


@pytest.mark.parametrize("view", CATALOG.reading_order, ids=lambda view: view.value)
def test_reading_order_asks_for_each_landmark_of_a_view_once(view: View) -> None:
    asked = [name for step in CATALOG.reading_order[view] for name in step.landmarks]
    there = {entry.id for entry in CATALOG.landmarks.values() if view in entry.views}
    assert len(asked) == len(set(asked))
    assert set(asked) == there - set(DERIVED_INPUTS)


def test_every_view_with_measurements_has_an_order_and_a_schematic() -> None:
    views = {view for entry in COMPUTED for view in entry.views}
    assert views == set(CATALOG.reading_order) == set(CATALOG.schematics)


@pytest.mark.parametrize("view", CATALOG.schematics, ids=lambda view: view.value)
def test_schematic_has_a_spot_for_each_landmark_of_its_view(view: View) -> None:
    schematic = CATALOG.schematics[view]
    there = {entry.id for entry in CATALOG.landmarks.values() if view in entry.views}
    assert schematic.spots.keys() == there
    for name, spot in schematic.spots.items():
        assert_fits(CATALOG.landmark(name).kind, spot)
    places = [place for outline in schematic.outlines for place in outline.points]
    assert all(0 <= x <= 100 and 0 <= y <= 100 for x, y in places)


def assert_fits(kind: LandmarkKind, spot: Spot) -> None:
    match kind:
        case LandmarkKind.CIRCLE:
            assert len(spot.places) == 1
            assert spot.radius > 0
        case LandmarkKind.POINT:
            assert len(spot.places) == 1
        case LandmarkKind.CONTOUR:
            assert len(spot.places) > 1


def test_measurements_are_listed_in_the_readers_order() -> None:
    assert next(iter(CATALOG.measurements)) == "lateral_center_edge_angle.sourcil"
    kinds = [entry.kind is EntryKind.GRADED for entry in ENTRIES]
    assert kinds == sorted(kinds)


def test_every_entry_has_an_up_to_date_docs_page() -> None:
    maker = [row for row in MAKERS if row[0] == "hipwright.catalog.pages:pages"]
    assert maker == [("hipwright.catalog.pages:pages", "docs/reference/catalog")]
    assert differences(ROOT, tuple(maker)) == []
    for entry in ENTRIES:
        assert (ROOT / "docs/reference/catalog" / f"{entry.id}.md").is_file()
