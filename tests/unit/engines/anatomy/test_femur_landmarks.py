"""Landmarks of femora as scans show them: in two blocks, leaning, and cut short."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from manifold3d import Manifold, Mesh

from hipwright.engines.anatomy.femur_head import BoneMesh
from hipwright.engines.anatomy.femur_landmarks import place_landmarks
from hipwright.phantoms.analytic_bones import AnalyticHip3D, analytic_hip_3d
from hipwright.phantoms.film_setup import turn


@cache
def hip() -> AnalyticHip3D:
    return analytic_hip_3d("cam_anterosuperior", steps_mm=(1.2, 5.0))


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


@pytest.mark.parametrize("lean_deg", [-14.0, 14.0])
def test_a_knee_in_a_block_of_its_own_is_found_however_the_shaft_leans(lean_deg: float) -> None:
    found = place_landmarks(scanned(lean_deg, (-140.0, 60.0), (-500.0, -330.0)))
    whole = place_landmarks(scanned(lean_deg, (-500.0, 60.0)))
    for name in ("posterior_condyle_medial", "posterior_condyle_lateral", "epicondyle_medial"):
        assert np.linalg.norm(found[name] - whole[name]) < 1.0, name


def test_no_section_through_the_lid_of_a_scan_bends_the_shaft() -> None:
    found = place_landmarks(scanned(14.0, (-140.0, 60.0)))
    whole = place_landmarks(scanned(14.0, (-500.0, 60.0)))
    ways = [at["femoral_shaft_proximal"] - at["femoral_shaft_distal"] for at in (found, whole)]
    cosine = ways[0] @ ways[1] / np.linalg.norm(ways[0]) / np.linalg.norm(ways[1])
    assert np.degrees(np.arccos(cosine)) < 0.3
