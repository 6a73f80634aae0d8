"""Compiled kernels of the label step against numpy, scipy and scikit-image."""

import numpy as np
import pytest
from scipy import ndimage
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from skimage.measure import block_reduce

from hipwright.engines.imaging.block_means import (
    block_means,
    block_shares,
    coarse_shape,
    mark_above,
)
from hipwright.engines.imaging.ray_samples import even_directions, rays_from
from hipwright.engines.imaging.tissue_levels import count_differences
from hipwright.engines.imaging.upright_volume import pick_codes, sample_values
from hipwright.engines.segmentation.bone_graph import (
    BoneGraph,
    block_valleys,
    connected,
    linked,
    nodes_of,
    valley_depth,
)
from hipwright.engines.segmentation.edge_sharpness import blur_and_overshoot
from hipwright.engines.segmentation.flooding import UNSURE, flood, spread_nodes
from hipwright.engines.segmentation.head_search import cast_votes
from hipwright.engines.segmentation.head_sphere import first_falls
from hipwright.engines.segmentation.height_field import add_way
from hipwright.engines.segmentation.joint_gap import axes_with_pole, gap_costs
from hipwright.engines.segmentation.joint_sides import gap_radius, side_by_gap, side_by_plane
from hipwright.engines.segmentation.random_walk import applied, solve, walked
from hipwright.engines.segmentation.segmentation import gap_radius_toward
from hipwright.engines.segmentation.solids import closed, fill_planes, grown

RNG = np.random.default_rng(11)


def noise(*shape: int) -> np.ndarray:
    return RNG.integers(-200, 1200, shape).astype(np.int16)


def test_block_means_and_shares_match_block_reduce():
    values = noise(6, 8, 9)
    out = np.empty(coarse_shape(values.shape, (2, 2, 3)), np.int16)
    block_means(values, (2, 2, 3), out)
    expected = block_reduce(values.astype(float), (2, 2, 3), np.mean)
    np.testing.assert_array_equal(out, np.floor(expected + 0.5))
    mask = (values > 400).astype(np.uint8)
    shares = np.empty_like(out, dtype=np.uint8)
    block_shares(mask, (2, 2, 3), shares)
    counts = block_reduce(mask.astype(int), (2, 2, 3), np.sum)
    np.testing.assert_array_equal(shares, 255 * counts // 12)


@pytest.mark.parametrize("own", [1.0, 0.4])
def test_marking_matches_a_convolution(own: float):
    values = noise(3, 7, 6)
    out = np.empty(values.shape, np.uint8)
    mark_above(values, 300.0, own, out)
    side = (1 - own) / 4
    kernel = np.array([[[0, side, 0], [side, own, side], [0, side, 0]]])
    smooth = ndimage.convolve(values.astype(float), kernel, mode="nearest")
    np.testing.assert_array_equal(out, smooth > 300.0)


def test_differences_are_counted_where_both_neighbors_are_soft():
    values = noise(7, 6, 20)
    counts = np.zeros(1024, np.int64)
    count_differences(values, -60, 600, counts)
    rows = values[::3, ::2].astype(int)
    a, b = rows[..., :-1], rows[..., 1:]
    soft = (a >= -60) & (a <= 600) & (b >= -60) & (b <= 600)
    expected = np.bincount(np.abs(a - b)[soft], minlength=1024)
    np.testing.assert_array_equal(counts, expected)


def test_sampling_matches_map_coordinates():
    values = noise(6, 7, 8)
    matrix = np.eye(3) + 0.1 * RNG.standard_normal((3, 3))
    start = np.array([0.3, 0.8, 0.2])
    out = np.full((5, 5, 5), -1024, np.int16)
    sample_values(values, matrix, start, out)
    index = start + np.moveaxis(np.indices(out.shape), 0, -1) @ matrix
    inside = ((index >= 0) & (index <= np.array(values.shape) - 1)).all(axis=-1)
    expected = ndimage.map_coordinates(values.astype(float), np.moveaxis(index, -1, 0), order=1)
    assert np.abs(out - expected)[inside].max() <= 0.5 + 1e-9
    assert (out[~inside] == -1024).all()
    codes = (values > 300).astype(np.uint8)
    picked = np.zeros(out.shape, np.uint8)
    pick_codes(codes, matrix, start, picked)
    nearest = ndimage.map_coordinates(codes, np.moveaxis(np.rint(index), -1, 0), order=0)
    np.testing.assert_array_equal(picked[inside], nearest[inside])


def test_rays_match_map_coordinates():
    values = noise(12, 13, 14)
    step = np.array([0.7, 0.8, 1.1])
    center = np.array([4.4, 5.0, 6.1])
    directions = even_directions(40)
    rays = rays_from(values, step, center, directions, first_mm=0.5, pace_mm=0.4, samples=25)
    reach = 0.5 + 0.4 * np.arange(25)
    places = (center + reach[:, None] * directions[:, None]) / step
    index = np.moveaxis(places[..., ::-1], -1, 0)
    expected = ndimage.map_coordinates(values.astype(float), index, order=1)
    top = np.array(values.shape)[:, None, None] - 1
    inside = ((index >= 0) & (index <= top)).all(axis=0)
    assert np.abs(rays - expected)[inside].max() < 0.01
    assert (rays[~inside] == -1000).all()


def test_votes_of_a_ball_meet_at_its_center():
    """The accumulator against the same votes cast in numpy."""
    z, y, x = np.indices((26, 26, 26)) * 1.5
    away = np.sqrt((x - 18) ** 2 + (y - 19.5) ** 2 + (z - 18) ** 2)
    values = np.clip(1000 * (10 - away), 0, 1000).astype(np.int16)
    radii = np.array([9.0, 10.0])
    votes = np.zeros((2, 18, 18, 18), np.float32)
    step = np.full(3, 1.5)
    cast_votes(values, step, 100.0, 1.0, radii, 2.5, votes)
    wide = values.astype(float)
    slopes = [
        (np.roll(wide, -1, a) - np.roll(wide, 1, a))[1:-1, 1:-1, 1:-1] / 3.0 for a in range(3)
    ]
    slope = np.sqrt(sum(g**2 for g in slopes))
    voters = (slope >= 100) & (values[1:-1, 1:-1, 1:-1] >= 1)
    at = (np.argwhere(voters) + 1) * 1.5
    toward = np.stack([g[voters] for g in slopes], axis=1) / slope[voters][:, None]
    expected = np.zeros_like(votes)
    for k, radius in enumerate(radii):
        cells = np.floor((at + radius * toward) / 2.5 + 0.5).astype(int)
        np.add.at(expected[k], tuple(cells.T), 1.0)
    np.testing.assert_array_equal(votes, expected)
    assert np.unravel_index(votes[1].argmax(), votes[1].shape) == (7, 8, 7)


def test_the_first_fall_is_taken_not_the_largest():
    at = np.arange(60) * 0.5
    two = 600 / (1 + np.exp((at - 12.25) / 0.5)) + 900 / (1 + np.exp((at - 22.0) / 0.5))
    rays = np.stack([two, np.full(60, 100.0)]).astype(np.float32)
    out = np.empty(2)
    first_falls(rays, 2, (10, 58), 0.5, 720.0, 100.0, out)
    assert out[0] * 0.5 == pytest.approx(12.25, abs=0.05)
    assert np.isnan(out[1])


def slow_way(costs: np.ndarray, dr: int, dc: int, step: float, jump: float) -> np.ndarray:
    rows, columns, heights = costs.shape
    gap = np.abs(np.subtract.outer(np.arange(heights), np.arange(heights)))
    total = np.zeros_like(costs)
    order = [(r, c) for r in range(rows) for c in range(columns)]
    for r, c in order if (dr, dc) >= (0, 0) else order[::-1]:
        total[r, c] = costs[r, c]
        a, b = r - dr, c - dc
        if 0 <= a < rows and 0 <= b < columns:
            before = total[a, b]
            reached = (before[None] + np.minimum(step * gap, jump)).min(axis=1) - before.min()
            total[r, c] += reached
    return total


@pytest.mark.parametrize("way", [(0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (1, -1), (-1, 1)])
def test_costs_along_a_way_match_a_plain_program(way: tuple[int, int]):
    costs = RNG.random((5, 6, 7)).astype(np.float32)
    total = np.zeros_like(costs)
    add_way(costs, *way, 0.25, 0.9, False, total)
    np.testing.assert_allclose(total, slow_way(costs, *way, 0.25, 0.9), atol=1e-5)


def test_gap_costs_match_plain_numpy():
    rays = RNG.uniform(0, 1200, (6, 30)).astype(np.float32)
    look, heights = 6, 18
    offset = np.linspace(-4, 5, heights)
    costs, valleys = np.empty((6, heights), np.float32), np.empty((6, heights), np.float32)
    gap_costs(rays, look, offset, 40.0, 300.0, 1000.0, costs, valleys)
    for n in range(6):
        for h in range(heights):
            at = h + look
            value = rays[n, at]
            walls = min(rays[n, at - look : at + 1].max(), rays[n, at : at + look + 1].max())
            depth = np.clip((walls - value) / 450.0, 0, 1)
            soft = np.clip((300 - value) / 260.0, 0, 1) if rays[n, : at + 1].max() > 340 else 0
            far = 0.02 * (1.5 if offset[h] < 0 else 0.35) * offset[h] ** 2
            assert valleys[n, h] == pytest.approx(depth, abs=1e-5)
            assert costs[n, h] == pytest.approx(-depth - 0.5 * soft + far, abs=1e-5)


def slow_valley(plane: np.ndarray, y: int, x: int, reach: tuple[int, int], scale: float) -> float:
    longest = max(reach)
    best = 0.0
    for a, b in ((0, 1), (1, 0), (0.75, 0.75), (0.75, -0.75)):
        sides = []
        for sign in (1, -1):
            seen = [plane[y, x]]
            for k in range(1, longest + 1):
                dy = int(k * reach[0] // longest * abs(a)) * sign * (1 if a >= 0 else -1)
                dx = int(k * reach[1] // longest * abs(b)) * sign * (1 if b >= 0 else -1)
                if 0 <= y + dy < plane.shape[0] and 0 <= x + dx < plane.shape[1]:
                    seen.append(plane[y + dy, x + dx])
            sides.append(max(seen))
        best = max(best, (min(sides) - float(plane[y, x])) / scale)
    return min(best, 1.0)


def test_valleys_match_a_plain_program():
    values = noise(2, 12, 12)
    for y, x in ((0, 0), (5, 6), (11, 3), (7, 11)):
        found = valley_depth(values, 1, y, x, 4, 3, 900.0)
        assert found == pytest.approx(slow_valley(values[1], y, x, (4, 3), 900.0))
    at = np.array([[0, 1, 1]], np.int32)
    out = np.empty(1, np.float32)
    block_valleys(values, (2, 4, 4), (4, 3), 900.0, at, out)
    depths = sorted(
        int(32 * slow_valley(values[z], y, x, (4, 3), 900.0))
        for z in range(2)
        for y in range(4, 8)
        for x in range(4, 8)
    )
    assert out[0] == pytest.approx(np.mean(depths[-8:]) / 32, abs=1e-6)


def random_graph() -> tuple[BoneGraph, np.ndarray]:
    bone = RNG.random((5, 6, 7)) > 0.4
    at, node_of = nodes_of(bone)
    valley = RNG.random(len(at)).astype(np.float32)
    return linked(at, node_of, valley, np.zeros(len(at), np.uint8)), bone


def laplacian(graph: BoneGraph) -> np.ndarray:
    count = len(graph.at)
    matrix = np.zeros((count, count))
    for n in range(count):
        for m, w in zip(graph.links[n], graph.strength[n], strict=True):
            if m >= 0:
                matrix[n, n] += w
                matrix[m, m] += w
                matrix[n, m] -= w
                matrix[m, n] -= w
    return matrix


def test_connected_parts_match_scipy():
    graph, bone = random_graph()
    expected = ndimage.label(bone)[0][tuple(graph.at.T)]
    found = connected(graph.links)
    pairs = {(int(a), int(b)) for a, b in zip(found, expected, strict=True)}
    assert len(pairs) == len(set(found.tolist())) == len(set(expected.tolist()))
    n, axis = np.nonzero(graph.links >= 0)
    sparse = coo_matrix(
        (np.ones(len(n)), (n, graph.links[n, axis])), shape=(len(found), len(found))
    )
    assert connected_components(sparse, directed=False)[0] == len(set(found.tolist()))


def test_walls_take_links_away():
    bone = np.ones((1, 1, 4), bool)
    at, node_of = nodes_of(bone)
    sides = np.array([1, 1, 2, 0], np.uint8)
    graph = linked(at, node_of, np.zeros(4, np.float32), sides)
    assert graph.links[:, 2].tolist() == [1, -1, 3, -1]


def test_the_walk_solves_the_laplace_equation():
    graph, _ = random_graph()
    count = len(graph.at)
    part = connected(graph.links)
    inside = np.flatnonzero(part == np.bincount(part).argmax())
    markers = np.zeros(count, np.uint8)
    markers[inside[:3]], markers[inside[-3:]] = 1, 2
    free = ((markers == 0) & (part == part[inside[0]])).astype(np.uint8)
    matrix = laplacian(graph)
    x = RNG.random(count)
    out = np.empty(count)
    applied(graph.links, graph.strength, free, x, out)
    held = np.where(free > 0, x, 0)
    np.testing.assert_allclose(out, np.where(free > 0, matrix @ held, 0), atol=1e-6)
    fixed = (markers == 1).astype(float)
    chance = fixed.copy()
    solve(graph.links, graph.strength, free, fixed, chance, 1e-9, 2000)
    f = np.flatnonzero(free)
    expected = np.linalg.solve(matrix[np.ix_(f, f)], -(matrix @ fixed)[f])
    np.testing.assert_allclose(chance[f], expected, atol=1e-5)
    codes, lead = walked(graph, markers)
    np.testing.assert_array_equal(codes[f] == 1, expected > 0.5)
    assert (lead[f] <= 1.0).all()


def test_growing_closing_and_filling_match_scipy():
    flags = (RNG.random((7, 12, 13)) > 0.9).astype(np.uint8)
    box = np.ones((3, 5, 3), bool)
    np.testing.assert_array_equal(
        grown(flags, (1, 2, 1)), ndimage.binary_dilation(flags, box).astype(np.uint8)
    )
    wide = np.pad(flags, 3)
    shut = ndimage.binary_closing(wide, box)[3:-3, 3:-3, 3:-3]
    np.testing.assert_array_equal(closed(flags, (1, 2, 1)), shut.astype(np.uint8))
    rings = (RNG.random((4, 20, 20)) > 0.45).astype(np.uint8)
    filled = rings.copy()
    fill_planes(filled, 10_000)
    expected = [ndimage.binary_fill_holes(plane) for plane in rings]
    np.testing.assert_array_equal(filled, np.array(expected, np.uint8))
    small = rings.copy()
    fill_planes(small, 1)
    holes, count = ndimage.label(np.array(expected[0]) & ~rings[0].astype(bool))
    sizes = np.bincount(holes.ravel())[1:]
    assert (small[0] - rings[0]).sum() == (sizes == 1).sum()
    assert count == len(sizes)


def test_flooding_meets_in_the_valley_and_respects_bars():
    values = np.full((1, 5, 21), 1000, np.int16)
    values[:, :, 13] = 200
    codes = np.full(values.shape, UNSURE, np.uint8)
    codes[:, :, 0], codes[:, :, 20] = 1, 2
    barred = np.zeros(values.shape, np.uint8)
    mask = np.ones(values.shape, np.uint8)
    barred[:, 0, 5] = 1  # code 1 must not enter here
    flood(values, (2, 2), 450.0, barred, codes)
    assert (codes[0, 1:, :13] == 1).all()
    assert (codes[0, :, 14:] == 2).all()
    assert codes[0, 0, 5] == 0
    fixed = np.full(values.shape, UNSURE, np.uint8)
    fixed[0, 0, 0] = 7
    mask[0, 4] = 0
    nodes = np.array([[[3, UNSURE, 4]]], np.uint8)
    assert spread_nodes(mask, (1, 5, 7), nodes, fixed) == 4 * 7
    assert fixed[0, 0, 0] == 7
    assert fixed[0, 1, 0] == 3
    assert fixed[0, 4, 20] == 0


def test_sides_of_a_gap_match_the_surface_itself():
    axes = axes_with_pole(np.array([0.3, 0.2, 0.9]))
    radius = 9.0 + RNG.random((12, 24))
    acts = RNG.random((12, 24)) > 0.1
    shape, step, center = (24, 24, 24), np.array([1.0, 1.1, 0.9]), np.array([11.0, 12.0, 10.0])
    mask = np.ones(shape, np.uint8)
    codes, barred = np.full(shape, UNSURE, np.uint8), np.zeros(shape, np.uint8)
    low, high = np.zeros(3, np.int64), np.array(shape, np.int64)
    side_by_gap(mask, step, center, axes, radius, acts, 4.0, 2.0, 3, low, high, codes, barred)
    index = np.moveaxis(np.indices(shape), 0, -1)[..., ::-1]
    off = np.asarray(index * step - center, dtype=np.float64)
    away = np.linalg.norm(off, axis=-1)
    gap = gap_radius_toward(off, axes, radius, acts)
    some = off[5, 6, 7]
    assert gap_radius(axes, radius, acts, *some) in (pytest.approx(gap[5, 6, 7]), -1.0)
    within = (away < 4.0) | ((away <= gap) & np.isfinite(gap))
    np.testing.assert_array_equal(codes == 3, within)
    beyond = np.isfinite(gap) & (away > gap) & (away <= gap + 2.0) & (away >= 4.0)
    np.testing.assert_array_equal((barred & 4) > 0, beyond)


def test_sides_of_a_flat_joint_match_heights():
    shape, step, center = (16, 16, 16), np.ones(3), np.array([7.5, 7.5, 7.5])
    axes = np.array([[0.0, 1, 0], [0, 0, 1], [1, 0, 0]])
    heights = np.full((13, 13), 1.25)
    mask = np.ones(shape, np.uint8)
    codes, barred = np.full(shape, UNSURE, np.uint8), np.zeros(shape, np.uint8)
    low, high = np.zeros(3, np.int64), np.array(shape, np.int64)
    acts = np.ones((13, 13), bool)
    sure = np.zeros(shape, np.uint8)
    sure[8, 9] = 5
    block = (1, 1, 1)
    side_by_plane(
        mask, step, center, axes, heights, acts, 1.0, 3.0, 5.0, 1, 5, low, high,
        block, sure, codes, barred,
    )  # fmt: skip
    above = np.arange(16) - 8.75
    row = codes[8, 8]
    np.testing.assert_array_equal(row == 1, (above > 0) & (above < 3))
    np.testing.assert_array_equal(row == 5, (above < 0) & (above > -3))
    np.testing.assert_array_equal(barred[8, 8] == 16, (above > 0) & (above <= 5))
    np.testing.assert_array_equal(barred[8, 8] == 1, (above < 0) & (above >= -5))
    assert (codes[8, 0] == UNSURE).all()  # beyond the plane's end
    assert (codes[8, 9] == UNSURE).all()  # a node that is certain already
    assert not barred[8, 9].any()


@pytest.mark.parametrize("blur_mm", [0.4, 0.6, 0.85])
def test_blur_is_read_from_thick_walls(blur_mm: float):
    x = np.arange(200) * 0.5
    wall = (np.abs(x - 50) < 12).astype(float) * 1200 + 40
    fine = np.repeat(wall, 10)
    blurred = ndimage.gaussian_filter1d(fine, blur_mm / 0.05).reshape(-1, 10).mean(axis=1)
    values = np.tile(np.rint(blurred).astype(np.int16), (12, 80, 1))
    found, overshoot = blur_and_overshoot(values, 0.5, 40.0, 1240.0, 0.0)
    assert found == pytest.approx(blur_mm, abs=0.08)
    assert overshoot < 0.02
