"""The neck of a femur: its axis by spheres about the head, and its narrowest section.

Axes: X lateral, Y anterior, Z superior, mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import DegenerateGeometryError
from hipwright.engines.anatomy.femur_head import BoneMesh
from hipwright.engines.anatomy.femur_polar import polar_directions
from hipwright.engines.anatomy.femur_sections import SectionStack, middle_of_outline
from hipwright.engines.geometry.mesh_rays import tree_hits_mm
from hipwright.engines.geometry.mesh_sections import section_area_mm2
from hipwright.engines.geometry.mesh_tree import MeshTree, mesh_tree
from hipwright.engines.geometry.spheres import SphereFit, square_to

Floats = NDArray[np.float64]

SPHERE_SHARES = (1.40, 1.25)
"""Head radii of the spheres whose sections tell the neck's axis; the first is the axis."""
NECK_REACH = 2.6
"""Head radii around the center within which the neck lies."""
SECTION_HOURS = np.arange(0.0, 12.0, 0.25)
SECTION_ANGLES_DEG = np.arange(0.0, 76.0, 1.0)
ROUNDS = 6
SETTLED = 1e-7
STRETCH = (0.8, 1.75)
"""Head radii from the center between which the narrowest section of the neck is sought."""
STEP_MM = 0.75
SETTLING = 1.15
"""After the first round, only sections up to so much wider than the narrowest are cut again."""
NARROW = 0.04
"""Sections up to this share wider than the narrowest have a say in its middle."""


def neck_reach(bone: BoneMesh, head: SphereFit) -> BoneMesh:
    """The part of a femur around head and neck."""
    return bone.within(head.center, NECK_REACH * head.radius)


def first_guess(bone: BoneMesh, head: SphereFit) -> Floats:
    """Roughly where the neck goes: the middle of the bone just beyond the head."""
    away = np.linalg.norm(bone.vertices - head.center, axis=1)
    ring = (away > 1.2 * head.radius) & (away < 1.6 * head.radius)
    if not ring.any():
        raise _no_neck("no bone beyond the head")
    toward = np.average(
        bone.vertices[ring] - head.center, axis=0, weights=bone.areas_mm2[ring] + 1e-9
    )
    return toward / np.linalg.norm(toward)


def axis_by_sphere(tree: MeshTree, head: SphereFit, guess: Floats, share: float) -> Floats:
    """Direction of the middle of what a sphere about the head cuts out of the neck.

    The middle is that of the area on the sphere, between the center's first meeting with
    the outside in all hours around the axis; bone beyond a gap, as the tip of the
    trochanter, does not count.

    Parameters
    ----------
    tree
        Of the bone around the neck.
    guess
        Unit direction to begin with.
    share
        Radius of the sphere in head radii.

    Raises
    ------
    DegenerateGeometryError
        The sphere does not cut the neck.
    """
    axis = guess
    for _ in range(ROUNDS):
        up = square_to(axis)[0]
        directions = polar_directions(axis, up, SECTION_HOURS, SECTION_ANGLES_DEG)
        reach = tree_hits_mm(tree, head.center, directions)
        outline = outline_deg(reach, SECTION_ANGLES_DEG, share * head.radius)
        if not np.isfinite(outline).all():
            raise _no_neck(f"no neck where it is {share:.2f} head radii from the center")
        before, axis = axis, middle_of_patch(axis, up, SECTION_HOURS, outline)
        if np.linalg.norm(axis - before) < SETTLED:
            break
    return axis


def outline_deg(reach_mm: Floats, angles_deg: Floats, radius_mm: Floats | float) -> Floats:
    """Angle at which the surface comes nearer than a radius, going out from the axis.

    Parameters
    ----------
    reach_mm
        Distance to the surface, (..., h, a) at rising angles; NaN counts as far.
    radius_mm
        (...), or one for all.

    Returns
    -------
    Degrees, (..., h); NaN where the axis itself lies outside at that radius, the last angle
    where the surface stays farther all the way.
    """
    over = np.nan_to_num(reach_mm, nan=np.inf) - np.asarray(radius_mm)[..., None, None]
    under = over < 0
    at: NDArray[np.int64] = np.argmax(under, axis=-1)
    at[~under.any(axis=-1)] = over.shape[-1] - 1
    before: NDArray[np.int64] = np.clip(at - 1, 0, None)
    low = np.take_along_axis(over, before[..., None], -1)[..., 0]
    high = np.take_along_axis(over, at[..., None], -1)[..., 0]
    gap = np.where(np.isfinite(low), low, 0.0) - high
    share = np.clip(np.where(gap > 0, low, 0.0) / np.where(gap > 0, gap, 1.0), 0.0, 1.0)
    share = np.where(np.isfinite(low), share, 1.0)
    found = angles_deg[before] + share * (angles_deg[at] - angles_deg[before])
    found = np.where(under.any(axis=-1), found, angles_deg[-1])
    return np.where(under[..., 0], np.nan, found)


def middle_of_patch(axis: Floats, up: Floats, hours: Floats, outline: Floats) -> Floats:
    """Unit direction of the middle of a patch of the sphere around an axis, (..., 3).

    The mean of the directions of a patch is half the turn of its outline, Σ a×b / 2
    (Stokes's theorem), whatever surface it bounds.

    Parameters
    ----------
    axis, up
        (..., 3).
    outline
        Angle of its edge from the axis by hour, degrees, (..., h).
    """
    turn = hours * (np.pi / 6.0)
    front = np.cross(up, axis)
    ring = np.cos(turn)[:, None] * up[..., None, :] + np.sin(turn)[:, None] * front[..., None, :]
    angle = np.radians(outline)[..., None]
    edge = np.cos(angle) * axis[..., None, :] + np.sin(angle) * ring
    total = np.cross(edge, np.roll(edge, -1, axis=-2)).sum(axis=-2)
    total *= np.sign((total * axis).sum(axis=-1, keepdims=True))
    return total / np.linalg.norm(total, axis=-1, keepdims=True)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Isthmus:
    """Narrowest section of the neck.

    Attributes
    ----------
    middle
        Middle of its area, (3,).
    axis
        Unit direction from the head's center to it.
    station_mm
        How far it lies from the center.
    area_mm2
        Area of the section.
    """

    middle: Floats
    axis: Floats
    station_mm: float
    area_mm2: float


def isthmus(bone: BoneMesh, head: SphereFit, guess: Floats) -> Isthmus:
    """Find the narrowest section of the neck and the axis through its middle.

    Sections are square to the axis from the head's center to their middle, which is sought
    until it stands still; the middle is that of the sections up to some percent wider.

    Raises
    ------
    DegenerateGeometryError
        No closed section of the neck.
    """
    axis = guess
    stations = np.arange(STRETCH[0] * head.radius, STRETCH[1] * head.radius, STEP_MM)
    middle, station, area = np.zeros(3), 0.0, 0.0
    for _ in range(ROUNDS):
        stack = SectionStack.of(bone, head.center, axis)
        cuts = [neck_section(stack, s) for s in stations]
        areas = np.array([np.inf if cut is None else cut[0] for cut in cuts])
        if not np.isfinite(areas).any():
            raise _no_neck("no section of the neck")
        area = float(areas.min())
        stations = stations[areas < SETTLING * area]
        say = np.clip(1.0 + NARROW - areas / area, 0.0, None)
        middles = np.array([np.zeros(3) if cut is None else cut[1] for cut in cuts])
        middle = (say[:, None] * middles).sum(axis=0) / say.sum()
        out = middle - head.center
        station = float(np.linalg.norm(out))
        before, axis = axis, out / station
        if np.linalg.norm(axis - before) < 1e-5:  # noqa: PLR2004 (a thousandth of a degree)
            break
    return Isthmus(middle=middle, axis=axis, station_mm=station, area_mm2=area)


def neck_section(stack: SectionStack, station_mm: float) -> tuple[float, Floats] | None:
    """Area and middle of the section around an axis, ``None`` where none holds the axis."""
    outline = stack.around(station_mm, stack.origin + station_mm * stack.axis)
    if outline is None:
        return None
    area = abs(section_area_mm2(outline, stack.axis))
    return area, middle_of_outline(outline, stack.axis)


def tree_of(bone: BoneMesh) -> MeshTree:
    """Search tree of a bone's triangles."""
    return mesh_tree(bone.vertices, bone.faces)


def _no_neck(found: str) -> DegenerateGeometryError:
    return DegenerateGeometryError(
        "cannot find the neck of the femur",
        found=found,
        needed="a neck scanned all around, at least 1.4 head radii from the head's center",
        next_step="Check the bone model around the neck.",
    )
