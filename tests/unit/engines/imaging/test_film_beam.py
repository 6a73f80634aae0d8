"""Where source and detector of a film stand against a scanned patient."""

import math

import numpy as np
import pytest

from hipwright.domain.errors import DegenerateGeometryError
from hipwright.engines.imaging.film_beam import (
    FilmBeam,
    FilmSize,
    beam_at,
    beam_on_heads,
    film_directions,
    scanned_tilt_deg,
)
from hipwright.phantoms.projection import beam_through

SIZE = FilmSize(columns=1200, rows=1000, hip_plane_mm=0.3)
HEADS = np.array([[-90.0, 2.0, -1.0], [88.0, -3.0, 4.0]])
PIXELS = np.array([[300.0, 500.0], [900.0, 520.0]])
TOLERANCE_PX = 0.8  # the heads lie at different depths, and the scale is taken at their middle


def test_a_place_lands_on_the_pixel_it_was_put_on():
    beam = beam_at(np.array([12.0, -7.0, 31.0]), (417.0, 88.0), SIZE, film_directions())
    assert beam.project(np.array([12.0, -7.0, 31.0])) == pytest.approx((417.0, 88.0), abs=1e-6)


def test_projection_is_that_of_the_film_simulator():
    """The phantoms' beam was written apart and is checked against closed forms."""
    beam = beam_at(np.zeros(3), (599.5, 499.5), SIZE, film_directions(tilt_deg=8, turn_deg=20))
    ahead, up = film_directions(tilt_deg=8, turn_deg=20)
    known = beam_through(
        center_mm=np.zeros(3), subject_mm=np.zeros(3), direction=ahead, up=up,
        source_detector_mm=SIZE.source_detector_mm, object_detector_mm=SIZE.heads_detector_mm,
        pixel_mm=SIZE.hip_plane_mm * SIZE.magnification, columns=1200, rows=1000,
    )  # fmt: skip
    places = np.random.default_rng(3).normal(0.0, 60.0, (40, 3))
    np.testing.assert_allclose(beam.project(places), known.project(places), atol=1e-6)


@pytest.mark.parametrize("pixels", [PIXELS, PIXELS + np.array([[0, 40], [0, -40]])])
@pytest.mark.parametrize("tilt", [0.0, -12.0])
def test_both_heads_land_where_they_are_seen_however_the_film_is_rolled(pixels, tilt):
    beam = beam_on_heads(HEADS, pixels, SIZE, film_directions(tilt_deg=tilt))
    np.testing.assert_allclose(beam.project(HEADS), pixels, atol=TOLERANCE_PX)


def test_the_patients_left_is_at_the_right_of_the_film_and_the_head_end_up():
    beam = beam_at(np.zeros(3), (600.0, 500.0), SIZE, film_directions())
    left, up = beam.project(np.array([[50.0, 0, 0], [0, 0, 50.0]]))
    assert left[0] > 700
    assert up[1] < 400


def test_what_lies_near_the_source_is_enlarged_more():
    beam = beam_at(np.zeros(3), (599.5, 499.5), SIZE, film_directions())
    front, back = beam.project(np.array([[50.0, -80.0, 0], [50.0, 80.0, 0]]))
    assert front[0] > back[0]


def test_a_pelvis_tilted_forward_shows_its_front_lower():
    flat = beam_at(np.zeros(3), (600.0, 500.0), SIZE, film_directions())
    tilted = beam_at(np.zeros(3), (600.0, 500.0), SIZE, film_directions(tilt_deg=10))
    symphysis = np.array([0.0, -60.0, 0.0])
    assert tilted.project(symphysis)[1] > flat.project(symphysis)[1] + 10


def test_turning_the_left_side_to_the_detector_shows_the_front_of_the_left_hip_at_the_right():
    beam = beam_at(np.zeros(3), (600.0, 500.0), SIZE, film_directions(turn_deg=65))
    assert beam.project(np.array([0.0, -40.0, 0.0]))[0] > 650


@pytest.mark.parametrize("tilt", [-11.0, 0.0, 7.5])
def test_the_tilt_in_the_scanner_is_read_from_the_pelvic_plane(tilt):
    c, s = math.cos(math.radians(tilt)), math.sin(math.radians(tilt))
    # superior of the plane leans to the front (−y) when the pelvis is tilted forward
    app_from_lps = np.array([[-1.0, 0, 0], [0, -c, -s], [0, -s, c]])
    assert np.linalg.det(app_from_lps) == pytest.approx(1.0)
    assert scanned_tilt_deg(app_from_lps) == pytest.approx(tilt)


def test_a_coarser_film_covers_the_same_place():
    beam = beam_at(np.zeros(3), (600.0, 500.0), SIZE, film_directions())
    coarse = beam.thinned(4)
    assert (coarse.columns, coarse.rows) == (300, 250)
    fine = beam.project(np.array([30.0, 10.0, -20.0]))
    np.testing.assert_allclose(
        coarse.project(np.array([30.0, 10.0, -20.0])) * 4 + 1.5, fine, atol=1e-6
    )


def test_ray_lengths_are_distances_from_the_source():
    beam = beam_at(np.zeros(3), (599.5, 499.5), SIZE, film_directions()).thinned(100)
    lengths = beam.ray_lengths_mm()
    corner = beam.first_pixel_mm
    assert lengths.shape == (10, 12)
    assert lengths[0, 0] == pytest.approx(np.linalg.norm(corner - beam.source_mm))
    assert lengths.min() >= SIZE.source_detector_mm


def test_heads_on_top_of_each_other_are_refused():
    with pytest.raises(DegenerateGeometryError, match="on top of each other"):
        beam_on_heads(HEADS, PIXELS[[0, 0]], SIZE, film_directions())


def test_a_detector_behind_the_source_is_refused():
    with pytest.raises(DegenerateGeometryError, match="before the source"):
        FilmBeam(
            source_mm=np.zeros(3), first_pixel_mm=np.array([0.0, 0, -100.0]),
            column_step_mm=np.array([1.0, 0, 0]), row_step_mm=np.array([0, 1.0, 0]),
            columns=10, rows=10,
        )  # fmt: skip
