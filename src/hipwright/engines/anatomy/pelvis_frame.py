"""Frames of the pelvis: the anterior pelvic plane, and the axes of the ISB."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import BoneLandmarks, SpacePoint
from hipwright.engines.anatomy.canonical import right_sign
from hipwright.engines.anatomy.pelvis_template import best_turn, ordinary_place

Floats = NDArray[np.float64]

ASIS = "anterior_superior_iliac_spine"
PSIS = "posterior_superior_iliac_spine"
TUBERCLE = "pubic_tubercle"

LANDMARKS_SD_DEG = 0.5
ONE_TUBERCLE_SD_DEG = 0.8
BOTH_SIDES_SD_DEG = 3.0
ONE_SIDE_SD_DEG = 4.0
PATIENT_AXES_SD_DEG = 10.0
"""Doubt of the frame, one standard deviation about each axis (judgment: all but the last set
after trials on modeled people and against five raters on one real pelvis)."""

_FEWEST_PLACES = 4
_PATIENT = np.array([[-1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, 1.0]])
_PAIR = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PelvicFrame:
    """How a pelvis lies in the scan.

    Attributes
    ----------
    app_from_lps
        Rows right, anterior and superior of the anterior pelvic plane in ``patient_lps``,
        (3, 3).
    method
        In words, what it was found from.
    sd_deg
        Doubt of the frame about each axis, one standard deviation.
    isb_from_lps
        Rows right, anterior and superior of the ISB's pelvis, in which forward lies in the
        plane of the spines in front and behind; ``None`` where those were not scanned.
    isb_pitch_deg
        How far the ISB's forward direction rises over that of the anterior pelvic plane.
    """

    app_from_lps: Floats
    method: str
    sd_deg: float
    isb_from_lps: Floats | None = None
    isb_pitch_deg: float | None = None

    @property
    def is_fallback(self) -> bool:
        """Whether something stands in for a landmark that was not scanned."""
        return self.sd_deg > LANDMARKS_SD_DEG

    @property
    def tilt_as_scanned_deg(self) -> float:
        """Pelvic tilt on the table: the plane's top forward of the table's plane is positive."""
        up = self.app_from_lps[2]
        return float(np.degrees(np.arctan2(-up[1], up[2])))

    @property
    def obliquity_as_scanned_deg(self) -> float:
        """How far the pelvis's right side is higher on the table than its left one."""
        right = self.app_from_lps[0]
        return float(np.degrees(np.arctan2(right[2], np.hypot(right[0], right[1]))))

    @property
    def rotation_as_scanned_deg(self) -> float:
        """How far the pelvis's right side lies forward of its left one."""
        right = self.app_from_lps[0]
        return float(np.degrees(np.arctan2(-right[1], -right[0])))


def pelvic_frame(landmarks: BoneLandmarks) -> PelvicFrame:
    """Find the frames of a pelvis from its landmarks, wherever it was scanned only in part.

    Notes
    -----
    The anterior pelvic plane holds both anterior superior iliac spines and the middle of the
    pubic tubercles. Where one of them was not scanned, all places that were are laid on an
    ordinary pelvis of the same size, which is good to a few degrees: ``sd_deg`` says how many.
    With less than four places the patient's own axes stand in.
    """
    spines, tubercles = _by_side(landmarks, ASIS), _by_side(landmarks, TUBERCLE)
    if len(spines) == _PAIR and tubercles:
        app = _plane(spines[0], spines[1], tubercles)
        whole = len(tubercles) == _PAIR
        method = "both anterior superior iliac spines and the pubic tubercle"
        frame = PelvicFrame(
            app_from_lps=app,
            method=f"{method}s of both sides" if whole else f"{method} of one side",
            sd_deg=LANDMARKS_SD_DEG if whole else ONE_TUBERCLE_SD_DEG,
        )
        return _with_isb(frame, spines, _by_side(landmarks, PSIS))
    return _from_ordinary(landmarks)


def _plane(right: Floats, left: Floats, tubercles: list[Floats]) -> Floats:
    across = _unit(right - left)
    up = (right + left) / 2 - np.mean(tubercles, axis=0)
    up = _unit(up - (up @ across) * across)
    return np.stack([across, np.asarray(np.cross(up, across)), up])


def _with_isb(frame: PelvicFrame, front: list[Floats], back: list[Floats]) -> PelvicFrame:
    if len(back) != _PAIR:
        return frame
    across = _unit(front[0] - front[1])
    forward = (front[0] + front[1] - back[0] - back[1]) / 2
    forward = _unit(forward - (forward @ across) * across)
    isb = np.stack([across, forward, np.asarray(np.cross(across, forward))])
    in_plane = frame.app_from_lps @ forward
    return PelvicFrame(
        app_from_lps=frame.app_from_lps,
        method=frame.method,
        sd_deg=frame.sd_deg,
        isb_from_lps=isb,
        isb_pitch_deg=float(np.degrees(np.arctan2(in_plane[2], in_plane[1]))),
    )


def _from_ordinary(landmarks: BoneLandmarks) -> PelvicFrame:
    pairs = [(_ordinary(point), np.array(point.at_mm)) for point in landmarks]
    known = [(there, here) for there, here in pairs if there is not None]
    sides = {point.side for point in landmarks if _ordinary(point) is not None}
    if len(known) < _FEWEST_PLACES:
        return PelvicFrame(
            app_from_lps=_PATIENT,
            method=f"the patient's own axes: only {len(known)} landmarks of the pelvis were found",
            sd_deg=PATIENT_AXES_SD_DEG,
        )
    app, left_mm = best_turn(np.array([k for k, _ in known]), np.array([h for _, h in known]))
    both = len(sides) == _PAIR
    which = "both sides" if both else "one side"
    return PelvicFrame(
        app_from_lps=app,
        method=f"{len(known)} landmarks of {which} laid on an ordinary pelvis, "
        f"{left_mm:.1f} mm apart on average",
        sd_deg=BOTH_SIDES_SD_DEG if both else ONE_SIDE_SD_DEG,
    )


def _ordinary(point: SpacePoint) -> Floats | None:
    return None if point.side is None else ordinary_place(point.id, right_sign(point.side))


def _by_side(landmarks: BoneLandmarks, landmark: str) -> list[Floats]:
    """The point on the right, then that on the left, as far as they are there."""
    found = [p for p in landmarks if p.id == landmark and p.side is not None]
    found.sort(key=lambda p: 0.0 if p.side is None else -right_sign(p.side))
    return [np.array(p.at_mm) for p in found]


def _unit(vector: Floats) -> Floats:
    return vector / np.linalg.norm(vector)
