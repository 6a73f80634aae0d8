"""Surveys of femora that are known in closed form: a sphere on a round neck, with a ball on it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.femur_in_space import FemurInSpace
from hipwright.engines.anatomy.femur_polar import clock_up, polar_directions
from hipwright.engines.anatomy.femur_survey import ANGLES_DEG, HOURS
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.measurement.space_construction import space_constructions
from hipwright.engines.measurement.space_shelf import SPACE_CONSTRUCTIONS

Floats = NDArray[np.float64]

STATIONS = np.arange(10.0, 40.0, 1.0)
UP = np.array([0.0, 0.0, 1.0])


def round_femur(
    *,
    radius: float = 24.0,
    neck: float = 16.0,
    neck_shaft: float = 130.0,
    version: float = 20.0,
    ball: tuple[float, float, float, float] | None = None,
    angles_deg: Floats = ANGLES_DEG,
    **other: Any,
) -> FemurInSpace:
    """A femur whose shaft stands along z and whose condyles face straight back.

    ``ball`` is the angle from the neck axis and the hour of a ball on the head, its radius and
    how far its center lies from the head's.
    """
    k, v = np.radians(neck_shaft), np.radians(version)
    axis = np.array([np.sin(k) * np.cos(v), -np.sin(k) * np.sin(v), np.cos(k)])
    up = clock_up(axis, UP)
    ways = polar_directions(axis, up, HOURS, angles_deg)
    tube = neck / np.sin(np.radians(np.minimum(angles_deg, 90.0)))
    radial = np.broadcast_to(np.maximum(radius, tube), ways.shape[:-1])
    if ball is not None:
        angle, hour, of_ball, apart = ball
        center = apart * polar_directions(axis, up, np.array([hour]), np.array([angle]))[0, 0]
        along = ways @ center
        inside = along**2 - apart**2 + of_ball**2
        far = np.where(inside > 0, along + np.sqrt(np.maximum(inside, 0.0)), 0.0)
        radial = np.maximum(radial, far)
    joint = 50.0 * axis
    knee = np.array([joint[0], joint[1], -400.0])
    half = np.array([24.0, 0.0, 0.0])
    backs = knee - np.array([0.0, 34.0, 0.0])
    femur = FemurInSpace(
        head_center=np.zeros(3),
        head_radius_mm=np.array(radius),
        neck_axis=axis,
        neck_axis_isthmus=axis,
        isthmus=25.0 * axis,
        shaft_point=joint,
        shaft_axis=UP,
        long_axis=UP,
        posterior_condyles=np.stack([backs - half, backs + half]),
        epicondyles=np.stack([knee - 1.6 * half, knee + 1.6 * half]),
        version_points=np.stack([25.0 * axis, 30.0 * axis, 40.0 * axis, joint]),
        greater_trochanter=joint + np.array([10.0, -6.0, 40.0]),
        lesser_trochanter=joint - np.array([18.0, 15.0, 30.0]),
        clock_up=up,
        hours=HOURS,
        angles_deg=angles_deg,
        radial_mm=np.array(radial),
        stations_mm=STATIONS,
        neck_mm=np.full((len(HOURS), len(STATIONS)), neck),
        malleoli=np.full((2, 3), np.nan),
        tibial_condyles=np.full((2, 3), np.nan),
    )
    return replace(femur, **other)


def value(femur: FemurInSpace, name: str) -> Floats:
    """A measurement by its catalog id, with the catalog's parameters."""
    return SPACE_CONSTRUCTIONS[name](HipInSpace(femur=femur, socket=None))


def kernel_value(femur: FemurInSpace, name: str, **parameters: Any) -> Floats:
    """A measurement by its catalog id, with other parameters."""
    return space_constructions()[name].kernel(HipInSpace(femur=femur, socket=None), **parameters)
