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
    lean, bow = assumed["shaft_to_mechanical_axis"], assumed["carried_bow"]
    neck = clock_up(femur.long_axis, femur.neck_axis)
    front = np.cross(femur.long_axis, neck)
    turn = np.radians(assumed["version"].value_deg)
    lateral = np.cos(turn) * neck + np.sin(turn) * front
    tilt = np.radians(lean.value_deg)
    up = np.cos(tilt) * femur.long_axis - np.sin(tilt) * lateral
    version = assumed["version"]
    return _frame(
        center,
        up,
        clock_up(up, lateral),
        f"the shaft and the neck: the knee was not scanned, so a version of "
        f"{version.value_deg:.0f}° (± {version.sd_deg:.0f}°) and {lean.value_deg:.0f}° "
        f"(± {lean.sd_deg:.0f}°) between shaft and mechanical axis are assumed",
        (bow.sd_deg, lean.sd_deg, version.sd_deg),
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
