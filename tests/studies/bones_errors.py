"""How wrong a bone model is: against the surface that was scanned."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import least_squares

from hipwright.domain.anatomy import Bone
from hipwright.domain.side import Side
from hipwright.phantoms.ct_scanner import Scanned
from tests.studies.bones_distance import Sheet

END_MM = 3.0
JOINT_MM = 6.0
CLOSED_MM = 0.1
HEAD_NECK_RADII = 1.5
RIM_MM = 4.0
NEAR_HEAD_MM = 14.0
MANY = 1500


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Mean, 95th percentile and largest of some distances, mm, and how many there are."""

    mean: float
    p95: float
    largest: float
    count: int

    @classmethod
    def of(cls, distances: np.ndarray) -> Spread:
        """Of signed or unsigned distances."""
        away = np.abs(distances)
        if not len(away):
            return cls(mean=np.nan, p95=np.nan, largest=np.nan, count=0)
        return cls(
            mean=float(away.mean()),
            p95=float(np.quantile(away, 0.95)),
            largest=float(away.max()),
            count=len(away),
        )

    def __str__(self) -> str:
        return f"{self.mean:.2f} / {self.p95:.2f} / {self.largest:.2f}"


@dataclass(frozen=True, slots=True, kw_only=True)
class BoneError:
    """One bone model against its truth.

    ``to_model`` from the true surface, ``to_truth`` from the model; ``bias`` the model's
    mean signed distance (outside the truth positive); ``regions`` from the true surface.
    """

    bone: Bone
    to_model: Spread
    to_truth: Spread
    bias: float
    regions: dict[str, Spread] = field(default_factory=dict)

    @property
    def mean(self) -> float:
        """The larger of both directions."""
        return max(self.to_model.mean, self.to_truth.mean)

    @property
    def p95(self) -> float:
        """The larger of both directions."""
        return max(self.to_model.p95, self.to_truth.p95)

    @property
    def largest(self) -> float:
        """The larger of both directions."""
        return max(self.to_model.largest, self.to_truth.largest)


@dataclass(frozen=True, slots=True, kw_only=True)
class HipError:
    """One joint: share of the head's vertices that touch, gaps, and the head's center."""

    side: Side
    closed_percent: float
    gap_mm: float
    true_gap_mm: float
    center_off_mm: float
    radius_off_mm: float


def inside_field(scanned: Scanned, points: np.ndarray) -> np.ndarray:
    """Which points lie in the volume, away from its ends."""
    grid = scanned.volume.grid
    at = grid.to_indices(points)
    room = END_MM / grid.spacing_mm
    within = (at >= room - 0.5) & (at <= np.array(grid.shape) - 0.5 - room)
    return np.asarray(np.all(within, axis=1))


def sphere_of_head(sheet: Sheet, start: np.ndarray, radius: float, side: Side) -> tuple:
    """Robust sphere (soft L1 over 0.3 mm) through the upper and medial part of the head.

    The region: within 2.5 mm of the last sphere, on the half that looks inward and upward
    (0.6 inward, 0.8 upward). The same for a model and for the true surface.
    """
    inward = np.array([1.0 if side is Side.RIGHT else -1.0, 0.0, 0.0])
    way = 0.6 * inward + np.array([0.0, 0.0, 0.8])
    center = np.array(start, dtype=np.float64)
    for _ in range(4):
        out = sheet.places - center
        away = np.linalg.norm(out, axis=1)
        used = (np.abs(away - radius) < 2.5) & (out @ way > 0.0)
        points = sheet.places[used]
        fit = least_squares(
            lambda s, p=points: np.linalg.norm(p - s[:3], axis=1) - s[3],
            np.append(center, radius),
            loss="soft_l1",
            f_scale=0.3,
        )
        center, radius = fit.x[:3], float(fit.x[3])
    return center, radius


def rim_of(hip: Sheet, center: np.ndarray, radius: float) -> np.ndarray:
    """Crest of a true socket every 4°: the farthest along its opening near the head."""
    out = hip.places - center
    away = np.linalg.norm(out, axis=1)
    joint = away < radius + 4.0
    if joint.sum() < 50:
        return np.empty((0, 3))
    opening = -out[joint].mean(axis=0)
    opening /= np.linalg.norm(opening)
    one = np.cross(opening, [0.0, 1.0, 0.0])
    one /= np.linalg.norm(one)
    two = np.cross(opening, one)
    near = (away < radius + 9.0) & (away > radius - 1.0)
    turn = np.degrees(np.arctan2(out @ two, out @ one))
    found = []
    for degrees in np.arange(-180.0, 180.0, 4.0):
        here = np.flatnonzero(near & (np.abs(turn - degrees - 2.0) < 2.0))
        if len(here):
            best = here[(out[here] @ opening).argmax()]
            if out[best] @ opening > -0.6 * radius:
                found.append(hip.places[best])
    return np.array(found).reshape(-1, 3)


class Judge:
    """Holds the truth of one scan and judges models of it."""

    def __init__(self, scanned: Scanned) -> None:
        self.scanned = scanned
        wanted = {bone.value for bone in Bone}
        self.sheets = {
            Bone(name): Sheet.of(surface)
            for name, surface in scanned.patient.bones.items()
            if name in wanted
        }

    def visible(self, bone: Bone) -> bool:
        """Whether enough of a true bone lies in the field to be asked for."""
        sheet = self.sheets.get(bone)
        return sheet is not None and bool(inside_field(self.scanned, sheet.places).mean() > 0.02)

    def bone(self, bone: Bone, model: Sheet) -> BoneError:
        """Errors of one model, both ways, and by regions."""
        truth = self.sheets[bone]
        places = truth.places[inside_field(self.scanned, truth.places)]
        away = model.distances(places)
        own = model.places[inside_field(self.scanned, model.places)]
        back = truth.distances(own)
        return BoneError(
            bone=bone,
            to_model=Spread.of(away),
            to_truth=Spread.of(back),
            bias=float(back.mean()),
            regions={n: Spread.of(away[m]) for n, m in self._regions(bone, places).items()},
        )

    def _regions(self, bone: Bone, places: np.ndarray) -> dict[str, np.ndarray]:
        side = bone.side
        if side is None or side not in self.scanned.patient.heads_mm:
            return {}
        center = np.asarray(self.scanned.patient.heads_mm[side])
        radius = self.scanned.patient.radii_mm[side]
        femur, hip_bone = Bone.femur(side), Bone.hip_bone(side)
        other = self.sheets.get(hip_bone if bone is femur else femur)
        away = np.linalg.norm(places - center, axis=1)
        regions: dict[str, np.ndarray] = {}
        if other is not None:
            near = away < radius + NEAR_HEAD_MM
            joint = np.zeros(len(places), dtype=bool)
            joint[near] = np.abs(other.distances(places[near], reach=9.0)) < JOINT_MM
            regions["joint"] = joint
        if bone is femur:
            regions["head_neck"] = away < HEAD_NECK_RADII * radius
        if bone is hip_bone:
            rim = rim_of(self.sheets[bone], center, radius)
            near_rim = np.zeros(len(places), dtype=bool)
            if len(rim):
                near = away < radius + NEAR_HEAD_MM
                apart = np.linalg.norm(places[near][:, None] - rim[None], axis=2).min(axis=1)
                near_rim[near] = apart < RIM_MM
            regions["rim"] = near_rim
        return regions

    def hip(self, side: Side, femur: Sheet, hip_bone: Sheet) -> HipError:
        """Errors of one joint."""
        center = np.asarray(self.scanned.patient.heads_mm[side])
        radius = self.scanned.patient.radii_mm[side]
        true_femur, true_hip = self.sheets[Bone.femur(side)], self.sheets[Bone.hip_bone(side)]
        true_center, true_radius = sphere_of_head(true_femur, center, radius, side)
        found, found_radius = sphere_of_head(femur, center, radius, side)
        gap, closed = _gap(femur, hip_bone, center, radius)
        true_gap, _ = _gap(true_femur, true_hip, center, radius)
        return HipError(
            side=side,
            closed_percent=closed,
            gap_mm=gap,
            true_gap_mm=true_gap,
            center_off_mm=float(np.linalg.norm(found - true_center)),
            radius_off_mm=found_radius - true_radius,
        )


def _gap(femur: Sheet, hip: Sheet, center: np.ndarray, radius: float) -> tuple[float, float]:
    """Smallest signed gap, mm, and the share of the femur's places at the joint it closes on."""

    def near(sheet: Sheet) -> np.ndarray:
        dense = np.concatenate([sheet.places, sheet.vertices])
        return dense[np.linalg.norm(dense - center, axis=1) < radius + NEAR_HEAD_MM]

    out, back = _certain(hip, near(femur)), _certain(femur, near(hip))
    if not np.isfinite(out).any() or not np.isfinite(back).any():
        return np.nan, np.nan
    closed = 100.0 * float((out < CLOSED_MM).mean())
    return float(min(out.min(), back.min())), closed


def _certain(sheet: Sheet, points: np.ndarray) -> np.ndarray:
    """Signed distances within 5 mm; whoever is said to be inside is looked at again."""
    found = sheet.distances(points, reach=5.0)
    inside = np.flatnonzero(found < 0.0)
    if len(inside) > MANY:
        return found
    outside = inside[~sheet.are_inside(points[inside])]
    found[outside] *= -1.0
    return found
