"""Simulated films: geometry, repeatability, and what a viewer would expect to see."""

from pathlib import Path

import numpy as np
import pytest
from skimage.measure import CircleModel

from hipwright.domain.side import Side
from hipwright.domain.study import Posture, View
from hipwright.phantoms.film_bodies import Part
from hipwright.phantoms.film_marks import BALL_RADIUS_MM, letter_mask, sphere_lengths
from hipwright.phantoms.film_setup import (
    FilmSetup,
    LegPose,
    Scene,
    dunn_45,
    false_profile,
    pelvis_ap,
    turn,
)
from hipwright.phantoms.film_simulator import FilmExtras, SimulatedFilm, simulate_film
from hipwright.phantoms.ray_lengths import ray_lengths
from tests.unit.phantoms.real_bones import subject_a
from tests.unit.phantoms.stick_people import HEADS, RADIUS, stick_skeleton

SMALL = {"columns": 500, "rows": 400, "pixel_mm": 0.8}


@pytest.fixture(scope="module")
def ap_film() -> SimulatedFilm:
    setup = pelvis_ap(**SMALL)
    return simulate_film(
        stick_skeleton(), setup, np.random.default_rng(7), extras=FilmExtras(ball=True)
    )


def test_same_seed_gives_the_same_film_and_another_seed_another(ap_film: SimulatedFilm):
    setup = pelvis_ap(**SMALL)
    extras = FilmExtras(ball=True)
    again = simulate_film(stick_skeleton(), setup, np.random.default_rng(7), extras=extras)
    other = simulate_film(stick_skeleton(), setup, np.random.default_rng(8), extras=extras)
    assert np.array_equal(ap_film.pixels, again.pixels)
    assert not np.array_equal(ap_film.pixels, other.pixels)


def test_film_is_twelve_bit_with_bright_bone_on_darker_tissue(ap_film: SimulatedFilm):
    assert ap_film.pixels.dtype == np.uint16
    assert ap_film.pixels.max() <= 4095
    assert ap_film.pixels.shape == (400, 500)
    beam = ap_film.beam
    head = ap_film.project(HEADS[Side.LEFT], Part.FEMUR_LEFT)[0]
    tissue = ap_film.project(HEADS[Side.LEFT] + np.array([35.0, 0.0, 28.0]))[0]

    def gray(place: np.ndarray) -> float:
        column, row = np.rint(place).astype(int)
        return float(ap_film.pixels[row - 4 : row + 5, column - 4 : column + 5].mean())

    assert gray(head) > gray(tissue) + 400
    assert ap_film.magnification == pytest.approx(1200 / 1050)
    assert beam.columns == 500


def test_inverted_film_is_the_complement(ap_film: SimulatedFilm):
    setup = pelvis_ap(**SMALL)
    extras = FilmExtras(ball=True, inverted=True)
    inverted = simulate_film(stick_skeleton(), setup, np.random.default_rng(7), extras=extras)
    assert inverted.inverted
    assert np.array_equal(4095 - inverted.pixels, ap_film.pixels)


def test_outline_of_a_head_on_the_film_is_where_projection_says(ap_film: SimulatedFilm):
    """The bright disk's outline against the closed form of a sphere's shadow."""
    beam = ap_film.beam
    lengths = sphere_lengths(beam, HEADS[Side.LEFT], RADIUS)
    shadow = lengths > 0
    skeleton = stick_skeleton()
    bone = next(b for b in skeleton.bones if b.name == "femur_left")
    posed = ap_film.poses[Part.FEMUR_LEFT].apply(bone.outer.vertices)
    found = ray_lengths(posed, bone.outer.faces, beam) > 0
    assert (found & shadow).sum() / shadow.sum() > 0.985  # flat triangles lie within the sphere


def test_calibration_ball_lies_at_trochanter_depth_and_shows_its_size(ap_film: SimulatedFilm):
    assert ap_film.ball_center_mm is not None
    column, row = ap_film.project(ap_film.ball_center_mm)[0]
    mag = ap_film.beam.magnification(ap_film.ball_center_mm)
    radius_px = BALL_RADIUS_MM * mag / ap_film.setup.pixel_mm
    across = ap_film.pixels[round(row), :].astype(float)
    window = slice(round(column - radius_px - 6), round(column + radius_px + 7))
    bright = np.flatnonzero(across[window] > 0.93 * 4095)
    assert len(bright) / 2 == pytest.approx(radius_px, abs=1.5)  # px, blur of the detector
    assert (bright.min() + bright.max()) / 2 + window.start == pytest.approx(column, abs=1.0)


def test_lead_letter_names_the_side_and_lies_on_that_side():
    setup = pelvis_ap(**SMALL)
    for side, half in ((Side.RIGHT, slice(0, 250)), (Side.LEFT, slice(250, 500))):
        film = simulate_film(
            stick_skeleton(), setup, np.random.default_rng(3), extras=FilmExtras(marker=side)
        )
        lead = film.pixels[20:110] > 3700
        # strokes of 14 + 8.4 mm by 2.2 mm on pixels of 0.8 mm cover 77 pixels; edges are softer
        assert lead[:, half].sum() > 50
        assert lead.sum() == lead[:, half].sum()
        assert film.marker is side
    assert letter_mask("L", 40, 6).sum() < letter_mask("R", 40, 6).sum()
    with pytest.raises(ValueError, match="L or R"):
        letter_mask("X", 40, 6)


def test_collimation_blackens_the_border(ap_film: SimulatedFilm):
    assert ap_film.pixels[0].max() == 0
    assert ap_film.pixels[:, -1].max() == 0


def test_legs_move_as_named_on_both_sides():
    distal = np.array([[0.0, 0.0, -1.0]])
    for side, out in ((Side.LEFT, 1.0), (Side.RIGHT, -1.0)):
        flexed = distal @ LegPose(flexion_deg=30).rotation(side).T
        assert flexed[0] == pytest.approx([0.0, -0.5, -np.sqrt(0.75)])  # to the front
        abducted = distal @ LegPose(abduction_deg=30).rotation(side).T
        assert abducted[0] == pytest.approx([out * 0.5, 0.0, -np.sqrt(0.75)])  # outward
        toe = np.array([[0.0, -1.0, 0.0]])
        turned = toe @ LegPose(internal_rotation_deg=30).rotation(side).T
        assert turned[0] == pytest.approx([-out * 0.5, -np.sqrt(0.75), 0.0])  # inward


def test_tilt_leaves_the_legs_on_the_table():
    skeleton = stick_skeleton()
    setup = pelvis_ap(tilt_deg=12.0, legs={}, **SMALL)
    scene = Scene.of(skeleton, setup)
    for side in Side:
        assert scene.shafts[side] @ scene.beam.direction == pytest.approx(0.0, abs=1e-12)
    # forward tilt: the front of the pelvis goes down on the film
    front = np.array([[0.0, -80.0, 0.0]])
    level = Scene.of(skeleton, pelvis_ap(legs={}, **SMALL)).beam.project(front)[0, 1]
    assert scene.beam.project(front)[0, 1] > level


def test_rotation_towards_the_left_moves_the_left_hip_to_the_detector():
    scene = Scene.of(stick_skeleton(), pelvis_ap(rotation_deg=10.0, **SMALL))
    depth = scene.beam.camera(np.array([HEADS[Side.LEFT], HEADS[Side.RIGHT]]))[:, 2]
    assert depth[0] > depth[1]


# false profile with D = 176 mm at 65°: D cos(65°) of separation, T11 with the real projector
def test_false_profile_turns_the_named_hip_to_the_detector():
    for side, sign in ((Side.LEFT, 1.0), (Side.RIGHT, -1.0)):
        setup = false_profile(side, source_detector_mm=1e6, object_detector_mm=0.0)
        scene = Scene.of(stick_skeleton(), setup)
        heads = scene.beam.camera(np.array([HEADS[side], HEADS[side.opposite]]))
        assert heads[0, 2] > heads[1, 2]
        apart = (heads[0, 0] - heads[1, 0]) * setup.pixel_mm
        assert apart == pytest.approx(sign * 176 * np.cos(np.radians(65)), abs=0.05)


def test_views_aim_at_the_hip_they_name():
    for side in Side:
        for setup in (dunn_45(side), false_profile(side)):
            place = Scene.of(stick_skeleton(), setup).beam.project(HEADS[side])[0]
            middle = np.array([setup.columns - 1, setup.rows - 1]) / 2
            assert np.abs(place - middle).max() * setup.pixel_mm < 20.0
    assert dunn_45(Side.LEFT).view is View.DUNN_45
    assert false_profile(Side.LEFT).posture is Posture.STANDING


def test_turn_is_right_handed():
    assert turn(2, 90.0) @ np.array([1.0, 0, 0]) == pytest.approx([0.0, 1.0, 0.0])
    assert turn(0, 90.0) @ np.array([0, 1.0, 0]) == pytest.approx([0.0, 0.0, 1.0])
    assert turn(1, 90.0) @ np.array([0, 0, 1.0]) == pytest.approx([1.0, 0.0, 0.0])


def test_setup_defaults_leave_the_legs_alone():
    setup = FilmSetup(view=View.PELVIS_AP)
    assert setup.leg(Side.LEFT) == LegPose()


# The bones' README: two spheres fitted to different regions of these heads lie 0.5 to 1 mm apart.
REGION_MM = 1.0


@pytest.mark.parametrize("side", list(Side))
def test_head_circle_of_a_real_femur_on_film_agrees_with_its_sphere(
    side: Side, bones_folder: Path
):
    """A general-purpose library's circle through the shadow's outline, against the surface fit."""
    skeleton = subject_a(bones_folder)
    setup = pelvis_ap(columns=1250, rows=1024, pixel_mm=0.32)
    scene = Scene.of(skeleton, setup)
    bone = next(b for b in skeleton.bones if b.part is Part.femur(side))
    posed = scene.poses[bone.part].apply(bone.outer.vertices)
    mask = ray_lengths(posed, bone.outer.faces, scene.beam) > 0
    center = scene.beam.project(skeleton.head_centers_mm[side])[0]
    scale = scene.beam.magnification(skeleton.head_centers_mm[side]) / setup.pixel_mm
    inward = -1.0 if side is Side.LEFT else 1.0
    outline: list[np.ndarray] = []
    for degrees in np.arange(-40, 120, 2.0):  # from below medial over the top, clear of the neck
        way = np.array([inward * np.cos(np.radians(degrees)), -np.sin(np.radians(degrees))])
        places = center + np.arange(0, 30 * scale, 0.25)[:, None] * way
        column, row = np.rint(places).astype(int).T
        outline.append(places[np.flatnonzero(~mask[row, column])[0]])
    fit = CircleModel.from_estimate(np.array(outline))
    assert fit
    assert np.linalg.norm(np.array(fit.center) - center) / scale < REGION_MM
    assert fit.radius / scale == pytest.approx(skeleton.head_radii_mm[side], abs=REGION_MM)
