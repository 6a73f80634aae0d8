"""Where the streaks of cancellous bone run on a film, and where it is dense."""

from dataclasses import dataclass

import numpy as np

from hipwright.domain.side import Side
from hipwright.phantoms.film_bodies import Part, Skeleton
from hipwright.phantoms.film_setup import Scene
from hipwright.phantoms.projection import Array
from hipwright.phantoms.trabeculae import Grain

_SEEN_END_ON_PX = 1e-6
_HALF_SECTION_MM = 5.0


def shaft_line(skeleton: Skeleton, side: Side) -> tuple[Array, Array]:
    """Give a point of the shaft's axis and its direction down, from the bone's cross-sections."""
    head = skeleton.head_centers_mm[side]
    bone = max(skeleton.of_part(Part.femur(side)), key=lambda b: len(b.outer.vertices))
    down = head[2] - bone.outer.vertices[:, 2]
    middles = np.array(
        [
            (section.max(axis=0) + section.min(axis=0)) / 2
            for level in np.linspace(95, 170, 6)
            if len(section := bone.outer.vertices[np.abs(down - level) < _HALF_SECTION_MM])
        ]
    )
    center = middles.mean(axis=0)
    axis = np.linalg.svd(middles - center)[2][0]
    return center, axis * -np.sign(axis[2])


def neck_base_mm(skeleton: Skeleton, side: Side) -> Array:
    """Give about where the neck's axis meets the shaft's, for grain only: 127° assumed."""
    head = skeleton.head_centers_mm[side]
    point, down = shaft_line(skeleton, side)
    foot = point + ((head - point) @ down) * down
    return foot + down * 0.75 * float(np.linalg.norm(head - foot))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _GrainDrawer:
    """Puts control points told in millimeters of a part onto the film."""

    scene: Scene
    part: Part
    px_per_mm: float

    def __call__(self, at: Array, towards: Array, reach_mm: float, density: float = 0.0) -> Grain:
        """Give streaks along ``towards`` around ``at``."""
        posed = self.scene.poses[self.part].apply(np.array([at, at + towards]))
        ends = self.scene.beam.project(posed)
        direction = ends[1] - ends[0]
        if float(np.hypot(direction[0], direction[1])) < _SEEN_END_ON_PX:
            direction = np.array([0.0, 1.0])
        return Grain(
            at_px=(float(ends[0, 0]), float(ends[0, 1])),
            direction=(float(direction[0]), float(direction[1])),
            reach_px=reach_mm * self.px_per_mm,
            density=density,
        )


def bone_grains(skeleton: Skeleton, part: Part, scene: Scene) -> list[Grain]:
    """Give the control points of a part on a film."""
    scale = scene.beam.magnification(skeleton.middle_of_heads_mm) / scene.beam.pixel_mm
    draw = _GrainDrawer(scene=scene, part=part, px_per_mm=scale)
    if part.side is None:
        return _pelvic(skeleton, draw)
    head = skeleton.head_centers_mm[part.side]
    base = neck_base_mm(skeleton, part.side)
    neck = (base - head) / np.linalg.norm(base - head)
    down = shaft_line(skeleton, part.side)[1]
    lateral = neck - (neck @ down) * down
    lateral = lateral / np.linalg.norm(lateral)
    load = down + 0.30 * lateral  # the joint force leans from the head towards the shaft
    fan = down + 0.9 * lateral
    return [
        draw(head - 8 * load, load, 9, 0.75),
        draw(head - 2 * lateral, load, 10, 0.55),
        draw(head + 14 * down + 6 * lateral, load, 8, 0.55),
        draw(head + 12 * lateral - 4 * down, lateral + 0.1 * down, 7, 0.15),
        draw(head + 0.55 * (base - head) - 7 * down, lateral + 0.25 * down, 8, 0.25),
        draw(head + 0.62 * (base - head) + 6 * down, down + 0.5 * lateral, 6, -0.45),
        draw(base + 4 * lateral - 12 * down, lateral + 1.2 * down, 10, 0.0),
        draw(base + 16 * lateral - 22 * down, down + 0.15 * lateral, 12, -0.35),
        draw(base - 8 * lateral + 12 * down, fan - 0.9 * lateral, 10, 0.15),
        draw(base + 40 * down, down, 20, -0.45),
        draw(base + 80 * down, down, 24, -0.7),
    ]


def _pelvic(skeleton: Skeleton, draw: _GrainDrawer) -> list[Grain]:
    grains: list[Grain] = []
    for side in Side:
        head = skeleton.head_centers_mm[side]
        out = np.array([1.0 if side is Side.LEFT else -1.0, 1.0, 1.0])
        radial = [(-14, 26, 0.75), (0, 30, 0.9), (12, 26, 0.7)]
        grains += [
            draw(head + out * (x, 0, z), out * (x, 0, z), 8, density) for x, z, density in radial
        ]
        grains += [
            draw(head + out * (-18, 5, 60), out * (-0.5, 0, 1.0), 16, 0.2),
            draw(head + out * (10, -5, 75), out * (0.3, 0, 1.0), 18, -0.1),
            draw(head + out * (-38, 30, 85), out * (-0.6, 0, 0.6), 18, 0.1),
            draw(head + out * (-55, -20, -20), out * (-1.0, 0, -0.3), 14, 0.0),
            draw(head + out * (-25, 15, -35), out * (-0.1, 0, 1.0), 12, 0.1),
            draw(head + out * (-20, 15, -55), out * (-1.0, 0, 0.4), 12, 0.0),
        ]
    return grains
