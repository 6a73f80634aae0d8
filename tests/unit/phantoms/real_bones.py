"""The real bones of subject-a as a skeleton, read where they lie; never copied."""

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from scipy.optimize import least_squares

from hipwright.domain.side import Side
from hipwright.phantoms.cortex import hollowed
from hipwright.phantoms.film_bodies import Bone, Part, Skeleton
from hipwright.phantoms.film_setup import turn
from hipwright.phantoms.surfaces import TriangleSurface


def sphere_fit(points: np.ndarray) -> tuple[np.ndarray, float]:
    start = np.append(points.mean(axis=0), 20.0)
    fit = least_squares(lambda p: np.linalg.norm(points - p[:3], axis=1) - p[3], start)
    return fit.x[:3], float(fit.x[3])


def head_of(femur: np.ndarray, side: Side) -> tuple[np.ndarray, float]:
    """Sphere through the upper medial part of the head, refined twice."""
    top = femur[:, 2].max()
    medial = 1.0 if side is Side.RIGHT else -1.0
    inward = femur[:, 0] * medial
    high = femur[:, 2] > top - 30
    start = femur[high & (inward > inward[high].max() - 25)]
    center, radius = sphere_fit(start)
    for _ in range(4):
        out = femur - center
        away = np.linalg.norm(out, axis=1)
        upward = (out @ np.array([medial * 0.6, 0.0, 0.8])) / np.maximum(away, 1e-9)
        center, radius = sphere_fit(femur[(np.abs(away - radius) < 1.5) & (upward > -0.1)])
    return center, radius


def neutral(femur: np.ndarray, center: np.ndarray) -> np.ndarray:
    """Rotation that puts the shaft along z and the back of the condyles along x."""
    low, high = femur[:, 2].min(), femur[:, 2].max()
    length = high - low
    middles = [
        femur[np.abs(femur[:, 2] - level) < 4].mean(axis=0)
        for level in np.linspace(low + 0.35 * length, low + 0.65 * length, 8)
    ]
    axis = np.linalg.svd(np.array(middles) - np.mean(middles, axis=0))[2][0]
    axis *= np.sign(axis[2])
    side = np.cross([0.0, 1.0, 0.0], axis)
    side /= np.linalg.norm(side)
    upright = np.vstack([side, np.cross(axis, side), axis])
    turned = (femur - center) @ upright.T
    condyles = turned[turned[:, 2] < turned[:, 2].min() + 40]
    middle = np.median(condyles[:, 0])
    backs = [
        condyles[half][condyles[half][:, 1].argmax()]
        for half in (condyles[:, 0] < middle, condyles[:, 0] >= middle)
    ]
    angle = np.degrees(np.arctan2(backs[1][1] - backs[0][1], backs[1][0] - backs[0][0]))
    return turn(2, -angle) @ upright


@cache
def subject_a(folder: Path) -> Skeleton:
    """Bones of subject-a, pelvis leveled by its heads, legs neutral."""
    raw: dict[str, Any] = {
        path.stem: trimesh.load(path) for path in sorted((folder / "subject-a").glob("*.stl"))
    }
    femora = {side: np.asarray(raw[f"femur-{side.value}"].vertices) for side in Side}
    fits = {side: head_of(femora[side], side) for side in Side}
    across = fits[Side.LEFT][0] - fits[Side.RIGHT][0]
    level = turn(1, np.degrees(np.arctan2(across[2], across[0])))
    across = level @ across
    level = turn(2, -np.degrees(np.arctan2(across[1], across[0]))) @ level
    middle = (fits[Side.LEFT][0] + fits[Side.RIGHT][0]) / 2
    centers = {side: level @ (fits[side][0] - middle) for side in Side}
    bones: list[Bone] = []
    for name, mesh in raw.items():
        vertices, faces = np.asarray(mesh.vertices), np.asarray(mesh.faces)
        part = Part.PELVIS
        if name.startswith("femur"):
            side = Side.parse(name.split("-")[1])
            part = Part.femur(side)
            vertices = (vertices - fits[side][0]) @ neutral(vertices, fits[side][0]).T
            vertices = vertices + centers[side]
            below = centers[side][2] - vertices[:, 2]
            cortex = np.interp(below, [10, 40, 75, 130, 330, 380], [0.9, 1.5, 2.6, 5.5, 5.0, 1.0])
            inward = (vertices[:, 0] - centers[side][0]) * (1 if side is Side.RIGHT else -1)
            calcar = np.interp(below, [15, 40, 75, 110], [0.0, 1.0, 1.0, 0.0])
            cortex = cortex + 1.3 * calcar * np.interp(inward, [-35, -25], [0.0, 1.0])
        else:
            vertices = (vertices - middle) @ level.T
            cortex = np.full(len(vertices), 1.1)
            for side in Side:
                out = vertices - centers[side]
                away = np.linalg.norm(out, axis=1)
                roof = (away < 27) & (out[:, 2] > 0.5 * away)
                cortex[roof] = 3.0
        outer = TriangleSurface(vertices=vertices, faces=faces)
        bones.append(Bone(name=name, part=part, outer=outer, inner=hollowed(outer, cortex)))
    return Skeleton(
        bones=tuple(bones),
        head_centers_mm=centers,
        head_radii_mm={side: fits[side][1] for side in Side},
    )
