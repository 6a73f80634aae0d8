"""The CT scanner: where things lie, what they measure, and each fault by itself."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import trimesh
from scipy.ndimage import gaussian_filter

from hipwright.domain.side import Side
from hipwright.phantoms.ct_density import (
    bone_hu,
    cortex_mm,
    cortex_waves,
    grain_tile,
    marrow_sites,
    place_bone,
    thinned,
    waves,
)
from hipwright.phantoms.ct_scanner import Patient, Scanned, scan
from hipwright.phantoms.ct_setup import (
    LOW_DENSITY,
    ORDINARY,
    Block,
    BoneDensity,
    Contrast,
    Scan,
    Screw,
)
from hipwright.phantoms.ct_surroundings import add_streaks, screw_surface
from hipwright.phantoms.surfaces import TriangleSurface

RADIUS = 24.0
HEADS = {Side.LEFT: np.array([88.0, 0.0, 0.0]), Side.RIGHT: np.array([-88.0, 0.0, 0.0])}
PLAIN = BoneDensity(
    cortex_hu_spread=0.0, thickness_spread=0.0, texture_hu=0.0, head_hu=190.0, shaft_hu=190.0
)
SMALL = Block(columns=64, rows=64, pixel_mm=1.2, from_mm=-36.0, to_mm=36.0, aside_mm=(88.0, 0.0))
QUIET = Scan(block=SMALL, density=PLAIN, noise_hu=0.01, blur_mm=0.05, table=False)


def ball(radius: float, center: np.ndarray) -> TriangleSurface:
    mesh = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    return TriangleSurface(vertices=mesh.vertices + center, faces=np.asarray(mesh.faces))


@cache
def patient() -> Patient:
    return Patient(
        bones={f"femur_{s.value}": ball(RADIUS, HEADS[s]) for s in Side},
        heads_mm=HEADS,
        radii_mm=dict.fromkeys(Side, RADIUS),
        inner={f"femur_{s.value}": ball(RADIUS - 2.0, HEADS[s]) for s in Side},
    )


@cache
def taken(setup: Scan, seed: int = 1) -> Scanned:
    return scan(patient(), setup, np.random.default_rng(seed))


def middle_of_bright(scanned: Scanned, above: float = 100.0) -> np.ndarray:
    """Where the bright voxels lie, by the volume's own grid."""
    at = np.argwhere(scanned.volume.values > above).astype(float)
    return scanned.volume.grid.to_mm(at).mean(axis=0)


BLOCKS = {
    "plain": SMALL,
    "reversed": replace(SMALL, flipped=(True, False, False)),
    "turned over": replace(SMALL, flipped=(False, True, True)),
    "leaning": replace(SMALL, gantry_deg=15.0),
    "thick": replace(SMALL, spacing_mm=3.0),
    "overlapping": replace(SMALL, spacing_mm=1.0, thickness_mm=2.5),
}


@pytest.mark.parametrize("name", BLOCKS)
def test_bones_lie_where_the_grid_says_in_every_kind_of_block(name: str) -> None:
    found = middle_of_bright(taken(replace(QUIET, block=BLOCKS[name])))
    np.testing.assert_allclose(found, HEADS[Side.LEFT], atol=0.15)


def test_a_turned_patient_lies_where_the_truth_says() -> None:
    scanned = taken(replace(QUIET, turned_deg=(10.0, 6.0, -8.0)))
    truth = np.asarray(scanned.patient.heads_mm[Side.LEFT])
    assert np.linalg.norm(truth - HEADS[Side.LEFT]) > 5.0
    grid = scanned.volume.grid
    k, i, j = np.rint(grid.to_indices(truth)).astype(int)
    assert scanned.volume.values[k, i, j] == pytest.approx(190.0, abs=3.0)
    np.testing.assert_allclose(
        scanned.patient.bones["femur_left"].vertices.mean(axis=0), truth, atol=0.05
    )


def test_volume_of_a_ball_is_kept_by_its_voxels() -> None:
    """The sum over voxels of bone less what it displaced is the ball's own volume."""
    density = replace(PLAIN, cortex_hu=1000.0, spongy_hu=1000.0, head_hu=1000.0, shaft_hu=1000.0)
    values = taken(replace(QUIET, density=density)).volume.values.astype(float)
    soft = np.median(values[(values > -50) & (values < 90)])
    share = np.clip((values - soft) / (1000.0 - soft), -0.2, 1.0)
    share[share < 0.12] = 0.0
    volume = share.sum() * SMALL.pixel_mm**2 * SMALL.spacing_mm
    assert volume == pytest.approx(4 / 3 * np.pi * RADIUS**3, rel=0.02)


def test_cortex_and_marrow_have_the_hounsfield_values_asked_for() -> None:
    fine = replace(SMALL, columns=128, rows=128, pixel_mm=0.6)
    scanned = taken(replace(QUIET, block=fine))
    values, grid = scanned.volume.values, scanned.volume.grid
    k, i, j = np.rint(grid.to_indices(HEADS[Side.LEFT])).astype(int)
    assert values[k, i, j] == pytest.approx(190.0, abs=2.0)
    assert values[k, i].max() == pytest.approx(1380.0, abs=15.0)
    assert values.dtype == np.int16


def test_noise_has_the_spread_asked_for() -> None:
    setup = replace(QUIET, noise_hu=40.0, blur_mm=0.6)
    grainy = taken(setup, 3).volume.values
    smooth = taken(replace(setup, noise_hu=0.01), 3).volume.values
    inside = smooth > 150
    spread = (grainy.astype(float) - smooth)[inside].std()
    assert spread == pytest.approx(40.0, rel=0.1)


def test_a_sharp_kernel_overshoots_and_a_soft_one_does_not() -> None:
    fine = replace(SMALL, columns=128, rows=128, pixel_mm=0.6)
    soft = taken(replace(QUIET, block=fine, blur_mm=0.8)).volume
    sharp = taken(replace(QUIET, block=fine, blur_mm=0.4, overshoot=0.6)).volume
    k, i, _ = np.rint(soft.grid.to_indices(HEADS[Side.LEFT])).astype(int)
    beside = slice(None)
    assert sharp.values[k, i, beside].max() > soft.values[k, i, beside].max() + 150
    marrow = (np.abs(soft.grid.to_mm(np.stack(
        [np.full(128, k), np.full(128, i), np.arange(128)], axis=-1).astype(float))[:, 0] - 88.0
    ) < 20.5)  # fmt: skip
    assert sharp.values[k, i][marrow].min() < soft.values[k, i][marrow].min() - 10


def test_scale_and_bias_change_hounsfield_values_as_told() -> None:
    plain = taken(QUIET).volume.values.astype(float)
    scaled = taken(replace(QUIET, hu_scale=0.85)).volume.values.astype(float)
    np.testing.assert_allclose(scaled, np.clip(0.85 * plain, -1024, 3071), atol=1.5)
    biased = taken(replace(QUIET, bias=0.15)).volume.values.astype(float)
    bright = plain > 150
    ratio = biased[bright] / plain[bright]
    assert 0.84 < ratio.min() < ratio.max() < 1.16
    assert np.ptp(ratio) > 0.01


def test_low_density_bone_is_darker() -> None:
    assert LOW_DENSITY.spongy_hu < ORDINARY.spongy_hu
    weak = taken(replace(QUIET, density=replace(LOW_DENSITY, texture_hu=0.0)))
    strong = taken(replace(QUIET, density=replace(ORDINARY, texture_hu=0.0)))
    assert weak.volume.values.mean() < strong.volume.values.mean()


def test_texture_grains_the_marrow_only() -> None:
    grained = taken(replace(QUIET, density=replace(PLAIN, texture_hu=90.0, texture_mm=1.6)))
    plain = taken(QUIET)
    change = grained.volume.values.astype(float) - plain.volume.values
    grid = plain.volume.grid
    index = np.indices(plain.volume.values.shape).reshape(3, -1).T.astype(float)
    away = np.linalg.norm(grid.to_mm(index) - HEADS[Side.LEFT], axis=1).reshape(change.shape)
    assert 60.0 < change[away < 18.0].std() < 120.0
    assert np.abs(change[away > 27.0]).max() < 3.0


def test_contrast_medium_fills_the_joint_and_not_the_head() -> None:
    fine = replace(SMALL, columns=128, rows=128, pixel_mm=0.6)
    filled = taken(replace(QUIET, block=fine, contrast=Contrast.JOINT)).volume
    plain = taken(replace(QUIET, block=fine)).volume
    change = filled.values.astype(float) - plain.values
    k, i, j = np.rint(plain.grid.to_indices(HEADS[Side.LEFT])).astype(int)
    assert abs(change[k, i, j]) < 2.0
    row = change[k, i]
    assert row.max() > 300.0
    vessels = taken(replace(QUIET, contrast=Contrast.VESSELS)).volume.values.astype(float)
    assert (vessels - taken(QUIET).volume.values).max() > 200.0


def test_motion_shifts_what_is_above_and_leaves_what_is_below() -> None:
    moved = taken(replace(QUIET, shift_at_mm=0.0, shift_mm=(0.0, 4.8, 0.0))).volume
    plain = taken(QUIET).volume
    half = plain.values.shape[0] // 2
    np.testing.assert_allclose(moved.values[: half - 1], plain.values[: half - 1], atol=2)
    above = moved.values[half + 1 :, 4:].astype(float)
    np.testing.assert_allclose(above, plain.values[half + 1 :, :-4], atol=60)  # four rows lower


def test_a_screw_is_bright_and_throws_streaks() -> None:
    screw = Screw(start_mm=(-15.0, 0.0, -3.0), end_mm=(15.0, 0.0, -3.0))
    scanned = taken(replace(QUIET, screws=(screw,)))
    assert scanned.volume.values.max() == 3071
    change = scanned.volume.values.astype(float) - taken(QUIET).volume.values
    touched = np.abs(change).reshape(len(change), -1).max(axis=1) > 50.0
    assert 4 < touched.sum() < 16  # only slices that hold metal
    rod = screw_surface(screw, HEADS[Side.LEFT])
    assert rod.volume_mm3 == pytest.approx(
        np.pi * 3.25**2 * 30.0 + 4 / 3 * np.pi * 3.25**3, rel=0.03
    )
    low, high = rod.vertices.min(axis=0), rod.vertices.max(axis=0)
    np.testing.assert_allclose(low, HEADS[Side.LEFT] + [-18.25, -3.25, -6.25], atol=0.1)
    np.testing.assert_allclose(high, HEADS[Side.LEFT] + [18.25, 3.25, 0.25], atol=0.1)


def test_no_metal_no_streaks() -> None:
    picture = np.zeros((8, 8), np.float32)
    add_streaks(picture, np.zeros((8, 8), np.float32), 0.7, 0.0)
    assert not picture.any()


def test_the_same_seed_gives_the_same_volume() -> None:
    setup = replace(QUIET, noise_hu=25.0, density=ORDINARY)
    one, two = taken(setup, 5), taken(setup, 5)
    np.testing.assert_array_equal(one.volume.values, two.volume.values)
    assert one.volume.kernel == "MEDIUM"
    assert one.volume.slice_thickness_mm == 1.0


def test_one_head_is_enough_for_a_patient() -> None:
    alone = Patient(
        bones={"femur_left": patient().bones["femur_left"]},
        heads_mm={Side.LEFT: HEADS[Side.LEFT]},
        radii_mm={Side.LEFT: RADIUS},
    )
    scanned = scan(
        alone, replace(QUIET, block=replace(SMALL, aside_mm=(0.0, 0.0))), np.random.default_rng(1)
    )
    np.testing.assert_allclose(middle_of_bright(scanned), HEADS[Side.LEFT], atol=0.4)


def test_slices_thicker_than_their_steps_average_what_they_hold() -> None:
    """A 2.5 mm slice every 1 mm blurs along z as a box of that width does."""
    thin = taken(replace(QUIET, block=replace(SMALL, spacing_mm=0.25))).volume
    thick = taken(replace(QUIET, block=replace(SMALL, spacing_mm=1.0, thickness_mm=2.5))).volume
    middle = [round(v.grid.to_indices(HEADS[Side.LEFT])[1]) for v in (thin, thick)]
    column = [v.values[:, m, 32].astype(float) for v, m in zip((thin, thick), middle, strict=True)]
    box = np.convolve(column[0], np.ones(10) / 10, mode="same")
    expected = np.interp(
        thick.grid.to_mm(np.array([[k, 0.0, 0.0] for k in range(len(column[1]))]))[:, 2],
        thin.grid.to_mm(np.array([[k - 0.5, 0.0, 0.0] for k in range(len(box))]))[:, 2],
        box,
    )
    inner = slice(6, -6)
    np.testing.assert_allclose(column[1][inner], expected[inner], atol=45.0)


def test_cortex_is_thick_in_the_shaft_and_thin_under_cartilage() -> None:
    rod = trimesh.creation.cylinder(radius=12.0, height=200.0, sections=24)
    for _ in range(3):
        rod = rod.subdivide()
    shaft = TriangleSurface(
        vertices=np.asarray(rod.vertices) + HEADS[Side.LEFT] - [0.0, 0.0, 150.0],
        faces=np.asarray(rod.faces),
    )
    rng = np.random.default_rng(2)
    radii = dict.fromkeys(Side, RADIUS)
    along = cortex_mm("femur_left", shaft, HEADS, radii, PLAIN, rng)
    head = cortex_mm("femur_left", patient().bones["femur_left"], HEADS, radii, PLAIN, rng)
    socket = cortex_mm("hip_bone_left", ball(27.0, HEADS[Side.LEFT]), HEADS, radii, PLAIN, rng)
    assert along.max() == pytest.approx(4.5, abs=0.1)
    assert head.min() == pytest.approx(PLAIN.joint_mm)
    assert socket.max() > 2.0
    assert socket.min() == pytest.approx(PLAIN.joint_mm)
    assert cortex_mm("sacrum", shaft, HEADS, radii, PLAIN, rng).max() == pytest.approx(1.5)


def test_a_known_inner_surface_is_moved_by_the_densitys_factors() -> None:
    outer, inner = ball(24.0, np.zeros(3)), ball(22.0, np.zeros(3))
    rng = np.random.default_rng(1)
    half = thinned(inner, outer, replace(PLAIN, thickness=0.5), rng)
    away = np.linalg.norm(half.vertices, axis=1)
    np.testing.assert_allclose(away, 23.0, atol=0.06)


def test_waves_have_unit_spread() -> None:
    points = np.random.default_rng(0).uniform(-200, 200, (4000, 3))
    assert waves(points, np.random.default_rng(1)).std() == pytest.approx(1.0, abs=0.15)


def test_sites_of_marrow_follow_the_shaft() -> None:
    rod = trimesh.creation.cylinder(radius=12.0, height=300.0, sections=24)
    for _ in range(6):
        rod = rod.subdivide()
    shaft = TriangleSurface(
        vertices=np.asarray(rod.vertices) + HEADS[Side.LEFT] - [0.0, 0.0, 180.0],
        faces=np.asarray(rod.faces),
    )
    sites = marrow_sites({"femur_left": shaft}, HEADS, ORDINARY)
    down = sites[sites[:, 4] < 0]
    assert len(down) >= 5
    np.testing.assert_allclose(down[:, 0], 88.0, atol=0.5)


def test_bone_is_placed_like_plain_numpy_does() -> None:
    rng = np.random.default_rng(6)
    shape = (3, 4, 5)
    total = rng.uniform(0, 1000, shape).astype(np.float32)
    outer = rng.uniform(0, 1, shape).astype(np.float32)
    outer[0] = 0.0
    inner = (outer * rng.uniform(0, 1, shape)).astype(np.float32)
    first, steps = np.array([-3.0, 2.0, 5.0]), np.diag([1.0, 0.8, 0.7])[:, ::-1].copy()
    sites = np.array([[0.0, 3.0, 6.0, 2.0, 150.0], [40.0, 0.0, 0.0, 2.0, 80.0]])
    uneven = cortex_waves(rng)
    grain = grain_tile(np.ones(3), ORDINARY, rng)
    hu = bone_hu(ORDINARY)
    k, i, j = np.indices(shape)
    at = first + np.stack([k, i, j], axis=-1) @ steps
    wave = np.cos(at @ uneven[:, :3].T + uneven[:, 3]).sum(axis=-1) * np.sqrt(2 / len(uneven))
    own = np.full(shape, hu[2])
    for site in sites:
        away = ((at - site[:3]) ** 2).sum(axis=-1) / site[3] ** 2
        own += np.where(away < 9, site[4] * np.exp(-0.5 * away), 0.0)
    own = np.maximum(own, hu[3]) + grain[k + 7, i, j]
    compact = outer - inner
    expected = total * (1 - outer) + compact * hu[0] * (1 + hu[1] * wave) + inner * own
    expected[0] = total[0]
    place_bone(total, outer, inner, first, steps, hu, sites, uneven, grain, 7)
    np.testing.assert_allclose(total, expected, rtol=2e-4, atol=0.05)


def test_the_grain_has_the_spread_and_size_asked_for() -> None:
    tile = grain_tile(np.ones(3), replace(ORDINARY, texture_hu=90.0, texture_mm=2.0),
                      np.random.default_rng(1))  # fmt: skip
    assert tile.std() == pytest.approx(90.0, rel=1e-4)
    blurred = np.asarray(gaussian_filter(tile, 1.0, mode="wrap"))
    assert blurred.std() > 0.5 * tile.std()  # grains of millimeters, not of voxels
