"""CT volumes: exact shares of voxels, geometry, Hounsfield values, repeatability."""

import numpy as np
import pytest
import trimesh

from hipwright.domain.side import Side
from hipwright.phantoms.attenuation import HOUNSFIELD
from hipwright.phantoms.ct_simulator import CtSetup, SimulatedVolume, simulate_ct
from hipwright.phantoms.film_bodies import Part
from hipwright.phantoms.film_setup import LegPose
from hipwright.phantoms.surfaces import TriangleSurface
from hipwright.phantoms.voxel_filling import VoxelSum
from tests.unit.phantoms.stick_people import HEADS, RADIUS, stick_skeleton


def surface_of(mesh: trimesh.Trimesh) -> TriangleSurface:
    return TriangleSurface(vertices=np.asarray(mesh.vertices), faces=np.asarray(mesh.faces))


def test_share_of_a_slice_is_exact_when_a_box_ends_within_it():
    box = trimesh.creation.box(bounds=[[-3.0, -2.0, 0.35], [3.0, 2.0, 4.8]])
    total = VoxelSum((6, 8, 10), np.array([-4.5, -3.5, 0.5]), np.ones(3))
    total.add(surface_of(box), 100.0)
    voxels = total.finished()
    # voxel edges lie on whole millimeters, so the box fills 6 x 4 columns of voxels
    assert voxels[:, 3, 4] == pytest.approx([65.0, 100.0, 100.0, 100.0, 80.0, 0.0], abs=1e-4)
    assert voxels.sum() == pytest.approx(100 * 6 * 4 * 4.45, rel=1e-6)


def test_a_body_that_leaves_the_volume_fills_it_to_its_ends():
    rod = trimesh.creation.box(bounds=[[-2.0, -2.0, -50.0], [2.0, 2.0, 50.0]])
    total = VoxelSum((4, 6, 6), np.array([-2.5, -2.5, 0.5]), np.ones(3))
    total.add(surface_of(rod), 1.0)
    voxels = total.finished()
    assert voxels[:, 2, 2] == pytest.approx(np.ones(4))
    assert voxels[:, 0, 0] == pytest.approx(np.zeros(4))


def test_volume_of_a_sphere_is_kept_by_the_voxels():
    mesh = trimesh.creation.icosphere(subdivisions=4, radius=11.0)
    spacing = np.array([0.7, 0.7, 1.3])
    total = VoxelSum((24, 48, 48), np.array([-16.4, -16.5, -15.1]), spacing)
    total.add(surface_of(mesh), 1.0)
    # 2 x 2 rays a voxel: 0.35 mm sampling of the disk's rim
    assert total.finished().sum() * spacing.prod() == pytest.approx(mesh.volume, rel=2e-3)


SETUP = CtSetup(columns=200, rows=140, pixel_mm=1.8, slice_mm=3.0, from_mm=-60, to_mm=60)


@pytest.fixture(scope="module")
def volume() -> SimulatedVolume:
    return simulate_ct(stick_skeleton(), SETUP, np.random.default_rng(5))


def test_same_seed_gives_the_same_volume(volume: SimulatedVolume):
    again = simulate_ct(stick_skeleton(), SETUP, np.random.default_rng(5))
    assert np.array_equal(volume.hu, again.hu)


def test_head_center_in_voxels_is_where_the_bright_sphere_is(volume: SimulatedVolume):
    for side in Side:
        k, i, j = volume.voxel_of(HEADS[side])[0]
        reach_k, reach = round(RADIUS / 3.0) + 2, round(RADIUS / 1.8) + 3
        box = volume.hu[
            round(k) - reach_k : round(k) + reach_k + 1,
            round(i) - reach : round(i) + reach + 1,
            round(j) - reach : round(j) + reach + 1,
        ]
        bright = np.argwhere(box > 160).mean(axis=0)
        middle = np.array(
            [k - (round(k) - reach_k), i - (round(i) - reach), j - (round(j) - reach)]
        )
        assert np.abs(bright - middle).max() < 0.6  # voxels: half a voxel and the shaft beside it


def test_materials_have_their_hounsfield_values(volume: SimulatedVolume):
    assert volume.hu.dtype == np.int16
    assert np.median(volume.hu[:, 0, :]) == pytest.approx(HOUNSFIELD["air"], abs=5)
    k, i, j = np.rint(volume.voxel_of(np.array([[0.0, -40.0, 50.0]]))[0]).astype(int)
    tissue = volume.hu[k - 1 : k + 2, i - 2 : i + 3, j - 2 : j + 3].mean()
    assert -120 < tissue < 90
    k, i, j = np.rint(volume.voxel_of(HEADS[Side.LEFT])[0]).astype(int)
    assert 200 < volume.hu[k - 1 : k + 2, i - 2 : i + 3, j - 2 : j + 3].mean() < 700


def test_noise_has_the_spread_asked_for():
    outside = CtSetup(columns=160, rows=160, pixel_mm=3.0, slice_mm=5.0, from_mm=300, to_mm=330,
                      noise_hu=20.0, table=False)  # fmt: skip
    hu = simulate_ct(stick_skeleton(), outside, np.random.default_rng(2)).hu
    k, half = 3, 80
    inside = hu[k, half - 12 : half + 12, half - 20 : half + 20].astype(float)
    spread = np.diff(inside, axis=0).std() / np.sqrt(2)  # of differences: free of slow changes
    # neighbors share a little noise through the kernel, so differences spread somewhat less
    assert 12.0 < spread < 24.0


def test_legs_are_posed_about_the_head_centers():
    bent = CtSetup(columns=8, rows=8, pixel_mm=40.0, slice_mm=40.0,
                   legs={Side.LEFT: LegPose(flexion_deg=20.0)})  # fmt: skip
    volume = simulate_ct(stick_skeleton(), bent, np.random.default_rng(1))
    at_rest = HEADS[Side.LEFT] + np.array([0.0, 0.0, -100.0])
    moved = volume.voxel_of(at_rest, Part.FEMUR_LEFT)[0]
    stays = volume.voxel_of(at_rest, Part.PELVIS)[0]
    assert moved[1] < stays[1]  # flexed: the shaft comes forward, to smaller rows
    assert volume.voxel_of(HEADS[Side.LEFT], Part.FEMUR_LEFT)[0] == pytest.approx(
        volume.voxel_of(HEADS[Side.LEFT])[0]
    )
