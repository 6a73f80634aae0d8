"""Analytic hips as triangles, each made once for all tests of a run."""

from __future__ import annotations

from functools import cache

from hipwright.phantoms.analytic_bones import AnalyticHip3D, analytic_hip_3d

NEAR_MM, FAR_MM = 0.9, 6.0


def hip_of(kind: str, near_mm: float = NEAR_MM) -> AnalyticHip3D:
    """One of the named hips; planes that cut it lie ``near_mm`` apart about its joint."""
    return _made(kind, near_mm)


@cache
def _made(kind: str, near_mm: float) -> AnalyticHip3D:
    return analytic_hip_3d(kind, steps_mm=(near_mm, FAR_MM))
