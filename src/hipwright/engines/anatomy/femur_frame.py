"""The frame of a femur: by the ISB where the knee was scanned, by assumption where it was not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog.frame_fallbacks import frame_fallbacks
from hipwright.engines.anatomy.femur_in_space import FemurInSpace
from hipwright.engines.anatomy.femur_polar import clock_up

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FemurFrame:
    """Axes of a femur in ``hip_canonical``, its origin in the head's center.

    Attributes
    ----------
    axes
        Rows lateral, anterior and superior, (3, 3): z, x and y of the ISB.
    origin
        Center of the head, (3,).
    method
        In words, what they were found from.
    sd_deg
        Extra doubt about each of the three axes, over the spread of the landmarks.
    """

    axes: Floats
    origin: Floats
    method: str
    sd_deg: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def is_fallback(self) -> bool:
        """Whether something in it is assumed, not seen."""
        return any(sd > 0 for sd in self.sd_deg)


def femur_frame(femur: FemurInSpace) -> FemurFrame:
    """Make the frame of a surveyed femur (without leading axes).

    Notes
    -----
    ISB (Wu et al., J Biomech 2002;35:543, from a secondary source): upward from the middle of
    the epicondyles to the head's center, lateral in the plane of these three. Without a
    knee, the shaft and the neck stand in: the neck is taken to have an ordinary version, and
    the long axis, carried on from the curve of the shaft, an ordinary angle to the line from
    head to knee.
    """
    center, epicondyles = femur.head_center, femur.epicondyles
    if np.isfinite(epicondyles).all():
        up = center - epicondyles.mean(axis=0)
        up = up / np.linalg.norm(up)
        lateral = clock_up(up, epicondyles[1] - epicondyles[0])
        return _frame(center, up, lateral, "the epicondyles and the head's center (ISB)")
    assumed = frame_fallbacks()
    lean = assumed["shaft_to_mechanical_axis"]
    neck = clock_up(femur.long_axis, femur.neck_axis)
    front = np.cross(femur.long_axis, neck)
    turn = np.radians(assumed["version"].value_deg)
    lateral = np.cos(turn) * neck + np.sin(turn) * front
    tilt = np.radians(lean.value_deg)
    up = np.cos(tilt) * femur.long_axis - np.sin(tilt) * lateral
    version, long_sd = assumed["version"], long_axis_sd_deg(femur)
    lying_sd = 0.0 if has_shaft(femur) else long_sd
    return _frame(
        center,
        up,
        clock_up(up, lateral),
        f"{_seen(femur)} a version of {version.value_deg:.0f}° (± {version.sd_deg:.0f}°) and "
        f"{lean.value_deg:.0f}° (± {lean.sd_deg:.0f}°) between shaft and mechanical axis "
        "are assumed",
        (long_sd, float(np.hypot(lean.sd_deg, lying_sd)), version.sd_deg),
    )


def has_shaft(femur: FemurInSpace) -> bool:
    """Whether enough of the shaft was scanned to tell its axis."""
    return bool(np.isfinite(femur.shaft_axis).all())


def long_axis_sd_deg(femur: FemurInSpace) -> float:
    """Doubt of the long axis of a femur whose knee was not scanned."""
    return frame_fallbacks()["carried_bow" if has_shaft(femur) else "table"].sd_deg


def _seen(femur: FemurInSpace) -> str:
    if has_shaft(femur):
        return "the shaft and the neck: the knee was not scanned, so"
    table = frame_fallbacks()["table"]
    return (
        "the neck and on how legs lie in a scan: too little of the shaft was scanned and no knee, "
        f"so a lean of {table.value_deg:.0f}° (± {table.sd_deg:.0f}°) outward on the table,"
    )


def _frame(
    center: Floats,
    up: Floats,
    lateral: Floats,
    method: str,
    sd_deg: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> FemurFrame:
    axes = np.stack([lateral, np.asarray(np.cross(up, lateral)), up])
    return FemurFrame(axes=axes, origin=center, method=method, sd_deg=sd_deg)
