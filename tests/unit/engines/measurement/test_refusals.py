"""What cannot be measured says so, and why."""

from dataclasses import replace

import numpy as np
import pytest

from hipwright.catalog import load
from hipwright.catalog.entries import EntryKind
from hipwright.domain.errors import (
    CatalogError,
    DegenerateGeometryError,
    FrameMismatchError,
    SideError,
)
from hipwright.domain.frames import FilmCircle, FilmContour, FilmPoint, film_hip_point
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.measurement import NotMeasured
from hipwright.domain.side import Side
from hipwright.engines.anatomy.canonical import side_named
from hipwright.engines.measurement.center_edge import lateral_center_edge_angle
from hipwright.engines.measurement.construction import Construction, each, measures
from hipwright.engines.measurement.doubt import Doubt
from hipwright.engines.measurement.shelf import CONSTRUCTIONS
from hipwright.phantoms.analytic_film import FilmMaking, false_profile_film, pelvis_film
from hipwright.phantoms.analytic_hip import KINDS
from tests.golden.readings_of_phantoms import findings_of

FEW = Doubt(draws=20)
BOTH = dict.fromkeys(Side, KINDS["normal"])


def at(lateral: float, superior: float, hip: str = "example") -> FilmPoint:
    return film_hip_point(lateral=lateral, superior=superior, hip=hip)


def line(*places: tuple[float, float]) -> FilmContour:
    return FilmContour(points=tuple(at(*place) for place in places))


HEAD = FilmCircle(center=at(0, 0), radius=24)
NECK = (at(30, 16), at(30, -16))
FAR = line((-30, 90), (-30, 80))
BROKEN = {
    "lateral_center_edge_angle.sourcil": (at(0, 0), at(10, -20)),
    "lateral_center_edge_angle.rim": (at(0, 0), at(10, -20)),
    "lateral_center_edge_angle.with_ossicle": (at(0, 0), at(10, -20)),
    "anterior_center_edge_angle.sourcil": (at(0, 0), at(10, -20)),
    "anterior_center_edge_angle.rim": (at(0, 0), at(10, -20)),
    "roof_angle.tonnis": (at(10, 0), at(-10, 0)),
    "sharp_angle": (at(10, 0), at(-10, 30)),
    "fear_index": (at(-10, 20), at(10, 22), at(8, 0), at(-8, 0)),
    "retroversion_index": (at(15, 20), line((15, 20), (5, 10)), line((5, -10), (0, -20))),
    "posterior_wall_sign": (at(0, 0), FAR),
    "ischial_spine_sign": (at(-40, -30), FAR),
    "anterior_wall_index": (HEAD, *NECK, FAR),
    "posterior_wall_index": (HEAD, *NECK, FAR),
    "head_lateralization": (HEAD, FAR),
    "protrusio": (HEAD, FAR),
    "coxa_profunda": (line((-30, 5), (-32, -5)), FAR),
    "shenton_step": (line((5, 5), (6, 6)), line((0, 0), (1, 0))),
    "alpha_angle.three_point": (at(0, 0), *NECK, at(0, 0)),
    "alpha_angle.anatomic": (at(0, 0), *NECK, *NECK, at(10, 20)),
    "alpha_angle.three_point.departure_half_mm": (HEAD, *NECK, line((0, 24), (17, 16))),
    "alpha_angle.three_point.departure_two_mm": (HEAD, *NECK, line((0, 24), (17, 16))),
    "alpha_angle.anatomic.departure_half_mm": (
        HEAD,
        *NECK,
        at(45, 16),
        at(45, -16),
        line((0, 40), (17, 40)),
    ),
    "alpha_angle.anatomic.departure_two_mm": (HEAD, *NECK, *NECK, line((0, 24), (30, 16))),
    "head_neck_offset": (HEAD, *NECK, *NECK),
    "head_neck_offset_ratio": (HEAD, *NECK, *NECK),
    "triangular_index": (HEAD, *NECK, line((0, -24), (30, -16))),
    "neck_shaft_angle": (at(0, 0), *NECK, at(40, -60), at(40, -60)),
    "femoral_shaft_adduction": (at(40, -60), at(40, -20)),
    "joint_space.lateral": (at(0, 0), line((0, 28), (5, 27)), line((0, 24), (5, 23)), at(28, 0)),
    "joint_space.apical": (at(0, 0), line((15, 22), (20, 18)), line((12, 20), (18, 15))),
    "joint_space.medial": (at(0, 0), line((0, 28), (5, 27)), line((0, 24), (5, 23)), at(-28, 0)),
    "joint_space.minimum": (at(0, 0), line((0, 28), (5, 27)), line((20, 15), (24, 5))),
    "pelvic_rotation.obturator_index": (at(-20, 0), at(-50, 0), at(20, 0), at(20, 0)),
    "false_profile_rotation": (HEAD, FilmCircle(center=at(200, 0), radius=24)),
}
ALWAYS_DEFINED = {
    "extrusion_index",
    "pelvic_tilt.coccyx_symphysis",
    "pelvic_tilt.sacrococcygeal_symphysis",
    "pelvic_rotation.coccyx_offset",
    "pelvic_rotation.sacrum_offset",
}


def test_every_construction_has_a_refusal_or_is_always_defined() -> None:
    assert BROKEN.keys() | ALWAYS_DEFINED == CONSTRUCTIONS.keys()
    assert {each_one.id for each_one in each()} == CONSTRUCTIONS.keys()


@pytest.mark.parametrize("definition", BROKEN)
def test_construction_refuses_landmarks_that_cannot_carry_it(definition: str) -> None:
    construction = CONSTRUCTIONS[definition]
    with pytest.raises(DegenerateGeometryError) as refused:
        construction(*BROKEN[definition])
    assert construction.definition.undefined_when
    assert construction.definition.undefined_when in str(refused.value)


def test_construction_refuses_points_of_two_hips() -> None:
    with pytest.raises(FrameMismatchError, match="two hips"):
        lateral_center_edge_angle(at(0, 0, "one"), at(10, 20, "other"))


def test_a_second_construction_for_an_entry_is_refused() -> None:
    bind = measures("sharp_angle")
    with pytest.raises(CatalogError, match="already has a construction"):
        bind(lambda: np.zeros(1))


def test_construction_of_an_unknown_entry_is_refused() -> None:
    with pytest.raises(CatalogError, match="no such entry"):
        _ = Construction("no_such_entry", lambda: np.zeros(1)).definition


def test_nothing_placed_is_not_measured_and_names_what_is_missing() -> None:
    made = pelvis_film(BOTH)
    found = findings_of(made.film, LandmarkSet(image=made.film.image, observer="human:x"))
    assert all(isinstance(one, NotMeasured) for one in found.values())
    lacking = found["lateral_center_edge_angle.sourcil", Side.LEFT]
    assert isinstance(lacking, NotMeasured)
    assert lacking.missing == ("femoral_head", "sourcil_lateral_edge")
    assert lacking.reason.startswith("not placed: Femoral head")
    sided = found["pelvic_rotation.obturator_index", None]
    assert isinstance(sided, NotMeasured)
    assert sided.missing == ("obturator_foramen_medial", "obturator_foramen_lateral")
    assert "(right)" in sided.reason


def test_swapped_landmarks_are_not_measured_and_say_why() -> None:
    made = pelvis_film(BOTH)
    ends = {"sourcil_medial_edge": "sourcil_lateral_edge"}
    ends |= {there: here for here, there in ends.items()}
    swapped = replace(
        made.landmarks,
        points=tuple(replace(p, id=ends.get(p.id, p.id)) for p in made.landmarks.points),
    )
    lacking = findings_of(made.film, swapped, doubt=FEW)["roof_angle.tonnis", Side.LEFT]
    assert isinstance(lacking, NotMeasured)
    assert lacking.reason == load().measurement("roof_angle.tonnis").undefined_when


def test_false_profile_without_a_front_is_not_measured() -> None:
    made = false_profile_film(Side.LEFT, KINDS["normal"])
    film = replace(made.film, anterior_at_image_right=None)
    found = findings_of(film, made.landmarks, doubt=FEW)
    lacking = found["anterior_center_edge_angle.sourcil", Side.LEFT]
    assert isinstance(lacking, NotMeasured)
    assert "where the front" in lacking.reason
    assert not isinstance(found["false_profile_rotation", None], NotMeasured)


def test_what_needs_a_scale_is_not_measured_on_an_uncalibrated_film() -> None:
    made = pelvis_film(BOTH, making=FilmMaking(calibrated=False))
    found = findings_of(made.film, made.landmarks, doubt=FEW)
    scaled = [
        entry.id
        for entry in load().measurements.values()
        if entry.needs_scale and made.film.view in entry.views
    ]
    assert scaled
    for name in scaled:
        lacking = found[name, Side.LEFT]
        assert isinstance(lacking, NotMeasured)
        assert "uncalibrated" in lacking.reason


@pytest.mark.parametrize(
    "outline", [[[0, 0], [1, 1]], [[0, 0], [1, 1], [2, 2]], [[5, 5], [5, 5], [5, 5]]]
)
def test_an_outline_that_holds_no_circle_is_refused(outline: list[list[float]]) -> None:
    made = pelvis_film(BOTH)
    head = PlacedContour(id="femoral_head", side=Side.LEFT, xy_px=np.array(outline, dtype=float))
    broken = made.landmarks.replacing([head])
    with pytest.raises(DegenerateGeometryError, match="cannot fit a circle"):
        findings_of(made.film, broken, doubt=FEW)


def test_an_unknown_landmark_is_refused() -> None:
    made = pelvis_film(BOTH)
    odd = PlacedPoint(id="no_such_landmark", side=Side.LEFT, x_px=1, y_px=1)
    with pytest.raises(CatalogError, match="no_such_landmark"):
        findings_of(made.film, made.landmarks.replacing([odd]), doubt=FEW)


def test_a_fixed_side_of_no_body_is_refused() -> None:
    with pytest.raises(SideError):
        side_named("upper")


def test_graded_entries_are_never_measured() -> None:
    made = pelvis_film(BOTH)
    found = findings_of(made.film, made.landmarks, doubt=FEW)
    graded = {e.id for e in load().measurements.values() if e.kind is EntryKind.GRADED}
    assert not graded & {name for name, _ in found}
