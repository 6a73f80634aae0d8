"""From bone models to surveyed hips: landmarks, frames, and both bones of each hip."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import (
    Bone,
    BoneLandmarks,
    BoneModel,
    Remark,
    Severity,
    Surface,
)
from hipwright.domain.errors import HipwrightError, SurfaceError
from hipwright.engines.anatomy.canonical import HipBorder, borders_of
from hipwright.engines.anatomy.femur_draws import drawn_femur
from hipwright.engines.anatomy.femur_frame import FemurFrame, femur_frame, has_shaft
from hipwright.engines.anatomy.femur_in_space import FemurInSpace
from hipwright.engines.anatomy.femur_landmarks import FEMORA, HEAD_CENTER, femur_landmarks
from hipwright.engines.anatomy.femur_survey import survey_femur
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.anatomy.hip_turns import turned as turned_hip
from hipwright.engines.anatomy.pelvis_frame import PelvicFrame, pelvic_frame
from hipwright.engines.anatomy.pelvis_landmarks import SOCKET_CENTER, pelvis_landmarks
from hipwright.engines.anatomy.socket_draws import drawn_socket
from hipwright.engines.anatomy.socket_in_space import SocketInSpace
from hipwright.engines.anatomy.socket_sphere import find_socket
from hipwright.engines.anatomy.socket_survey import survey_socket
from hipwright.engines.anatomy.space_doubt import SpaceDoubt, small_turns

Floats = NDArray[np.float64]

OPPOSITE = "opposite_head_center"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurveyedHip:
    """One hip, measured once.

    Attributes
    ----------
    nominal
        The survey, without leading axes.
    border
        Whose hip, and the way home from its canonical pose.
    pelvis, femur_frame
        How the pelvis lies in the scan, and how the femur in the canonical pose; the latter is
        ``None`` without a femur.
    remarks
        What stands in for something that was not scanned, and why a bone is not there.
    """

    nominal: HipInSpace
    border: HipBorder
    pelvis: PelvicFrame
    femur_frame: FemurFrame | None
    remarks: tuple[Remark, ...] = ()


def surfaces_of(models: Iterable[BoneModel]) -> Mapping[Bone, Surface]:
    """One surface a bone: a knee or an ankle scanned apart is joined to its bone.

    Raises
    ------
    FrameMismatchError
        Parts of one bone lie in two frames.
    """
    parts: dict[Bone, list[Surface]] = {}
    for model in models:
        parts.setdefault(model.bone, []).append(model.surface)
    return MappingProxyType({bone: _joined(several) for bone, several in parts.items()})


def _joined(several: Sequence[Surface]) -> Surface:
    if len(several) == 1:
        return several[0]
    frames = {surface.frame for surface in several}
    if len(frames) > 1:
        raise SurfaceError(
            "cannot join the parts of a bone",
            found=f"{len(frames)} frames",
            needed="parts of one scan",
            next_step="Register the scans first, or measure them apart.",
        )
    counts = np.cumsum([0, *(len(surface.vertices) for surface in several[:-1])])
    return Surface(
        vertices=np.concatenate([surface.vertices for surface in several]),
        faces=np.concatenate([s.faces + n for s, n in zip(several, counts, strict=True)]),
        frame=several[0].frame,
    )


def find_landmarks(models: Sequence[BoneModel]) -> tuple[BoneLandmarks, tuple[Remark, ...]]:
    """Find the landmarks of all bones of a scan.

    Returns
    -------
    tuple
        The landmarks, and what a reader must know: bones of which nothing was found.
    """
    surfaces = surfaces_of(models)
    pelvis = pelvis_landmarks(surfaces)
    femora = femur_landmarks(surfaces)
    remarks = [
        _not_found(bone, "head and neck", "femur_not_found")
        for bone in FEMORA
        if bone in surfaces and femora.point(HEAD_CENTER, bone.side) is None
    ]
    remarks += [
        _not_found(bone, "socket", "socket_not_found")
        for bone in (Bone.HIP_BONE_RIGHT, Bone.HIP_BONE_LEFT)
        if bone in surfaces and pelvis.point(SOCKET_CENTER, bone.side) is None
    ]
    return BoneLandmarks(points=(*pelvis.points, *femora.points)), tuple(remarks)


def _not_found(bone: Bone, what: str, code: str) -> Remark:
    return Remark(
        code=code,
        severity=Severity.REFUSAL,
        text=f"No {what} was found on the model: nothing is measured from it. Check that it is "
        "this bone, of this side, and that it reaches far enough.",
        bone=bone,
    )


def survey_hips(
    surfaces: Mapping[Bone, Surface], landmarks: BoneLandmarks
) -> tuple[SurveyedHip, ...]:
    """Survey every hip of a scan, right before left.

    Parameters
    ----------
    surfaces
        In ``patient_lps``, one a bone (see :func:`surfaces_of`).
    landmarks
        As found, with those that a reader has moved.
    """
    frame = pelvic_frame(landmarks)
    origins = {
        p.side: np.array(p.at_mm)
        for wanted in (SOCKET_CENTER, HEAD_CENTER)  # the head's center outranks the socket's
        for p in landmarks
        if p.id == wanted and p.side is not None
    }
    fixed_to = next((surface.frame.fixed_to for surface in surfaces.values()), "")
    borders = borders_of(
        surfaces, app_from_lps=frame.app_from_lps, origins_mm=origins, fixed_to=fixed_to
    )
    return tuple(survey_hip(surfaces, landmarks, border, frame) for border in borders)


def survey_hip(
    surfaces: Mapping[Bone, Surface],
    landmarks: BoneLandmarks,
    border: HipBorder,
    frame: PelvicFrame | None = None,
) -> SurveyedHip:
    """Survey one hip.

    Parameters
    ----------
    surfaces, landmarks
        As for :func:`survey_hips`.
    border
        The hip, and the way into its canonical pose.
    frame
        Where the border's axes came from; found from the landmarks by default.
    """
    pelvis = pelvic_frame(landmarks) if frame is None else frame
    remarks = list(_about_pelvis(pelvis))
    side = border.side
    places = {
        p.id: border.to_canonical(np.array(p.at_mm)) for p in landmarks if p.side in {side, None}
    }
    other = landmarks.point(HEAD_CENTER, side.opposite)
    if other is not None:
        places[OPPOSITE] = border.to_canonical(np.array(other.at_mm))
    femur_bone, hip_bone = Bone.femur(side), Bone.hip_bone(side)
    turned = {
        bone: border.surface_to_canonical(surfaces[bone])
        for bone in (femur_bone, hip_bone)
        if bone in surfaces
    }
    femur: FemurInSpace | None = None
    if femur_bone in turned:
        try:
            femur = survey_femur(turned[femur_bone], places, upright=_upright(border))
        except HipwrightError as refused:
            remarks.append(_refused(femur_bone, refused))
    socket: SocketInSpace | None = None
    if hip_bone in turned:
        try:
            socket = _socket(turned, hip_bone, femur_bone, femur, places)
        except HipwrightError as refused:
            remarks.append(_refused(hip_bone, refused))
    axes = None if femur is None else femur_frame(femur)
    if femur is not None and axes is not None and axes.is_fallback:
        remarks.append(_about_femur(axes, femur_bone, cut_short=not has_shaft(femur)))
    return SurveyedHip(
        nominal=HipInSpace(femur=femur, socket=socket),
        border=border,
        pelvis=pelvis,
        femur_frame=axes,
        remarks=tuple(remarks),
    )


def _socket(
    turned: Mapping[Bone, Surface],
    hip_bone: Bone,
    femur_bone: Bone,
    femur: FemurInSpace | None,
    places: Mapping[str, Floats],
) -> SocketInSpace:
    if femur is not None:
        center, radius = femur.head_center, float(femur.head_radius_mm)
    else:
        sphere = find_socket(turned[hip_bone], near=np.zeros(3))
        center, radius = sphere.center, sphere.radius_mm
    return survey_socket(
        turned[hip_bone],
        turned.get(femur_bone) if femur is not None else None,
        head_center=center,
        head_radius_mm=radius,
        landmarks=places,
    )


def _about_pelvis(frame: PelvicFrame) -> Iterable[Remark]:
    if frame.is_fallback:
        yield Remark(
            code="pelvic_frame_fallback",
            severity=Severity.WARNING,
            text=f"The anterior pelvic plane rests on {frame.method}: everything that is told "
            "against it is that much less certain.",
            figure=frame.sd_deg,
            limit=0.0,
            unit="deg",
        )


def _upright(border: HipBorder) -> Floats:
    """Up the table of the scan, in the canonical pose of a hip."""
    places = border.to_canonical(np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 1.0]]))
    return places[1] - places[0]


def _about_femur(frame: FemurFrame, bone: Bone, *, cut_short: bool) -> Remark:
    lost = "Version cannot be measured."
    if cut_short:
        lost = (
            "Version, the neck–shaft angle and the offset of the shaft cannot be measured; "
            "hours around the neck are that much less certain."
        )
    return Remark(
        code="femur_frame_fallback",
        severity=Severity.WARNING,
        text=f"The femur's frame rests on {frame.method}. {lost}",
        bone=bone,
        figure=max(frame.sd_deg),
        limit=0.0,
        unit="deg",
    )


def _refused(bone: Bone, why: HipwrightError) -> Remark:
    return Remark(code="not_surveyed", severity=Severity.REFUSAL, text=str(why), bone=bone)


def drawn_hip(
    surveyed: SurveyedHip,
    rng: np.random.Generator,
    doubt: SpaceDoubt,
    *,
    socket_doubt: SpaceDoubt | None = None,
) -> HipInSpace:
    """The hip with a leading axis: index 0 as surveyed, then draws of its doubt.

    Parameters
    ----------
    doubt
        Of the femur, and of the hip bone where that has none of its own.
    socket_doubt
        Of the hip bone; as many draws as ``doubt``.

    Notes
    -----
    The doubt of the pelvis's frame turns both bones together: only what is told against
    upright answers to it.
    """
    nominal = surveyed.nominal
    femur = None if nominal.femur is None else drawn_femur(nominal.femur, rng, doubt)
    socket = nominal.socket
    if socket is not None:
        socket = drawn_socket(socket, rng, socket_doubt or doubt, femur=femur, femoral=doubt)
    hip = HipInSpace(femur=femur, socket=socket, tilt_deg=nominal.tilt_deg)
    pelvic = socket_doubt or doubt
    return turned_hip(hip, small_turns(rng, pelvic.frame_sd_deg, pelvic.count))
