"""Grain, enlarging and scenery of simulated films."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, map_coordinates

from hipwright.domain.side import Side
from hipwright.phantoms.film_appearance import FilmStyle, developed, magnified, slowly
from hipwright.phantoms.film_bodies import Bone, Part, Skeleton
from hipwright.phantoms.lumbar import lumbar_spine, vertebra
from hipwright.phantoms.sacral_detail import sacral_detail
from hipwright.phantoms.soft_tissue import Build, body_envelope, bowel_gas, lump, muscles
from hipwright.phantoms.trabeculae import Grain, direction_field, smear, speckle, streaks
from tests.unit.phantoms.stick_people import HEADS, stick_skeleton

DOWN = dict.fromkeys(Side, np.array([0.0, 0.0, -1.0]))


def plainly_smeared(
    noise: np.ndarray, cosine: np.ndarray, sine: np.ndarray, steps: int
) -> np.ndarray:
    """The same streamlines in plain Python."""
    result = np.zeros_like(noise, dtype=float)
    for start in np.ndindex(noise.shape):
        total = float(noise[start])
        for way in (-1.0, 1.0):
            place = np.array(start, dtype=float)
            step = way * np.array([sine[start], cosine[start]], dtype=float)
            for number in range(1, steps + 1):
                place = place + step
                i, j = (int(v + 0.5) for v in place)
                if not (0 <= i < noise.shape[0] and 0 <= j < noise.shape[1]):
                    break
                total += float(noise[i, j]) * (1 - number / (steps + 1))
                following = np.array([sine[i, j], cosine[i, j]], dtype=float)
                step = following if following @ step >= 0 else -following
        result[start] = total
    return result


def test_smearing_equals_the_plain_version(generator: np.random.Generator):
    noise = generator.standard_normal((24, 31)).astype(np.float32)
    turn = gaussian_filter(generator.uniform(0, np.pi, noise.shape), 3.0)
    cosine, sine = np.cos(turn).astype(np.float32), np.sin(turn).astype(np.float32)
    everywhere = np.ones(noise.shape, bool)
    found = smear(noise, cosine, sine, everywhere, 4)
    inside = (slice(5, -5), slice(5, -5))  # at the border, truncation of -0.3 to 0 differs
    expected = plainly_smeared(noise, cosine, sine, 4)
    same = np.isclose(found, expected, atol=1e-4)[inside]
    assert same.mean() > 0.99  # float32 against float64 may round a place to the next pixel


def test_streaks_run_along_their_direction(generator: np.random.Generator):
    shape = (120, 120)
    grains = [Grain(at_px=(60.0, 60.0), direction=(1.0, 0.0), reach_px=500.0)]
    cosine, sine, density = direction_field(grains, shape, 1)
    pattern = streaks(cosine, sine, np.ones(shape, bool), length_px=8, width_px=0.6, rng=generator)
    along = (pattern[:, 4:] * pattern[:, :-4]).mean()
    across = (pattern[4:] * pattern[:-4]).mean()
    assert along > 0.4
    assert abs(across) < 0.1
    assert density == pytest.approx(1.0)


def test_density_is_greatest_at_a_control_point():
    grains = [Grain(at_px=(40.0, 20.0), direction=(0.0, 1.0), reach_px=8.0, density=0.5)]
    _, _, density = direction_field(grains, (60, 80), 1)
    assert np.unravel_index(density.argmax(), density.shape) == (20, 40)
    assert density.max() == pytest.approx(1.5)


def test_speckle_has_unit_variance(generator: np.random.Generator):
    assert speckle((80, 90), (1.0, 3.0), generator).std() == pytest.approx(1.0)


def test_enlarging_equals_linear_interpolation(generator: np.random.Generator):
    small = generator.standard_normal((9, 11)).astype(np.float32)
    found = magnified(small, 4, 30, 38)
    row, column = np.mgrid[:30, :38] / 4
    expected = map_coordinates(small, [row, column], order=1, mode="nearest")
    assert found == pytest.approx(expected, abs=1e-5)


def test_slow_average_is_near_the_true_gaussian(generator: np.random.Generator):
    picture = gaussian_filter(generator.standard_normal((240, 260)), 20).astype(np.float32)
    exact = gaussian_filter(picture, 24.0, mode="nearest")
    assert np.abs(slowly(picture, 24.0) - exact).max() < 0.12 * np.abs(picture).max()


def test_developing_keeps_the_order_of_exposures():
    steps = np.linspace(-1, 1, 64, dtype=np.float32)
    wedge = np.repeat(steps[None], 64, axis=0)
    style = FilmStyle(evenness=0.0, edge_gain=0.0)
    gray = developed(wedge, np.ones(wedge.shape, bool), style, 1.0)
    assert (np.diff(gray, axis=1) >= 0).all()
    assert gray.min() >= 0
    assert gray.max() <= 4095


def test_body_surrounds_the_bones(generator: np.random.Generator):
    skin, flesh = body_envelope(heads_mm=HEADS, shafts=DOWN, build=Build(), rng=generator)
    for solid in (skin, flesh):
        assert solid.surface.is_closed
    assert 0.4 < flesh.surface.volume_mm3 / skin.surface.volume_mm3 < 0.95
    for bone in stick_skeleton().bones:
        assert (bone.outer.vertices.max(axis=0) < skin.surface.vertices.max(axis=0)).all()
        assert (bone.outer.vertices.min(axis=0) > skin.surface.vertices.min(axis=0)).all()


def test_muscles_and_gas_are_closed_bodies(generator: np.random.Generator):
    solids = (
        *muscles(heads_mm=HEADS, shafts=DOWN, rng=generator),
        *bowel_gas(middle_mm=np.zeros(3), rng=generator),
    )
    assert all(solid.surface.is_closed and solid.surface.volume_mm3 > 0 for solid in solids)
    assert {np.sign(s.contrast_per_mm) for s in solids if s.name.startswith("gas")} == {-1.0}


def test_spine_stands_on_the_sacrum_and_only_there(generator: np.random.Generator):
    form = vertebra()
    assert form.is_closed
    assert form.volume_mm3 > 20_000
    assert lumbar_spine(stick_skeleton()) == ()
    sacrum = lump(
        start=np.array([0.0, 60.0, 20.0]),
        end=np.array([0.0, 40.0, 110.0]),
        radius_mm=40.0,
        rng=generator,
    )
    bones = (Bone(name="sacrum", part=Part.PELVIS, outer=sacrum),)
    skeleton = Skeleton(
        bones=bones, head_centers_mm=HEADS, head_radii_mm=dict.fromkeys(Side, 24.0)
    )
    stacked = lumbar_spine(skeleton)
    assert len(stacked) == 2
    heights = [bone.outer.vertices[:, 2].mean() for bone in stacked]
    assert sacrum.vertices[:, 2].max() - 30 < heights[0] < heights[1]
    detail = sacral_detail(sacrum, generator)
    assert {bone.density > 0 for bone in detail} == {True, False}
    assert all(bone.inside for bone in detail)
