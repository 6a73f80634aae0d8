"""Whole analytic hips in space: closed surfaces, landmarks, and the truth they were built with.

Everything is a right hip in canonical axes (X lateral, Y anterior, Z superior, mm, the
head's center at the origin); a left hip is its mirror. The surfaces come from fields by
marching cubes, the truth from the same numbers by closed forms or from the fields
themselves: neither a mesh nor an engine has a part in it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from hipwright.domain.side import Side
from hipwright.phantoms.analytic_bone_femur import BallBump, BallScoop, FemurForm
from hipwright.phantoms.analytic_bone_socket import RimWave, SocketForm
from hipwright.phantoms.analytic_bone_truth import truth_of
from hipwright.phantoms.film_setup import turn
from hipwright.phantoms.hip_bone_building import without_voids
from hipwright.phantoms.implicit import Grid, graded_planes, spared, surface_of
from hipwright.phantoms.surfaces import TriangleSurface

Floats = NDArray[np.float64]

_STEPS_MM = (0.4, 3.0)
_FINE_BEYOND_MM = 9.0
_SPARING_MM = 0.0008
_AT_ONCE = 400_000
_SNAPPED = 1.6


@dataclass(frozen=True, kw_only=True)
class HipForm:
    """A femur and a hip bone that meet at the origin.

    ``internal_rotation_deg`` is how the leg lies; no version or neck–shaft angle depends on
    it. With the pelvis's anterior plane upright the mechanical axis of the femur stands
    upright too.
    """

    femur: FemurForm = field(default_factory=FemurForm)
    socket: SocketForm = field(default_factory=SocketForm)
    internal_rotation_deg: float = 0.0

    @cached_property
    def pose(self) -> Floats:
        """Rotation of the femur's own frame into the canonical one, (3, 3)."""
        knee = self.femur.knee
        adduct = np.degrees(np.arctan2(knee[0], -knee[2]))
        forward = np.degrees(np.arctan2(knee[1], np.hypot(knee[0], knee[2])))
        return turn(2, self.internal_rotation_deg) @ turn(0, -forward) @ turn(1, adduct)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AnalyticHip3D:
    """One right hip in canonical axes.

    Attributes
    ----------
    kind
        Its name in :data:`HIP_FORMS`.
    femur, hip_bone
        Closed surfaces, edges about 0.4 mm near the joint and longer elsewhere.
    landmarks
        Points (3,) by plain names; ``opposite_`` ones belong to the other hip.
    truth
        Numbers and arrays by plain names, told in :mod:`analytic_bone_truth`.
    """

    kind: str
    form: HipForm
    femur: TriangleSurface
    hip_bone: TriangleSurface
    landmarks: Mapping[str, Floats]
    truth: Mapping[str, Any]

    def in_patient_lps(self, side: Side, head_center_mm: Floats) -> Mapping[str, TriangleSurface]:
        """The bones of one side of a patient: ``femur`` and ``hip_bone`` in ``patient_lps``."""
        return {
            "femur": _to_lps(self.femur, side, head_center_mm),
            "hip_bone": _to_lps(self.hip_bone, side, head_center_mm),
        }

    def landmarks_in_patient_lps(self, side: Side, head_center_mm: Floats) -> Mapping[str, Floats]:
        """The landmarks of one side of a patient, (3,) each in ``patient_lps``."""
        return {k: _lps(side) * v + head_center_mm for k, v in self.landmarks.items()}


def _lps(side: Side) -> Floats:
    """Canonical axes to left, posterior, superior: a turn for the right, a mirror for the left."""
    return np.array([-1.0 if side is Side.RIGHT else 1.0, -1.0, 1.0])


def _to_lps(surface: TriangleSurface, side: Side, at: Floats) -> TriangleSurface:
    faces = surface.faces if side is Side.RIGHT else surface.faces[:, ::-1]
    return TriangleSurface(vertices=surface.vertices * _lps(side) + at, faces=faces)


_BUMP = BallBump(angle_deg=65.0, hour=1.5)
_WAVES = (RimWave(count=2, hour=10.5, degrees=-1.5), RimWave(count=3, hour=8.0, degrees=1.5))

HIP_FORMS: Mapping[str, HipForm] = MappingProxyType(
    {
        "normal": HipForm(socket=SocketForm(waves=_WAVES)),
        "cam_anterosuperior": HipForm(
            femur=FemurForm(bumps=(_BUMP,), version_deg=9.0), socket=SocketForm(waves=_WAVES)
        ),
        "cam_superior": HipForm(
            femur=FemurForm(
                neck_shaft_deg=131.0,
                bumps=(BallBump(angle_deg=63.0, hour=12.0, ball_radius_mm=11.0, apart_mm=17.2),),
            )
        ),
        "pincer": HipForm(socket=SocketForm(rim_deg=92.0, inclination_deg=48.0)),
        "retroverted": HipForm(
            socket=SocketForm(anteversion_deg=-6.0, rim_deg=81.0, waves=_WAVES)
        ),
        "dysplastic": HipForm(
            femur=FemurForm(neck_shaft_deg=138.0, version_deg=27.0),
            socket=SocketForm(
                inclination_deg=58.0,
                anteversion_deg=24.0,
                rim_deg=71.0,
                radius_mm=29.0,
                center_mm=(-0.7, 0.3, -0.4),
            ),
        ),
        "valgus_high_version": HipForm(
            femur=FemurForm(neck_shaft_deg=142.0, version_deg=38.0),
            socket=SocketForm(anteversion_deg=22.0),
        ),
        "after_resection": HipForm(
            femur=FemurForm(
                bumps=(_BUMP,),
                scoops=(BallScoop(angle_deg=65.0, hour=1.5, ball_radius_mm=60.0, apart_mm=81.8),),
            ),
            socket=SocketForm(waves=_WAVES),
        ),
        "after_partial_resection": HipForm(
            femur=FemurForm(
                bumps=(_BUMP,),
                scoops=(BallScoop(angle_deg=61.0, hour=1.5, ball_radius_mm=20.0, apart_mm=43.4),),
            ),
            socket=SocketForm(waves=_WAVES),
        ),
        "shaft_forward": HipForm(
            femur=FemurForm(shaft_forward_mm=5.0, neck_shift_mm=-1.5),
            socket=SocketForm(center_mm=(0.4, -0.3, 0.6)),
        ),
    }
)
"""One hip of each kind that the measurements in space have to tell apart."""


def _surface(
    at: Callable[[Floats], Floats],
    scope: tuple[Floats, Floats],
    reach_mm: float,
    steps_mm: tuple[float, float],
) -> TriangleSurface:
    low, high = scope
    planes = [
        graded_planes(float(low[k]), float(high[k]), (-reach_mm, reach_mm), steps_mm)
        for k in range(3)
    ]
    grid = Grid(x=planes[0], y=planes[1], z=planes[2])
    values = np.empty(grid.shape, np.float32)
    slab = max(1, _AT_ONCE // (grid.shape[1] * grid.shape[2]))
    for first in range(0, grid.shape[0], slab):
        part = Grid(x=grid.x[first : first + slab], y=grid.y, z=grid.z)
        found = at(part.points().reshape(-1, 3))
        values[first : first + slab] = found.reshape(part.shape)
    return surface_of(without_voids(values), grid, tolerance=_SPARING_MM)


def _with_crest(bone: TriangleSurface, socket: SocketForm, reach_mm: float) -> TriangleSurface:
    """Set the vertices beside the rim on it: cutting by planes has beveled its edge.

    Each place of the rim takes its nearest vertex only, so that no two come to lie in one.
    """
    hours, rim = socket.whole_crest
    first, last = socket.notch_hours
    crest = rim[(hours < first) | (hours > last)]
    away, nearest = cKDTree(crest).query(bone.vertices, distance_upper_bound=reach_mm)
    vertices = np.array(bone.vertices)
    near = np.flatnonzero(np.isfinite(away))
    near = near[np.argsort(np.asarray(away)[near], kind="stable")]
    taken, first_of = np.unique(np.asarray(nearest)[near], return_index=True)
    vertices[near[first_of]] = crest[taken]
    return spared(TriangleSurface(vertices=vertices, faces=bone.faces), _SPARING_MM)


def analytic_hip_3d(
    kind: str, *, steps_mm: tuple[float, float] = _STEPS_MM, form: HipForm | None = None
) -> AnalyticHip3D:
    """Make the surfaces, landmarks and truth of one kind of hip.

    Parameters
    ----------
    kind
        A name of :data:`HIP_FORMS` (any name where a form is given).
    steps_mm
        Distance of the planes the surfaces are cut by, near the joint and far from it.
    form
        A hip of one's own.
    """
    hip = HIP_FORMS[kind] if form is None else form
    socket_reach = hip.socket.radius_mm + _FINE_BEYOND_MM
    femur = _surface(
        hip.femur.field,
        hip.femur.scope(),
        hip.femur.head_radius_mm * 1.4 + 2.0,
        steps_mm,
    )
    bone = _surface(hip.socket.field, hip.socket.scope(), socket_reach, steps_mm)
    return AnalyticHip3D(
        kind=kind,
        form=hip,
        femur=femur.moved(hip.pose, np.zeros(3)),
        hip_bone=_with_crest(bone, hip.socket, _SNAPPED * steps_mm[0]),
        landmarks=MappingProxyType(
            {
                **{k: hip.pose @ v for k, v in hip.femur.landmarks().items()},
                **hip.socket.landmarks(),
            }
        ),
        truth=MappingProxyType(truth_of(hip.femur, hip.socket, hip.pose)),
    )
