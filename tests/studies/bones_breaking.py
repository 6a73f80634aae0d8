"""Results broken on purpose, to count how often the program's own checks notice.

Labels are broken before the surfaces are made, so that the surface step may mend what it can;
surfaces are broken after. Whether a result is wrong then is decided by its errors alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from hipwright.domain.anatomy import Bone, BoneModel, Remark, Severity, Surface
from hipwright.domain.errors import HipwrightError
from hipwright.domain.side import Side
from hipwright.domain.volume import LabelVolume
from hipwright.engines.segmentation.bones import bone_models
from hipwright.engines.segmentation.checks_bones import check_bones
from hipwright.engines.segmentation.segmentation import Segmentation
from hipwright.phantoms.bone_people import bone_people
from hipwright.phantoms.cortex import vertex_normals
from hipwright.phantoms.ct_scanner import Scanned
from hipwright.phantoms.surfaces import TriangleSurface
from tests.bones_at_hand import subject_a_volume
from tests.studies.bones_cases import Case, Made, judged, made_of, person_scan
from tests.studies.bones_errors import Judge

PEOPLE_SEED, PEOPLE_BROKEN = 7, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Broken:
    """One broken result: whether it is wrong, and whether the checks said so."""

    kind: str
    case: str
    is_wrong: bool
    announced: bool
    refused: bool
    codes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Scene:
    """A right or left hip in label space: distances of every voxel near it, mm."""

    scanned: Scanned
    codes: np.ndarray
    side: Side

    @property
    def head(self) -> np.ndarray:
        return np.asarray(self.scanned.patient.heads_mm[self.side])

    @property
    def radius(self) -> float:
        return self.scanned.patient.radii_mm[self.side]

    def places(self) -> np.ndarray:
        """Where each voxel lies against the head, (slices, rows, columns, 3) mm."""
        grid = self.scanned.volume.grid
        axes = [np.arange(n, dtype=np.float32) for n in grid.shape]
        steps = grid.steps_mm.astype(np.float32)
        offset = (grid.origin_mm - self.head).astype(np.float32)
        return (
            offset
            + axes[0][:, None, None, None] * steps[0]
            + axes[1][None, :, None, None] * steps[1]
            + axes[2][None, None, :, None] * steps[2]
        )

    def neck(self) -> np.ndarray:
        """Down the neck, roughly: outward and downward."""
        out = -1.0 if self.side is Side.RIGHT else 1.0
        way = np.array([out * 0.68, 0.2, -0.68])
        return way / np.linalg.norm(way)


def _head_takes_roof(s: _Scene) -> np.ndarray:
    codes, p = s.codes.copy(), s.places()
    away = np.linalg.norm(p, axis=-1)
    upper = (p[..., 2] > 0.6 * away) & (away < s.radius + 9.0)
    codes[upper & (codes == Bone.hip_bone(s.side).code)] = Bone.femur(s.side).code
    return codes


def _joint_filled(s: _Scene) -> np.ndarray:
    codes, p = s.codes.copy(), s.places()
    away = np.linalg.norm(p, axis=-1)
    front = (p[..., 1] < -0.2 * away) & (p[..., 2] > 0) & (away < s.radius + 4.0)
    codes[front & (codes == 0)] = Bone.femur(s.side).code
    return codes


def _neck_cut(s: _Scene) -> np.ndarray:
    codes, p = s.codes.copy(), s.places()
    along = p @ s.neck().astype(np.float32)
    off = np.linalg.norm(p, axis=-1) ** 2 - along**2
    slab = (np.abs(along - 1.15 * s.radius) < 2.5) & (off < 30.0**2)
    codes[slab & (codes == Bone.femur(s.side).code)] = 0
    return codes


def _neck_bored(s: _Scene) -> np.ndarray:
    codes, p = s.codes.copy(), s.places()
    neck = s.neck()
    through = np.cross(neck, [0.0, 0.0, 1.0])
    through /= np.linalg.norm(through)
    from_middle = p - (1.2 * s.radius * neck).astype(np.float32)
    along = from_middle @ through.astype(np.float32)
    off = np.einsum("...i,...i->...", from_middle, from_middle) - along**2
    codes[(off < 5.0**2) & (np.abs(along) < 25) & (codes == Bone.femur(s.side).code)] = 0
    return codes


def _wing_lost(s: _Scene) -> np.ndarray:
    codes, p = s.codes.copy(), s.places()
    codes[(p[..., 2] > 45.0) & (codes == Bone.hip_bone(s.side).code)] = 0
    return codes


def _sides_swapped(s: _Scene) -> np.ndarray:
    turned = s.codes.copy()
    for one in (Bone.femur, Bone.hip_bone):
        right, left = one(Side.RIGHT).code, one(Side.LEFT).code
        turned[s.codes == right], turned[s.codes == left] = left, right
    return turned


def _sacrum_joined(s: _Scene) -> np.ndarray:
    codes, p = s.codes.copy(), s.places()
    own = -1.0 if s.side is Side.RIGHT else 1.0
    codes[(own * p[..., 0] > -75.0) & (codes == Bone.SACRUM.code)] = Bone.hip_bone(s.side).code
    return codes


def _worn_off(s: _Scene) -> np.ndarray:
    codes = s.codes.copy()
    mask = codes == Bone.femur(s.side).code
    codes[mask & ~ndimage.binary_erosion(mask, iterations=5)] = 0
    return codes


def _lump_added(s: _Scene) -> np.ndarray:
    codes, p = s.codes.copy(), s.places()
    middle = 1.25 * s.radius * s.neck() + np.array([0.0, -18.0, 4.0])
    lump = np.linalg.norm(p - middle.astype(np.float32), axis=-1) < 9.0
    codes[lump & (codes == 0)] = Bone.femur(s.side).code
    return codes


def _head_topped(s: _Scene) -> np.ndarray:
    codes, p = s.codes.copy(), s.places()
    codes[(p[..., 2] > 0.35 * s.radius) & (codes == Bone.femur(s.side).code)] = 0
    return codes


def _rim_lost(s: _Scene) -> np.ndarray:
    codes, p = s.codes.copy(), s.places()
    away = np.linalg.norm(p, axis=-1)
    out = -1.0 if s.side is Side.RIGHT else 1.0
    outer = (out * p[..., 0] > 0.15 * away) & (away < s.radius + 16.0)
    codes[outer & (codes == Bone.hip_bone(s.side).code)] = 0
    return codes


LABELS: dict[str, Callable[[_Scene], np.ndarray]] = {
    "the head takes the roof": _head_takes_roof,
    "the joint filled in front": _joint_filled,
    "the neck cut through": _neck_cut,
    "a hole through the neck": _neck_bored,
    "the wing of the ilium lost": _wing_lost,
    "sides swapped": _sides_swapped,
    "half the sacrum joined": _sacrum_joined,
    "the femur worn off": _worn_off,
    "a lump on the neck": _lump_added,
    "the top of the head lost": _head_topped,
    "the outer rim lost": _rim_lost,
}


def _moved(model: BoneModel, vertices: np.ndarray, faces: np.ndarray | None = None) -> BoneModel:
    surface = model.surface
    return replace(
        model,
        surface=Surface(
            vertices=vertices,
            faces=surface.faces if faces is None else faces,
            frame=surface.frame,
        ),
    )


def _shifted(model: BoneModel) -> BoneModel:
    return _moved(model, model.surface.vertices + np.array([2.5, 0.0, 0.0]))


def _swollen(model: BoneModel) -> BoneModel:
    surface = TriangleSurface(vertices=model.surface.vertices, faces=model.surface.faces)
    return _moved(model, surface.vertices + 0.9 * vertex_normals(surface))


def _scaled(model: BoneModel) -> BoneModel:
    middle = model.surface.vertices.mean(axis=0)
    return _moved(model, middle + 1.08 * (model.surface.vertices - middle))


def _mirrored(model: BoneModel) -> BoneModel:
    middle = model.surface.vertices.mean(axis=0)
    vertices = middle + (model.surface.vertices - middle) * np.array([-1.0, 1.0, 1.0])
    return _moved(model, vertices, model.surface.faces[:, ::-1])


def _opened(model: BoneModel) -> BoneModel:
    return _moved(model, model.surface.vertices, model.surface.faces[40:])


SURFACES: dict[str, Callable[[BoneModel], BoneModel]] = {
    "the femur's surface shifted": _shifted,
    "the femur's surface swollen": _swollen,
    "the femur's surface too large": _scaled,
    "the femur's surface mirrored": _mirrored,
    "the femur's surface open": _opened,
}


def _broken(
    kind: str, case: Case, scanned: Scanned, judge: Judge, made: Made, healthy: set[Bone]
) -> Broken:
    found = judged(case, scanned, made, judge)
    wrong = set(found.wrong()) & healthy
    told = {b: found.said_of(b) for b in wrong}
    refused = {b for b in wrong if any(r.severity is Severity.REFUSAL for r in told[b])}
    return Broken(
        kind=kind,
        case=case.name,
        is_wrong=bool(wrong),
        announced=any(told.values()),
        refused=bool(refused),
        codes=tuple(sorted({r.code for said in told.values() for r in said})),
    )


def _remade(scanned: Scanned, segmentation: Segmentation, codes: np.ndarray) -> Made | str:
    """Surfaces and checks of broken labels, or the error that stopped them."""
    labels = LabelVolume(codes=codes, grid=segmentation.labels.grid)
    told = replace(segmentation, labels=labels)
    try:
        models, remarks = bone_models(scanned.volume, told)
        checked: tuple[Remark, ...] = check_bones(models, [told])
    except HipwrightError as error:
        return str(error)
    return Made(
        segmentation=told,
        models=models,
        remarks=(*told.remarks, *remarks, *checked),
        segment_cpu_s=0.0,
        models_cpu_s=0.0,
    )


def break_one(case: Case, scanned: Scanned, side: Side) -> list[Broken]:
    """Break one scan's results in every way; bones that were wrong before do not count."""
    judge = Judge(scanned)
    made = made_of(scanned)
    sound = judged(case, scanned, made, judge)
    healthy = {e.bone for e in sound.bones} - set(sound.wrong())
    found: list[Broken] = []
    scene = _Scene(scanned=scanned, codes=made.segmentation.labels.codes, side=side)
    for kind, breaking in LABELS.items():
        remade = _remade(scanned, made.segmentation, breaking(scene))
        if isinstance(remade, str):
            found.append(
                Broken(
                    kind=kind, case=case.name, is_wrong=True, announced=True, refused=True,
                    codes=("stopped",),
                )
            )  # fmt: skip
            continue
        found.append(_broken(kind, case, scanned, judge, remade, healthy))
    for kind, change in SURFACES.items():
        models = tuple(change(m) if m.bone is Bone.femur(side) else m for m in made.models)
        checked = check_bones(models, [made.segmentation])
        spoiled = replace(made, models=models, remarks=checked)
        found.append(_broken(kind, case, scanned, judge, spoiled, healthy))
    return found


def broken_results() -> list[Broken]:
    """Break the real skeleton's crop and two drawn people's scans."""
    case = Case(group="subject-a", name="slab_110", make=lambda: subject_a_volume("slab_110"))
    found = break_one(case, case.make(), Side.RIGHT)
    for person in bone_people(PEOPLE_SEED, PEOPLE_BROKEN):
        named = Case(group="people", name=str(person.number), make=lambda p=person: person_scan(p))
        found += break_one(named, named.make(), Side.LEFT)
    return found
