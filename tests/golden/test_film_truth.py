"""Readings of simulated films against what is known of the person in space."""

from functools import cache

import numpy as np
import pytest
import trimesh

from hipwright.adapters.shape_model_files import read_shape_model
from hipwright.catalog.loader import load
from hipwright.domain.landmarks import LandmarkSet
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.phantoms.demonstration import DEMONSTRATION_PEOPLE, ROWER
from hipwright.phantoms.demonstration_films import demonstration_films, film_plan
from hipwright.phantoms.film_marks import BALL_RADIUS_MM
from hipwright.phantoms.film_outlines import resampled, sphere_outline_px
from hipwright.phantoms.film_people import skeleton_of
from hipwright.phantoms.film_setup import FilmSetup, Scene, dunn_45, false_profile, pelvis_ap
from hipwright.phantoms.film_simulator import SimulatedFilm
from hipwright.phantoms.film_truth import film_landmarks, head_circle_px
from hipwright.phantoms.people import Person, build_person
from hipwright.phantoms.person_spec import Bump, HipSpec, PersonSpec, RimOssicle
from hipwright.phantoms.projection import beam_through
from hipwright.phantoms.ray_lengths import ray_lengths

HIP = HipSpec(
    lateral_center_edge_deg=24.0,
    roof_angle_deg=9.0,
    version_deg=30.0,
    neck_shaft_deg=132.0,
    bumps=(Bump(height_mm=4.0, onset_deg=70.0, hour=1.4, half_extent_hours=3.2),),
    ossicles=(RimOssicle(first_hour=11.4, last_hour=13.4, thickness_mm=3.5),),
)


@cache
def person() -> Person:
    """Both hips alike, so that left and right can be compared."""
    return build_person(read_shape_model(), PersonSpec(left=HIP, right=HIP))


def unexposed(setup: FilmSetup) -> SimulatedFilm:
    """The geometry of a film without its picture."""
    skeleton = skeleton_of(person())
    scene = Scene.of(skeleton, setup)
    return SimulatedFilm(
        pixels=np.zeros((setup.rows, setup.columns), np.uint16),
        inverted=False,
        setup=setup,
        beam=scene.beam,
        poses=scene.poses,
        marker=Side.RIGHT,
        subject_mm=setup.subject_mm(skeleton),
        ball_center_mm=skeleton.middle_of_heads_mm + np.array([0.0, 20.0, -90.0]),
    )


@cache
def read(view: View, side: Side) -> tuple[SimulatedFilm, LandmarkSet]:
    setups = {
        View.PELVIS_AP: pelvis_ap(),
        View.DUNN_45: dunn_45(side),
        View.FALSE_PROFILE: false_profile(side),
    }
    film = unexposed(setups[view])
    return film, film_landmarks(person(), film, image="a film")


def place(found: LandmarkSet, landmark: str, side: Side | None) -> np.ndarray:
    point = found.point(landmark, side)
    assert point is not None, landmark
    return np.array([point.x_px, point.y_px])


def lateral_up(offset: np.ndarray, side: Side) -> np.ndarray:
    return offset * np.array([1.0 if side is Side.LEFT else -1.0, -1.0])


def angle_between(one: np.ndarray, two: np.ndarray) -> float:
    cosine = one @ two / np.linalg.norm(one) / np.linalg.norm(two)
    return float(np.degrees(np.arccos(cosine)))


# The sourcil ends and the head center lie in one plane parallel to the film, where a projection
# keeps angles. Left is the center of the head's shadow, which leans away from the central ray.
SHADOW_DEG = 0.08


@pytest.mark.parametrize("side", list(Side))
def test_center_edge_and_roof_angle_of_an_ap_film_are_the_persons(side: Side):
    film, found = read(View.PELVIS_AP, side)
    hip = person().truth.hip(side)
    center, _ = head_circle_px(film, hip)
    lateral = place(found, "sourcil_lateral_edge", side)
    edge = lateral_up(lateral - center, side)
    assert np.degrees(np.arctan2(edge[0], edge[1])) == pytest.approx(
        hip.lateral_center_edge_deg, abs=SHADOW_DEG
    )
    roof = lateral_up(lateral - place(found, "sourcil_medial_edge", side), side)
    assert np.degrees(np.arctan2(roof[1], roof[0])) == pytest.approx(hip.roof_angle_deg, abs=1e-6)
    assert hip.lateral_center_edge_deg == pytest.approx(24.0, abs=1e-9)


@pytest.mark.parametrize("view", [View.PELVIS_AP, View.DUNN_45, View.FALSE_PROFILE])
def test_clicks_on_the_head_lie_on_the_shadow_of_its_sphere(view: View):
    film, found = read(view, Side.LEFT)
    hip = person().truth.hip(Side.LEFT)
    center, radius = head_circle_px(film, hip)
    clicks = found.contour("femoral_head", Side.LEFT)
    assert clicks is not None
    away = np.linalg.norm(clicks.xy_px - center, axis=1)
    assert away == pytest.approx(radius, abs=0.05)
    magnified = hip.head_radius_mm * film.beam.magnification(hip.head_center) / 0.16
    # the shadow of a sphere off the central ray is an ellipse, longer by 1 / cos of 5 degrees
    assert magnified < radius < 1.004 * magnified


def test_shadow_of_a_sphere_in_closed_form_is_the_traced_one():
    film, _ = read(View.PELVIS_AP, Side.LEFT)
    center = np.array([120.0, -60.0, 80.0])
    ball = trimesh.creation.icosphere(subdivisions=5, radius=24.0)
    mask = ray_lengths(np.asarray(ball.vertices) + center, np.asarray(ball.faces), film.beam) > 0
    outline = sphere_outline_px(film.beam, center, 24.0)
    rows, columns = np.nonzero(mask)
    assert outline[:, 0].max() == pytest.approx(columns.max() + 0.5, abs=0.7)  # whole pixels
    assert outline[:, 0].min() == pytest.approx(columns.min() - 0.5, abs=0.7)
    assert outline[:, 1].max() == pytest.approx(rows.max() + 0.5, abs=0.7)
    assert outline[:, 1].min() == pytest.approx(rows.min() - 0.5, abs=0.7)


@pytest.mark.parametrize("side", list(Side))
def test_projected_neck_shaft_angle_follows_the_reference(side: Side):
    """Reference check T12 on a whole femur, the shaft parallel to the film."""
    hip = person().truth.hip(side)
    head, neck, upper, lower = (
        hip.femur.points[name]
        for name in (
            "femoral_head_center",
            "neck_isthmus",
            "femoral_shaft_proximal",
            "femoral_shaft_distal",
        )
    )
    shaft = (lower - upper) / np.linalg.norm(lower - upper)
    backward = np.array([0.0, 1.0, 0.0]) - shaft[1] * shaft
    beam = beam_through(
        center_mm=neck,
        subject_mm=neck,
        direction=backward,
        up=-shaft,
        source_detector_mm=1e6,  # a nearly parallel beam
        object_detector_mm=0.0,
        pixel_mm=0.16,
        columns=1000,
        rows=1000,
    )
    towards_head = head - neck
    medial, ahead = abs(towards_head @ beam.column_axis), towards_head @ -beam.direction
    k = np.radians(angle_between(towards_head, shaft))
    v = np.arctan2(ahead, medial)
    assert np.degrees(k) == pytest.approx(hip.neck_shaft_deg, abs=0.01)
    assert np.degrees(v) > 15  # the neck really comes forward
    expected = 90 + np.degrees(np.arctan2(-np.cos(k), np.sin(k) * np.cos(v)))
    px = beam.project(np.array([head, neck, upper, lower]))
    assert angle_between(px[0] - px[1], px[3] - px[2]) == pytest.approx(expected, abs=0.02)


def test_onset_of_the_bump_on_a_dunn_film_is_one_of_the_persons_onsets():
    film, found = read(View.DUNN_45, Side.LEFT)
    hip = person().truth.left
    center, _ = head_circle_px(film, hip)
    upper = place(found, "femoral_neck_superior", Side.LEFT)
    lower = place(found, "femoral_neck_inferior", Side.LEFT)
    onset = place(found, "alpha_onset", Side.LEFT)
    alpha = angle_between(onset - center, (upper + lower) / 2 - center)
    hours = hip.departure_hours
    near = hip.departure_deg[0.5][(hours >= 0.5) & (hours <= 2.0)]
    # a film shows the outline of all hours together; its neck axis is that of the silhouette
    assert np.nanmin(near) - 3.0 < alpha < np.nanmax(near) + 3.0


@pytest.mark.parametrize("view", [View.PELVIS_AP, View.DUNN_45, View.FALSE_PROFILE])
def test_landmarks_are_the_catalogs_for_the_view(view: View):
    _, found = read(view, Side.LEFT)
    known = {entry.id: entry for entry in load().landmarks.values()}
    for item in found:
        assert view in known[item.id].views, item.id


def test_an_ap_reading_is_complete_on_both_sides():
    _, found = read(View.PELVIS_AP, Side.LEFT)
    expected = {
        entry.id
        for entry in load().landmarks.values()
        if View.PELVIS_AP in entry.views and not entry.midline
    } - {"femoral_head_center"}
    base = {f"femoral_neck_base_{end}" for end in ("superior", "inferior")}
    for side in Side:
        # with this version and neck the trochanter's shadow joins the neck at its narrowest place
        assert {item.id for item in found if item.side is side} == expected - base
        _, lateral = read(View.DUNN_45, side)
        assert {item.id for item in lateral if item.side is side} >= base


def test_left_and_right_of_a_symmetric_person_mirror_each_other():
    film, found = read(View.PELVIS_AP, Side.LEFT)
    middle = film.project(np.zeros(3))[0, 0]
    for item in found.points:
        if item.side is Side.LEFT:
            other = place(found, item.id, Side.RIGHT)
            mine = place(found, item.id, Side.LEFT)
            # outlines are traced on 0.12 mm: 0.75 px here, corners one more
            assert 2 * middle - other[0] == pytest.approx(mine[0], abs=2.0), item.id
            assert other[1] == pytest.approx(mine[1], abs=2.0), item.id


def test_bones_seen_beyond_the_rim_are_not_the_rim():
    _, found = read(View.PELVIS_AP, Side.LEFT)
    rim = place(found, "acetabular_rim_lateral", Side.LEFT)
    sourcil = place(found, "sourcil_lateral_edge", Side.LEFT)
    ossicle = place(found, "ossicle_lateral_edge", Side.LEFT)
    assert sourcil[0] < rim[0] < ossicle[0]


def test_calibration_ball_on_a_reading_gives_the_magnification_at_its_depth():
    film, found = read(View.PELVIS_AP, Side.LEFT)
    assert film.ball_center_mm is not None
    clicks = found.contour("calibration_ball", None)
    assert clicks is not None
    radius = np.linalg.norm(clicks.xy_px - clicks.xy_px.mean(axis=0), axis=1).mean()
    mm_per_px = BALL_RADIUS_MM / radius
    expected = film.setup.pixel_mm / film.beam.magnification(film.ball_center_mm)
    # the ball lies 120 mm off the central ray: its shadow is longer by 1 / cos of 6.5 degrees,
    # so a circle through it is 0.3 % too large
    assert mm_per_px == pytest.approx(expected, rel=4e-3)
    assert mm_per_px < expected


@pytest.mark.parametrize("side", list(Side))
def test_anterior_edges_of_a_false_profile_lie_in_front_of_the_center(side: Side):
    film, found = read(View.FALSE_PROFILE, side)
    center, _ = head_circle_px(film, person().truth.hip(side))
    front = 1.0 if side is Side.LEFT else -1.0
    sourcil = place(found, "anterior_sourcil_edge", side)
    rim = place(found, "anterior_rim_edge", side)
    assert front * (rim[0] - center[0]) >= front * (sourcil[0] - center[0]) > 0
    assert sourcil[1] < center[1]


@pytest.mark.parametrize("side", list(Side))
def test_heads_of_a_false_profile_stand_as_far_apart_as_the_pelvis_is_turned(side: Side):
    film, found = read(View.FALSE_PROFILE, side)
    heads = {s: person().truth.hip(s).head_center for s in Side}
    outlines = {s: found.contour("femoral_head", s) for s in Side}
    places = {s: outline.xy_px.mean(axis=0) for s, outline in outlines.items() if outline}
    scale = film.magnification / film.setup.pixel_mm
    apart = abs(places[Side.LEFT][0] - places[Side.RIGHT][0]) / scale
    distance = np.linalg.norm(heads[Side.LEFT] - heads[Side.RIGHT])
    # the far head is nearer to the tube by 160 mm: its offset is magnified by a sixth more
    assert apart == pytest.approx(distance * np.cos(np.radians(65)), rel=0.25)


def test_what_falls_outside_a_film_is_left_out():
    setup = pelvis_ap(columns=900)  # both heads are cut off
    found = film_landmarks(person(), unexposed(setup), image="narrow")
    assert found.contour("femoral_head", Side.LEFT) is None
    assert found.point("symphysis_superior", None) is not None


def test_resampled_line_keeps_its_ends_and_equal_steps():
    line = np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 4.0], [3.0, 11.0]])
    even = resampled(line, 8)
    assert even[0] == pytest.approx(line[0])
    assert even[-1] == pytest.approx(line[-1])
    assert np.linalg.norm(np.diff(even, axis=0), axis=1)[3:] == pytest.approx(2.0)


def test_every_demonstration_person_has_films_of_every_stage():
    for one in DEMONSTRATION_PEOPLE:
        plan = film_plan(one)
        keys = [film.key for film in plan.films]
        assert len(set(keys)) == len(keys)
        assert {film.stage for film in plan.films} == set(one.stages)
        views = {film.setup.view for film in plan.films}
        assert {View.PELVIS_AP, View.DUNN_45} <= views
        assert {film.setup.side for film in plan.films} <= {None, one.side}
    seeds = [film.seed for one in DEMONSTRATION_PEOPLE for film in film_plan(one).films]
    assert len(set(seeds)) == len(seeds)
    largest = max(f.setup.columns for one in DEMONSTRATION_PEOPLE for f in film_plan(one).films)
    assert largest == 3000


def test_demonstration_films_come_with_their_readings():
    taken = list(demonstration_films(ROWER, {"first": person()}, thinned=8))
    assert [one.planned.key for one in taken] == [f.key for f in film_plan(ROWER).films]
    for one in taken:
        assert one.film.pixels.shape == (
            one.planned.setup.rows // 8,
            one.planned.setup.columns // 8,
        )
        assert one.truth.image == f"rower.{one.planned.key}"
        assert one.truth.contour("femoral_head", Side.LEFT) is not None
