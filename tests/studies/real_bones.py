"""The real bones of subject-a: head circle and center-edge angle of films against the bones.

The bones are read where they lie (see ``tests/unit/phantoms/real_bones.py``); nothing of them is
kept but the figures.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from skimage.measure import CircleModel

from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.engines.geometry.circles import fit_round_part
from hipwright.engines.measurement.doubt import BUMP_TOLERANCE_SHARE
from hipwright.phantoms.film_bodies import Part, Skeleton
from hipwright.phantoms.film_outlines import shadow_of
from hipwright.phantoms.film_simulator import SimulatedFilm
from tests.studies.perfect_readings import Position, setup_of, unexposed
from tests.unit.phantoms.real_bones import head_of, neutral, sphere_fit, subject_a

HEAD_POINTS = ("SFH", "AFH", "LFH", "PFH", "MFH", "IFH")
CLICKED_DEG = np.arange(-40.0, 121.0, 8.0)
"""Where the outline is clicked: from below medial over the top, clear of the neck."""

NEAR_DEG = 1.0

RIM_MM = 5.0
"""The rim is read on the roof, this far before and behind the head center."""

SHELL_MM = 13.0
"""How far outside the head's sphere bone still counts as rim."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadOnFilm:
    """Circle of a traced silhouette less the projected sphere, mm in the plane of the hip."""

    side: Side
    position: Position
    against: str
    center_mm: float
    radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeOnFilm:
    """Center-edge angle to the bony rim, on the film and in the frontal plane, degrees."""

    side: Side
    position: Position
    film_deg: float
    space_deg: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sphere:
    """A sphere that stands for a head, in the frame of the films, mm."""

    words: str
    center: np.ndarray
    radius: float


def raters_sphere(folder: Path) -> tuple[np.ndarray, float]:
    """Sphere through the raters' six head points of the left femur, means of all trials."""
    told: dict[str, Any] = json.loads((folder / "subject-a" / "landmarks.json").read_text())
    means = [
        np.mean([row[2:] for row in rows], axis=0)
        for name, rows in told["femur"].items()
        if any(f"({short})" in name for short in HEAD_POINTS)
    ]
    assert len(means) == len(HEAD_POINTS)
    return sphere_fit(np.array(means, dtype=np.float64))


def spheres(folder: Path) -> dict[Side, list[Sphere]]:
    """Spheres of both heads: of the surface's upper medial part; of the raters on the left."""
    skeleton = subject_a(folder)
    found = {
        side: [
            Sphere(
                words="surface, upper medial part",
                center=np.asarray(skeleton.head_centers_mm[side]),
                radius=skeleton.head_radii_mm[side],
            )
        ]
        for side in Side
    }
    mesh: Any = trimesh.load(folder / "subject-a" / "femur-left.stl")
    vertices = np.asarray(mesh.vertices)
    own, _ = head_of(vertices, Side.LEFT)
    center, radius = raters_sphere(folder)
    placed = (center - own) @ neutral(vertices, own).T + skeleton.head_centers_mm[Side.LEFT]
    found[Side.LEFT].append(Sphere(words="raters' six points", center=placed, radius=radius))
    return found


def heads_on_films(folder: Path, positions: list[Position]) -> Iterator[HeadOnFilm]:
    """Fit the traced silhouette of each head on AP films."""
    skeleton, known = subject_a(folder), spheres(folder)
    for position in positions:
        film = unexposed(skeleton, setup_of(View.PELVIS_AP, None, position))
        for side in Side:
            center, radius = _fitted(skeleton, film, side)
            for sphere in known[side]:
                part = Part.femur(side)
                true = film.project(sphere.center, part)[0]
                mm = film.setup.pixel_mm / film.beam.magnification(sphere.center)
                yield HeadOnFilm(
                    side=side,
                    position=position,
                    against=sphere.words,
                    center_mm=float(np.linalg.norm(center - true)) * mm,
                    radius_mm=radius * mm - sphere.radius,
                )


def _fitted(skeleton: Skeleton, film: SimulatedFilm, side: Side) -> tuple[np.ndarray, float]:
    bone = next(b for b in skeleton.bones if b.part is Part.femur(side))
    near = film.project(skeleton.head_centers_mm[side], bone.part)[0]
    half = 45.0 * film.magnification
    shadow = shadow_of(bone, film.poses[bone.part], film.beam, middle_px=near, half_mm=half)
    outline = shadow.outlines()[0] - near
    inward = -1.0 if side is Side.LEFT else 1.0
    turn = np.degrees(np.arctan2(-outline[:, 1], inward * outline[:, 0]))
    away = np.linalg.norm(outline, axis=1)
    clicks = np.array(
        [
            outline[
                np.where(np.abs((turn - at + 180) % 360 - 180) < NEAR_DEG, away, np.inf).argmin()
            ]
            for at in CLICKED_DEG
        ]
    )
    extent = CircleModel.from_estimate(clicks).radius
    center, radius, _ = fit_round_part(clicks, tolerance=BUMP_TOLERANCE_SHARE * extent)
    return near + center, radius


def edges_on_films(folder: Path, positions: list[Position]) -> Iterator[EdgeOnFilm]:
    """Center-edge angles: bone within a shell about the head, on the roof above its center."""
    skeleton = subject_a(folder)
    for side in Side:
        outward = 1.0 if side is Side.LEFT else -1.0
        head = np.asarray(skeleton.head_centers_mm[side])
        radius = skeleton.head_radii_mm[side]
        bone = next(b for b in skeleton.bones if b.name == f"hip-bone-{side.value}")
        arm = bone.outer.vertices - head
        roof = (
            (np.abs(arm[:, 1]) < RIM_MM)
            & (arm[:, 2] > 0.4 * radius)
            & (np.linalg.norm(arm, axis=1) < radius + SHELL_MM)
        )
        rim = arm[roof][(outward * arm[roof][:, 0]).argmax()]
        space = float(np.degrees(np.arctan2(outward * rim[0], rim[2])))
        for position in positions:
            film = unexposed(skeleton, setup_of(View.PELVIS_AP, None, position))
            centers = {s: film.project(skeleton.head_centers_mm[s])[0] for s in Side}
            seen = film.project(head + arm[roof])
            level = centers[Side.LEFT] - centers[Side.RIGHT]
            across = level / np.linalg.norm(level)
            up = np.array([across[1], -across[0]])
            places = seen - centers[side]
            edge = places[(outward * (places @ across)).argmax()]
            told = float(np.degrees(np.arctan2(outward * (edge @ across), edge @ up)))
            yield EdgeOnFilm(side=side, position=position, film_deg=told, space_deg=space)
