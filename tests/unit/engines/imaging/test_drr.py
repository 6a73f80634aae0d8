"""Films made from a CT."""

import numpy as np
import pytest

from hipwright.domain.volume import Volume, VolumeGrid
from hipwright.engines.imaging import drr
from hipwright.engines.imaging.drr import (
    _sum_along_rays,
    attenuation_table,
    simulate_film,
    water_share,
)
from hipwright.engines.imaging.film_beam import FilmSize, beam_at, film_directions

RADIUS = 32.0
SIZE = FilmSize(columns=41, rows=31, hip_plane_mm=3.0)
STRAIGHT = np.array([[0, 0, 2.0], [0, 1.5, 0], [1.5, 0, 0]])
TILTED = np.array([[0, 0.5, 2.0], [0.1, 1.5, 0], [1.5, -0.1, 0]])  # a gantry at 14°, turned


def ball(steps: np.ndarray, hu: int = 0) -> Volume:
    """A ball of one material in air."""
    shape = (50, 64, 64)
    middle = (np.array(shape) - 1) / 2 @ steps
    grid = VolumeGrid(shape=shape, origin_mm=-middle, steps_mm=steps, fixed_to="test")
    places = grid.to_mm(np.moveaxis(np.indices(shape), 0, -1).astype(float))
    inside = np.linalg.norm(places, axis=-1) < RADIUS
    return Volume(values=np.where(inside, hu, -1000).astype(np.int16), grid=grid)


@pytest.mark.parametrize("steps", [STRAIGHT, TILTED], ids=["straight", "sheared"])
@pytest.mark.parametrize(
    ("tilt", "turn"), [(0, 0), (12, 0), (0, 65), (-8, -65), (88, 0)],
    ids=["front", "tilted", "left", "right", "along the body"],
)  # fmt: skip
def test_a_ball_of_water_is_as_thick_as_its_chords(steps, tilt, turn):
    beam = beam_at(np.zeros(3), (20, 15), SIZE, film_directions(tilt_deg=tilt, turn_deg=turn))
    film = simulate_film(ball(steps), beam)
    pixels = np.moveaxis(np.indices(film.shape), 0, -1)[..., ::-1]
    places = (
        beam.first_pixel_mm
        + pixels[..., :1] * beam.column_step_mm
        + pixels[..., 1:] * beam.row_step_mm
    )
    way = places - beam.source_mm
    way /= np.linalg.norm(way, axis=-1, keepdims=True)
    along = np.einsum("...k,k->...", way, -beam.source_mm)
    away = np.sqrt(np.maximum(beam.source_mm @ beam.source_mm - along**2, 0))
    chords = 2 * np.sqrt(np.maximum(RADIUS**2 - away**2, 0))
    # the ball is made of whole voxels: a chord ends within a voxel's half diagonal
    assert np.abs(film - chords)[away < 0.9 * RADIUS].max() < 3.0
    assert np.abs(film.mean() - chords.mean()) < 0.15
    assert film[away > RADIUS + 3].max() == 0


def test_attenuation_follows_the_definition_of_the_hounsfield_unit():
    """HU = 1000 (µ − µ_water) / µ_water; air counts as nothing."""
    assert water_share(np.array([0.0, 1000.0, -1000.0, -1024.0])).tolist() == [1, 2, 0, 0]
    table = attenuation_table()
    assert table[32768] == 1.0
    assert table[32768 + 500] == 1.5


def test_bone_twice_as_dense_as_water_counts_twice():
    beam = beam_at(np.zeros(3), (20, 15), SIZE, film_directions())
    water, bone = simulate_film(ball(STRAIGHT), beam), simulate_film(ball(STRAIGHT, 1000), beam)
    assert bone[15, 20] == pytest.approx(2 * water[15, 20], rel=1e-6)


def test_bands_of_rows_make_the_whole_film():
    beam = beam_at(np.zeros(3), (20, 15), SIZE, film_directions(tilt_deg=4))
    volume = ball(STRAIGHT)
    parts = [simulate_film(volume, beam, rows=rows) for rows in ((0, 7), (7, 8), (8, 31))]
    np.testing.assert_array_equal(np.concatenate(parts), simulate_film(volume, beam))


def test_compiled_rays_equal_plain_ones():
    volume = ball(TILTED, 300)
    beam = beam_at(np.zeros(3), (20, 15), SIZE, film_directions(tilt_deg=9, turn_deg=30)).thinned(
        8
    )
    to_index = np.linalg.inv(volume.grid.steps_mm)
    given = (
        volume.values,
        attenuation_table(),
        (beam.source_mm - volume.grid.origin_mm) @ to_index,
        (beam.first_pixel_mm - volume.grid.origin_mm) @ to_index,
        beam.column_step_mm @ to_index,
        beam.row_step_mm @ to_index,
        beam.ray_lengths_mm(),
    )
    quick = np.zeros((beam.rows, beam.columns), np.float32)
    plain = quick.copy()
    _sum_along_rays(quick, *given)
    vars(drr)["_sum_along_rays"].py_func(plain, *given)
    np.testing.assert_allclose(quick, plain, rtol=1e-6)


def test_rays_that_pass_beside_the_scan_see_nothing():
    beam = beam_at(np.array([500.0, 0, 0]), (20, 15), SIZE, film_directions())
    assert simulate_film(ball(STRAIGHT), beam).max() == 0
