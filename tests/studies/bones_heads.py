"""Head center and femoral version of the real skeleton: model, true surface, raters' points.

The raters of subject-a (Fischer 2023, doi 10.1038/s41597-023-02669-z) placed points on the
left femur: five raters, up to four trials each.
"""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from hipwright.domain.anatomy import Bone, BoneModel, BoneQuality, Surface
from hipwright.domain.side import Side
from hipwright.engines.anatomy.femur_landmarks import (
    CONDYLES,
    HEAD_CENTER,
    ISTHMUS,
    SHAFT,
    VERSION,
)
from hipwright.engines.anatomy.survey import find_landmarks
from hipwright.phantoms.ct_scanner import Scanned
from tests.bones_at_hand import bones_folder, subject_a_volume
from tests.studies.bones_cases import made_of
from tests.studies.bones_distance import Sheet
from tests.studies.bones_errors import sphere_of_head
from tests.studies.tables import table

HEAD = ("SFH", "AFH", "LFH", "PFH", "MFH", "IFH")
NECK = ("SNI", "ANI", "INI", "PNI")
BONE = Bone.FEMUR_LEFT


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Raters:
    """The raters' points, by short name: (rater, trial) to place."""

    points: dict[str, dict[tuple[int, int], np.ndarray]]

    @classmethod
    def read(cls) -> Raters:
        """From the folder of the real bones."""
        text = (bones_folder() / "subject-a" / "landmarks.json").read_text(encoding="utf-8")
        found: dict[str, dict[tuple[int, int], np.ndarray]] = defaultdict(dict)
        for name, rows in json.loads(text)["femur"].items():
            short = name[name.rindex("(") + 1 : -1]
            for rater, trial, *place in rows:
                found[short][int(rater), int(trial)] = np.array(place)
        return cls(points=dict(found))

    def mean(self, name: str) -> np.ndarray:
        """All raters' and trials' mean place."""
        return np.mean(list(self.points[name].values()), axis=0)

    def head_center(self) -> np.ndarray:
        """Of the sphere through the mean places of the six head points."""
        return _sphere(np.array([self.mean(n) for n in HEAD]))

    def versions_deg(self, shaft: np.ndarray) -> np.ndarray:
        """Version of each rater's trial: head center to neck isthmus against the condyles."""
        every = set.intersection(*(set(self.points[n]) for n in (*HEAD, *NECK, "PLC", "PMC")))
        found = []
        for key in sorted(every):
            head = _sphere(np.array([self.points[n][key] for n in HEAD]))
            neck = np.mean([self.points[n][key] for n in NECK], axis=0)
            condyles = (self.points["PMC"][key], self.points["PLC"][key])
            found.append(version_deg(head, neck, condyles, shaft))
        return np.array(found)


def _sphere(points: np.ndarray) -> np.ndarray:
    start = np.append(points.mean(axis=0), 20.0)
    return least_squares(lambda s: np.linalg.norm(points - s[:3], axis=1) - s[3], start).x[:3]


def version_deg(
    head: np.ndarray,
    neck: np.ndarray,
    condyles: tuple[np.ndarray, np.ndarray],
    shaft: np.ndarray,
) -> float:
    """Version of a left femur in ``patient_lps``: anteversion positive.

    In the plane across the shaft, the line neck to head against that through the condyles
    (medial, lateral).
    """
    flat = np.eye(3) - np.outer(shaft, shaft)
    across = flat @ (condyles[0] - condyles[1])  # toward medial
    toward = flat @ (head - neck)
    across /= np.linalg.norm(across)
    front = np.cross(shaft, across)
    front = front if front[1] < 0 else -front
    return float(np.degrees(np.arctan2(toward @ front, toward @ across)))


def _versions(models: list[BoneModel]) -> tuple[dict[str, float], np.ndarray]:
    """Version by every construction of the survey's landmarks, and the shaft's direction."""
    landmarks, _ = find_landmarks(models)

    def at(name: str) -> np.ndarray:
        point = landmarks.point(name, Side.LEFT)
        return np.full(3, np.nan) if point is None else np.array(point.at_mm)

    shaft = at(SHAFT[0]) - at(SHAFT[1])
    shaft /= np.linalg.norm(shaft)
    condyles = (at(CONDYLES[0]), at(CONDYLES[1]))
    found = {
        name: version_deg(at(HEAD_CENTER), at(name), condyles, shaft)
        for name in (ISTHMUS, *VERSION)
    }
    return found, shaft


def of_heads() -> str:
    """Head center and version of the left femur, scanned whole."""
    scanned = subject_a_volume("whole_left_femur")
    made = made_of(scanned)
    model = next(m for m in made.models if m.bone is BONE)
    true = _true_model(scanned, model)
    start, radius = scanned.patient.heads_mm[Side.LEFT], scanned.patient.radii_mm[Side.LEFT]
    centers = [
        sphere_of_head(Sheet.of(m.surface), np.asarray(start), radius, Side.LEFT)[0]
        for m in (model, true)
    ]
    raters = Raters.read()
    on_model, _ = _versions([model])
    on_truth, shaft = _versions([true])
    by_raters = raters.versions_deg(shaft)
    rows = [
        (
            "head center, model to true surface (mm)",
            f"{np.linalg.norm(centers[0] - centers[1]):.2f}", "≤ 0.3",
        ),
        (
            "head center, model to raters' six points (mm)",
            f"{np.linalg.norm(centers[0] - raters.head_center()):.2f}", "≤ 1.2",
        ),
    ]  # fmt: skip
    for name, value in on_model.items():
        words = name.removeprefix("version_point_").replace("_", " ")
        rows.append(
            (
                f"version by {words}: model, true surface, difference (°)",
                f"{value:.1f}, {on_truth[name]:.1f}, {value - on_truth[name]:+.1f}",
                "≤ 1.5",
            )
        )
    rows.append(
        (
            "version by the raters' isthmus, mean ± SD (°)",
            f"{by_raters.mean():.1f} ± {by_raters.std(ddof=1):.1f}",
            f"{len(by_raters)} trials",
        )
    )
    return table(("left femur of the real skeleton", "found", "goal"), rows)


def _true_model(scanned: Scanned, like: BoneModel) -> BoneModel:
    bone = scanned.patient.bones[BONE.value]
    return BoneModel(
        bone=BONE,
        surface=Surface(vertices=bone.vertices, faces=bone.faces, frame=like.surface.frame),
        quality=BoneQuality(edge_sd_mm=0.0, edge_bias_sd_mm=0.0),
    )
