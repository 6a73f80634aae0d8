"""Landmarks of femora as scans show them: in two blocks, leaning, and cut short."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from manifold3d import Manifold, Mesh

from hipwright.domain.anatomy import Surface
from hipwright.domain.frames import Frame, FrameKind
from hipwright.engines.anatomy.femur_draws import drawn_femur
from hipwright.engines.anatomy.femur_frame import femur_frame
from hipwright.engines.anatomy.femur_head import BoneMesh
from hipwright.engines.anatomy.femur_in_space import FemurInSpace
from hipwright.engines.anatomy.femur_landmarks import place_landmarks
from hipwright.engines.anatomy.femur_shaft import lying_axis
from hipwright.engines.anatomy.femur_survey import survey_femur
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.anatomy.space_doubt import SpaceDoubt
from hipwright.engines.measurement.space_shelf import SPACE_CONSTRUCTIONS
from hipwright.phantoms.analytic_bones import AnalyticHip3D
from hipwright.phantoms.film_setup import turn
from tests.analytic_hips import hip_of


def hip() -> AnalyticHip3D:
    return hip_of("cam_anterosuperior")


@cache
def scanned(lean_deg: float, *blocks: tuple[float, float]) -> BoneMesh:
    """The femur leaning forward in the scan, of which some blocks of heights were scanned.

    A block's ends are flat lids, as those of a bone that a scan cuts off.
    """
    leaning = hip().femur.vertices @ turn(0, lean_deg).T
    whole = Manifold(Mesh(leaning.astype(np.float32), hip().femur.faces.astype(np.uint32)))
    parts = [
        whole.trim_by_plane((0.0, 0.0, 1.0), low).trim_by_plane((0.0, 0.0, -1.0), -high).to_mesh()
        for low, high in blocks
    ]
    counts = np.cumsum([0, *(len(part.vert_properties) for part in parts[:-1])])
    return BoneMesh.of(
        np.concatenate([part.vert_properties[:, :3] for part in parts]).astype(np.float64),
        np.concatenate(
            [part.tri_verts.astype(np.int32) + n for part, n in zip(parts, counts, strict=True)]
        ).astype(np.int32),
    )


def test_a_knee_in_a_block_of_its_own_is_found_however_the_shaft_leans() -> None:
    found = place_landmarks(scanned(14.0, (-140.0, 60.0), (-500.0, -330.0)))
    whole = place_landmarks(scanned(14.0, (-500.0, 60.0)))
    for name in ("posterior_condyle_medial", "posterior_condyle_lateral", "epicondyle_medial"):
        assert np.linalg.norm(found[name] - whole[name]) < 1.0, name


def test_no_section_through_the_lid_of_a_scan_bends_the_shaft() -> None:
    found = place_landmarks(scanned(14.0, (-140.0, 60.0)))
    whole = place_landmarks(scanned(14.0, (-500.0, 60.0)))
    ways = [at["femoral_shaft_proximal"] - at["femoral_shaft_distal"] for at in (found, whole)]
    cosine = ways[0] @ ways[1] / np.linalg.norm(ways[0]) / np.linalg.norm(ways[1])
    assert np.degrees(np.arccos(cosine)) < 0.3


NEEDS_SHAFT = (
    "neck_shaft_angle.in_space",
    "neck_shaft_angle.in_space_isthmus",
    "neck_shaft_angle.in_space_frontal",
    "femoral_offset.in_space",
    "trochanter_height",
    "femoral_version.neck_axis",
    "femoral_version.murphy",
    "femoral_version.lee",
)


@cache
def surveyed(*blocks: tuple[float, float]) -> FemurInSpace:
    bone = scanned(0.0, *blocks)
    places = {n: at for n, at in place_landmarks(bone).items() if np.isfinite(at).all()}
    frame = Frame(FrameKind.HIP_CANONICAL, "phantom")
    return survey_femur(Surface(vertices=bone.vertices, faces=bone.faces, frame=frame), places)


def value(femur: FemurInSpace, name: str) -> np.ndarray:
    return SPACE_CONSTRUCTIONS[name](HipInSpace(femur=femur, socket=None))


@pytest.mark.parametrize("low", [-60.0, -80.0, -95.0])
def test_a_femur_cut_short_keeps_its_head_its_neck_and_its_bump(low: float) -> None:
    whole, stump = surveyed((-500.0, 60.0)), surveyed((low, 60.0))
    assert stump.head_center == pytest.approx(whole.head_center, abs=0.01)
    assert stump.neck_axis == pytest.approx(whole.neck_axis, abs=1e-3)
    for name, within in (
        ("head_radius", 0.01),
        ("head_sphericity.rms", 0.01),
        ("head_residual.maximum", 0.02),
        ("cam_height", 0.05),
        ("cam_volume", 10.0),
        ("alpha_angle.radial.maximum", 0.3),
        ("neck_section_area", 2.0),
    ):
        assert value(stump, name) == pytest.approx(value(whole, name), abs=within), name
    # The clock goes by how legs lie in a scan: within the spread that the fallback states.
    turned = value(stump, "alpha_angle.radial.maximum_hour")
    turned = turned - value(whole, "alpha_angle.radial.maximum_hour")
    assert abs(float(turned)) < 0.4
    assert np.isfinite(value(stump, "neck_waist.by_hour")).all()
    assert np.isfinite(value(stump, "head_neck_offset.by_hour")).all()


@pytest.mark.parametrize("low", [-60.0, -80.0, -95.0])
def test_what_needs_the_shaft_is_not_told_of_a_femur_cut_short(low: float) -> None:
    stump = surveyed((low, 60.0))
    assert np.isnan([value(stump, name) for name in NEEDS_SHAFT]).all()
    frame = femur_frame(stump)
    assert "too little of the shaft" in frame.method
    assert min(frame.sd_deg) >= 5.0


def test_the_clock_of_a_femur_cut_short_is_drawn_with_the_doubt_of_the_table() -> None:
    doubt = SpaceDoubt(edge_sd_mm=0.0, edge_bias_sd_mm=0.0, landmark_sd_mm={}, count=200)
    drawn = drawn_femur(surveyed((-60.0, 60.0)), np.random.default_rng(20261125), doubt)
    lean = np.degrees(np.arctan2(drawn.long_axis[1:, 1], drawn.long_axis[1:, 2]))
    assert lean.std() == pytest.approx(5.0, rel=0.15)
    assert np.isfinite(drawn.radial_mm[:, :, -60:]).all()
    assert np.isnan(drawn.shaft_axis).all()


def test_a_knee_and_a_stump_still_tell_the_version_of_the_neck() -> None:
    both = surveyed((-80.0, 60.0), (-500.0, -330.0))
    whole = surveyed((-500.0, 60.0))
    for name in ("femoral_version.neck_axis", "femoral_version.lee"):
        assert value(both, name) == pytest.approx(value(whole, name), abs=1.0), name
    assert np.isnan(value(both, "neck_shaft_angle.in_space"))


def test_the_table_of_the_scan_stays_the_table_when_the_pelvis_is_turned_upright() -> None:
    tilted = np.array([0.0, np.sin(0.2), np.cos(0.2)])
    assert lying_axis(tilted) @ tilted == pytest.approx(np.cos(np.radians(4.0)))
    assert lying_axis(tilted)[0] == pytest.approx(np.sin(np.radians(4.0)))
