"""Compiled parts of the edge fit against plain numpy, scipy and closed forms."""

import numpy as np
from scipy.interpolate import CubicHermiteSpline
from scipy.ndimage import gaussian_filter1d

from hipwright.engines.geometry.meshes import averaging_matrix
from hipwright.engines.segmentation.edge_blur import AT_MM, levels_seen
from hipwright.engines.segmentation.edge_fit import COARSE, FINE, explained, fit_edges, weighed
from hipwright.engines.segmentation.edge_model import EdgeLevels, beyond, walls
from hipwright.engines.segmentation.edge_profiles import other_bone_mm, profiles_along
from hipwright.engines.segmentation.edge_smoothing import relaxed, smooth_displacement
from tests.unit.engines.segmentation.walled_balls import grid_of

LEVELS = EdgeLevels(soft_hu=40.0, cortex_hu=1300.0, noise_hu=15.0, blur_mm=0.55, slice_blur_mm=0.4)
AT = np.arange(-2.7, 2.41, 0.3)
FAR = np.array([np.inf])


def wall(x0, t, gap=np.inf, *, at=AT, blur=0.55, cortex=1300.0, soft=40.0, spongy=250.0):
    """A wall blurred by scipy on a fine line, which shares no code with the model."""
    line = np.arange(-12.0, 12.0, 0.01)
    hu = np.where(line < x0 - t, spongy, np.where(line < x0, cortex, soft))
    hu = np.where((line > x0 + gap) & (line < x0 + gap + 1.2), cortex, hu)
    hu = np.where(line > x0 + gap + 1.2, spongy, hu)
    return np.interp(at, line, gaussian_filter1d(hu, blur / 0.01)).astype(np.float32)


def fitted(profile, search=FINE, other=np.inf, middle=np.inf, levels=LEVELS):
    fit = fit_edges(
        profile[None], AT, levels, np.zeros(1), np.array([other]), np.array([middle]), search
    )
    return float(fit.x0_mm[0]), float(fit.sd_mm[0]), float(fit.t_mm[0]), float(fit.misfit_hu[0])


def test_the_edge_of_a_blurred_wall_is_found_for_thin_and_thick_cortex():
    for t in (0.6, 1.0, 1.7, 3.5):
        for x0 in (-0.4, 0.0, 0.33):
            edge, sd, thick, misfit = fitted(wall(x0, t))
            assert abs(edge - x0) < 0.06  # mm
            assert sd < 0.15
            assert abs(thick - t) < 0.35 * t
            assert misfit < 60


def test_the_edge_beside_a_narrow_gap_is_found_when_another_bone_is_told():
    for gap in (0.7, 1.2, 2.2, 3.0):
        edge, *_ = fitted(wall(0.1, 1.0, gap), other=0.1 + gap, middle=0.1 + gap / 2)
        assert abs(edge - 0.1) < 0.12  # mm


def test_a_profile_without_an_edge_is_told_by_its_misfit():
    _, _, _, misfit = fitted(np.tile([-900.0, 1200.0, 300.0], 6).astype(np.float32))
    assert misfit > 0.16 * LEVELS.step_hu


def test_a_blurred_step_is_that_of_scipy_with_and_without_overshoot():
    line = np.arange(-12.0, 12.0, 0.01)
    step = np.where(line < 0, 1.0, 0.0)
    narrow, wide = gaussian_filter1d(step, 50), gaussian_filter1d(step, 125)
    for overshoot in (0.0, 0.4):
        expected = narrow + overshoot * (narrow - wide)
        found = beyond(line, 0.5, overshoot)
        assert np.abs(found - expected)[200:-200].max() < 6e-3  # half a cell of the line


def test_compiled_comparison_gives_what_plain_numpy_gives():
    rng = np.random.default_rng(3)
    grid = walls(
        AT,
        LEVELS,
        0.1,
        x0_mm=np.linspace(-0.6, 0.6, 5),
        t_mm=np.array([0.5, 1.5]),
        g_mm=np.array([1.0, np.inf]),
    )
    products = rng.normal(scale=3, size=(7, 3 * len(grid.offset))).astype(np.float32)
    other, middle = np.full(7, 1.1), np.full(7, 0.4)
    wall_of = np.stack([grid.x0_mm, grid.t_mm, grid.g_mm])
    found = weighed(products, grid.offset, grid.occam, wall_of, other, middle)
    score = (products.astype(float).reshape(7, -1, 3) ** 2).sum(axis=2) + grid.offset
    x0, t, g = wall_of
    near = np.isfinite(g)
    low, high = x0 - 0.4 - 0.35, 0.4 - x0 - g - 0.35
    score -= np.where(near, ((x0 + g - 1.1) / 0.8) ** 2, 0.0)
    wrong = np.where(near, np.maximum(low, high), low).clip(0.0)
    score -= 25.0 * wrong**2
    less = score.max(axis=1, keepdims=True) - score
    share = np.where(less < 30.0, np.exp(-0.5 * less), 0.0)
    share /= share.sum(axis=1, keepdims=True)
    edge = share @ x0
    np.testing.assert_allclose(found[0], edge, atol=1e-5)
    np.testing.assert_allclose(found[1], np.sqrt((share @ x0**2) - edge**2), atol=1e-4)
    np.testing.assert_allclose(found[2], share @ t, atol=1e-5)
    best = score.argmax(axis=1)
    np.testing.assert_allclose(found[3], score.max(axis=1) - grid.occam[best], rtol=1e-5)


def test_the_search_explains_a_wall_better_than_anything_else():
    good = wall(0.0, 1.4)[None]
    bad = np.tile([-900.0, 1200.0, 300.0], 6)[None, : len(AT)].astype(np.float32)
    scores = [explained(p, AT, LEVELS, np.zeros(1), COARSE)[0] for p in (good, bad)]
    assert scores[0] > scores[1] + 20


def test_blur_and_cortex_are_read_from_thick_walls():
    rng = np.random.default_rng(4)
    rows = [
        wall(x, t, at=AT_MM, blur=0.7, cortex=1500.0)
        for x, t in zip(rng.uniform(-0.4, 0.4, 150), rng.uniform(2.6, 4.5, 150), strict=True)
    ]
    profiles = np.array(rows) + rng.normal(scale=15, size=(150, len(AT_MM))).astype(np.float32)
    seen = levels_seen(profiles.astype(np.float32), np.zeros(150), LEVELS)
    assert abs(seen.levels.blur_mm - 0.7) < 0.06  # mm
    assert abs(seen.levels.cortex_hu - 1500.0) < 40  # HU
    assert seen.levels.overshoot < 0.15
    assert 0.03 <= seen.bias_sd_mm < 0.15


def test_cortex_that_no_thick_wall_shows_leaves_more_doubt():
    rng = np.random.default_rng(5)
    rows = np.array([wall(x, 0.9, at=AT_MM) for x in rng.uniform(-0.3, 0.3, 150)])
    thick = np.array([wall(x, 3.5, at=AT_MM) for x in rng.uniform(-0.3, 0.3, 150)])
    flat = np.zeros(150)
    thin_doubt = levels_seen(rows, flat, LEVELS).bias_sd_mm
    assert thin_doubt > 1.5 * levels_seen(thick, flat, LEVELS).bias_sd_mm


def test_cubic_reading_is_that_of_a_hermite_spline_of_scipy():
    values = np.random.default_rng(6).integers(-500, 1500, (9, 10, 11)).astype(np.int16)
    grid = grid_of(values.shape, spacing=(1.0, 1.0, 1.0))
    points = np.array([[5.0, 4.0, 2.0]])
    way = np.array([[0.0, 0.0, 1.0]])
    at = np.linspace(0.0, 4.0, 17)
    line = values[:, 4, 5].astype(float)
    slope = np.gradient(line)
    spline = CubicHermiteSpline(np.arange(9), line, slope)
    found = profiles_along(values, grid, points, way, at)
    np.testing.assert_allclose(found[0], spline(2.0 + at), atol=1e-2)
    beyond_the_end = profiles_along(values, grid, points, way, np.array([20.0]))
    assert beyond_the_end[0, 0] == values[-1, 4, 5]


def test_another_bone_is_seen_where_its_voxels_begin():
    codes = np.zeros((5, 5, 20), np.uint8)
    codes[:, :, :4], codes[:, :, 9:] = 1, 2
    grid = grid_of(codes.shape, spacing=(1.0, 1.0, 1.0))
    points = np.array([[3.0, 2.0, 2.0], [3.0, 2.0, 2.0]])
    ways = np.array([[1.0, 0.0, 0.0], [-1.0, 0.0, 0.0]])
    found = other_bone_mm(codes, grid, points, ways, np.arange(0.0, 8.0, 0.25), 1)
    assert abs(found[0] - 5.5) <= 0.25  # half a voxel before the center of the first one
    assert np.isinf(found[1])


def strip(count):
    faces = [[i, i + 1, i + 2] if i % 2 == 0 else [i, i + 2, i + 1] for i in range(count - 2)]
    return averaging_matrix(count, np.array(faces))


def test_compiled_smoothing_gives_what_plain_numpy_gives():
    rng = np.random.default_rng(7)
    mean = strip(40)
    edge, weight = rng.normal(size=40), rng.uniform(0, 1, 40)
    found = relaxed(mean.indptr, mean.indices, edge, weight, edge, 3, 1.5)
    plain = edge.copy()
    for _ in range(3):
        plain = (weight * edge + 1.5 * (mean @ plain)) / (weight + 1.5)
    np.testing.assert_allclose(found, plain, atol=1e-12)


def test_an_edge_that_lies_apart_or_fits_badly_follows_its_neighbors():
    count = 60
    profiles = np.repeat(wall(0.2, 1.4)[None], count, axis=0)
    far = np.full(count, np.inf)
    fit = fit_edges(profiles, AT, LEVELS, np.zeros(count), far, far, FINE)
    fit.x0_mm[20] = -0.8
    fit.x0_mm[40], fit.misfit_hu[40] = 0.6, 900.0
    moved = smooth_displacement(fit, strip(count), step_hu=LEVELS.step_hu, limit_mm=0.85)
    assert not moved.kept[[20, 40]].any()
    assert moved.kept.sum() == count - 2
    assert np.abs(moved.by_mm - 0.2).max() < 0.08  # mm
    fit.misfit_hu[:] = 900.0
    lost = smooth_displacement(fit, strip(count), step_hu=LEVELS.step_hu, limit_mm=0.85)
    assert not lost.kept.any()
    assert np.isinf(lost.scatter_mm)
