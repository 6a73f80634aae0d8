"""People: whole pelves with femora, whose hips are known by construction."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.side import Side
from hipwright.phantoms.acetabular_truth import RIM_HOURS, pelvic_truth, smallest_gap_mm
from hipwright.phantoms.femoral_truth import DEPARTURE_HOURS, femoral_truth
from hipwright.phantoms.femur_building import BuiltFemur, build_femur
from hipwright.phantoms.hip_bone_building import BuiltHipBone, build_hip_bone
from hipwright.phantoms.leveled_bones import femur_template, pelvis_template
from hipwright.phantoms.person_spec import HipSpec, PersonSpec
from hipwright.phantoms.person_truth import HipTruth, PartTruth, PersonTruth
from hipwright.phantoms.rim_ossicles import rim_ossicle
from hipwright.phantoms.sacrum_building import build_sacrum
from hipwright.phantoms.shape_model import ShapeModel
from hipwright.phantoms.surfaces import TriangleSurface

Floats = NDArray[np.float64]

_MEAN_HEAD_MM = 22.87  # radius of the model's mean head: sizes the pelvis


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PersonBone:
    """A closed bone with its inner surface, mm; small bones have none.

    Attributes
    ----------
    name
        For example ``hip_bone_left``, ``femur_right``, ``sacrum``, ``ossicle_left_1``.
    femur_of
        The side of the femur it moves with; ``None`` for bones of the pelvis.
    outer, inner
        Cortex lies between them, cancellous bone inside the inner.
    """

    name: str
    femur_of: Side | None
    outer: TriangleSurface
    inner: TriangleSurface | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Person:
    """Bones in ``patient_lps``, mm: head centers around the origin, legs neutral.

    The anterior pelvic plane is upright, mechanical axes are vertical, the condyles
    face back.
    """

    bones: Mapping[str, PersonBone]
    truth: PersonTruth

    def __post_init__(self) -> None:
        object.__setattr__(self, "bones", MappingProxyType(dict(self.bones)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _BuiltHip:
    """One hip, built as a left one."""

    bone: BuiltHipBone
    femur: BuiltFemur
    ossicles: tuple[TriangleSurface, ...]
    truth: HipTruth

    @property
    def head(self) -> Floats:
        return self.truth.head_center


def _build_hip(
    model: ShapeModel,
    bones: Mapping[str, TriangleSurface],
    spec: HipSpec,
    *,
    scale: float,
    symphysis_gap_mm: float,
    whole_femur: bool,
) -> _BuiltHip:
    template = pelvis_template(model)
    hip_bone = bones["hip_bone_left"]
    bone = build_hip_bone(
        template.leveled(hip_bone.vertices) * scale,
        hip_bone.faces,
        template,
        spec,
        symphysis_gap_mm=symphysis_gap_mm,
    )
    shaft = bones["femur_left"]
    femur = build_femur(
        shaft.vertices, shaft.faces, femur_template(model), spec, whole=whole_femur
    )
    pelvis = pelvic_truth(bone, spec)
    femoral, departure = femoral_truth(femur)
    head = bone.form.center + np.asarray(spec.head_shift_mm)
    lateral, medial = pelvis.points["sourcil_lateral_edge"], pelvis.points["sourcil_medial_edge"]
    rim = pelvis.points["acetabular_rim_lateral"] - head
    truth = HipTruth(
        side=Side.LEFT,
        pelvis=pelvis,
        femur=femoral.moved(np.eye(3), head),
        head_radius_mm=spec.head_radius_mm,
        socket_radius_mm=bone.form.radius,
        lateral_center_edge_deg=_degrees(lateral[0] - head[0], lateral[2] - head[2]),
        roof_angle_deg=_degrees(lateral[2] - medial[2], lateral[0] - medial[0]),
        rim_center_edge_deg=_degrees(rim[0], rim[2]),
        version_deg=femur.axes.version_deg,
        neck_shaft_deg=femur.axes.neck_shaft_deg,
        departure_deg=MappingProxyType(departure),
        departure_hours=DEPARTURE_HOURS,
        smallest_gap_mm=smallest_gap_mm(bone, spec),
    )
    crest = pelvis.curves["rim"]
    ossicles = tuple(rim_ossicle(bone, crest, RIM_HOURS, spec, o) for o in spec.ossicles)
    return _BuiltHip(bone=bone, femur=femur, ossicles=ossicles, truth=truth)


def _degrees(across: float, along: float) -> float:
    return float(np.degrees(np.arctan2(across, along)))


def build_person(model: ShapeModel, spec: PersonSpec, *, whole_femora: bool = False) -> Person:
    """Build a person from a shape model.

    Parameters
    ----------
    model
        Pelvis and left femur; the right side is built from the left bones as well.
    spec
        Both hips and the shape around them.
    whole_femora
        Femora down to the condyles; otherwise the proximal 220 mm, closed below.

    Returns
    -------
    Person
        The same spec gives the same person, and the mirrored spec the mirrored person.
    """
    bones = model.shape(spec.shape)
    scale = spec.pelvis_scale * (spec.left.head_radius_mm + spec.right.head_radius_mm) / 2
    scale /= _MEAN_HEAD_MM
    hips = {
        side: _build_hip(
            model,
            bones,
            spec.hip(side),
            scale=scale,
            symphysis_gap_mm=spec.symphysis_gap_mm,
            whole_femur=whole_femora,
        )
        for side in Side
    }
    sacrum = build_sacrum(
        pelvis_template(model).leveled(bones["sacrum"].vertices) * scale,
        bones["sacrum"].faces,
        (hips[Side.LEFT].bone, hips[Side.RIGHT].bone),
        coccyx_curve_deg=spec.coccyx_curve_deg,
    )
    heads = (hips[Side.LEFT].head + hips[Side.RIGHT].head) / 2
    origin = -heads * [0.0, 1.0, 1.0]
    still = np.eye(3)
    found: list[PersonBone] = []

    def keep(
        name: str,
        outer: TriangleSurface,
        inner: TriangleSurface | None,
        *,
        femur_of: Side | None = None,
        side: Side = Side.LEFT,
        at: Floats = origin,
    ) -> None:
        placed = [s if s is None else s.moved(still, at) for s in (outer, inner)]
        outer_placed, inner_placed = (
            s.mirrored() if s is not None and side is Side.RIGHT else s for s in placed
        )
        if outer_placed is not None:
            found.append(
                PersonBone(name=name, femur_of=femur_of, outer=outer_placed, inner=inner_placed)
            )

    for side, hip in hips.items():
        keep(f"hip_bone_{side}", hip.bone.outer, hip.bone.inner, side=side)
        at = hip.head + origin
        keep(f"femur_{side}", hip.femur.outer, hip.femur.inner, femur_of=side, side=side, at=at)
        for number, ossicle in enumerate(hip.ossicles, start=1):
            keep(f"ossicle_{side}_{number}", ossicle, None, side=side)
    keep("sacrum", sacrum.sacrum, sacrum.sacrum_inner)
    keep("coccyx", sacrum.coccyx, None)
    truths = {side: hip.truth.placed(origin) for side, hip in hips.items()}
    top = [truths[s].pelvis.points["symphysis_superior"] for s in Side]
    midline = PartTruth(points=sacrum.points, curves={}).moved(still, origin)
    return Person(
        bones={bone.name: bone for bone in found},
        truth=PersonTruth(
            left=truths[Side.LEFT],
            right=truths[Side.RIGHT].mirrored(),
            midline=PartTruth(
                points={"symphysis_superior": (top[0] + top[1]) / 2, **midline.points}, curves={}
            ),
        ),
    )
