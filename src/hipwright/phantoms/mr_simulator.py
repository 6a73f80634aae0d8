"""MR volumes of one hip of a modeled person: bones, cartilage, labrum, fluid.

The bones are the person's own; cartilage, labrum and fluid are drawn where anatomy has
them, with brightness by tissue chosen to look like two common contrasts. It is a drawing
to practice reading on, obviously simulated, and no model of a scanner.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter
from scipy.spatial import cKDTree

from hipwright.domain.side import Side
from hipwright.phantoms.people import Person
from hipwright.phantoms.voxel_filling import VoxelSum

Floats = NDArray[np.float64]
Voxels = NDArray[np.float32]
Mask = NDArray[np.bool_]

BRIGHTNESS = MappingProxyType(
    {
        "fluid_bright": MappingProxyType(
            {
                "fat": 130.0,
                "muscle": 270.0,
                "marrow": 115.0,
                "cortex": 22.0,
                "cartilage": 560.0,
                "labrum": 48.0,
                "fluid": 980.0,
            }
        ),
        "fat_bright": MappingProxyType(
            {
                "fat": 860.0,
                "muscle": 270.0,
                "marrow": 760.0,
                "cortex": 22.0,
                "cartilage": 400.0,
                "labrum": 60.0,
                "fluid": 190.0,
            }
        ),
    }
)
"""By contrast and tissue, arbitrary units (judgment): fat-suppressed proton density, T1."""

CARTILAGE_MM = 1.7
LABRUM_WIDTH_MM, LABRUM_BASE_MM = 6.5, 4.4
_TEAR_MM = 0.9
_RECESS_MM = 2.2
_FAT_FROM_MM = 34.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesion:
    """Something to be found: at an hour, so many millimeters across."""

    hour: float
    diameter_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedFindings:
    """What is wrong with the hip.

    Attributes
    ----------
    tear
        Hours from and to between which fluid runs under the labrum, or ``None``.
    paralabral_cyst, acetabular_cyst, edema
        Where they lie, or ``None``.
    """

    tear: tuple[float, float] | None = None
    paralabral_cyst: Lesion | None = None
    acetabular_cyst: Lesion | None = None
    edema: Lesion | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MrSetup:
    """How a volume is taken: a box around the head, cut in axial or coronal slices."""

    side_mm: float = 128.0
    pixel_mm: float = 0.7
    slice_mm: float = 1.4
    coronal: bool = False
    contrast: str = "fluid_bright"
    noise: float = 14.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimulatedMr:
    """An MR volume in ``patient_lps``.

    Parameters
    ----------
    values
        int16, shape (slices, rows, columns).
    origin_mm
        Center of the first voxel.
    spacing_mm
        Between columns, rows and slices.
    directions
        Columns of this matrix are the directions of growing column, row and slice.
    rim_mm, rim_hours
        The crest of the bony rim that the labrum sits on, shape (n, 3), and its hours.
    """

    values: NDArray[np.int16]
    origin_mm: Floats
    spacing_mm: Floats
    directions: Floats
    setup: MrSetup
    rim_mm: Floats
    rim_hours: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Joint:
    """Distances and places in the box, shape (slices, rows, columns) each."""

    places: Floats
    from_head: Floats
    to_femur: Floats
    to_socket: Floats
    femur: Mask
    socket: Mask


def simulate_mr(
    person: Person,
    side: Side,
    setup: MrSetup,
    rng: np.random.Generator,
    *,
    findings: SimulatedFindings | None = None,
) -> SimulatedMr:
    """Draw an MR volume of one hip.

    Parameters
    ----------
    person
        As built; bones in neutral pose.
    side
        Which hip.
    setup
        Box, spacing, contrast and noise.
    rng
        Decides the texture and the noise.
    findings
        What is wrong with it.
    """
    found = findings or SimulatedFindings()
    hip = person.truth.hip(side)
    head, radius = hip.head_center, hip.head_radius_mm
    step = np.array([setup.pixel_mm, setup.pixel_mm, setup.slice_mm])
    if setup.coronal:
        step = step[[0, 2, 1]]
    size = np.rint(setup.side_mm / step).astype(int)
    origin = head - (size - 1) / 2 * step
    shape = (int(size[2]), int(size[1]), int(size[0]))
    bones = [b for b in person.bones.values() if b.name in {f"hip_bone_{side}", f"femur_{side}"}]
    outer, marrow = VoxelSum(shape, origin, step), VoxelSum(shape, origin, step)
    solid: dict[str, Mask] = {}
    for bone in bones:
        own = VoxelSum(shape, origin, step)
        own.add(bone.outer, 1.0)
        solid[bone.name] = own.finished() > _HALF
        outer.add(bone.outer, 1.0)
        if bone.inner is not None:
            marrow.add(bone.inner, 1.0)
    places = _places(shape, origin, step)
    joint = _Joint(
        places=places,
        from_head=np.linalg.norm(places - head, axis=-1),
        to_femur=_distance(solid[f"femur_{side}"], step),
        to_socket=_distance(solid[f"hip_bone_{side}"], step),
        femur=solid[f"femur_{side}"],
        socket=solid[f"hip_bone_{side}"],
    )
    rim = hip.pelvis.curves["rim"]
    hours = rim_hours(rim)
    tissue = BRIGHTNESS[setup.contrast]
    picture = _background(joint, tissue, rng)
    shares = np.clip(outer.finished(), 0, 1), np.clip(marrow.finished(), 0, 1)
    picture = picture * (1 - shares[0]) + tissue["cortex"] * (shares[0] - shares[1])
    picture += tissue["marrow"] * shares[1] * _grain(shape, step, rng)
    _fill_joint(picture, joint, tissue, radius=radius, socket_radius=hip.socket_radius_mm)
    _draw_labrum(picture, joint, tissue, rim=rim, hours=hours, head=head, tear=found.tear)
    _draw_lesions(picture, joint, tissue, found, rim=rim, hours=hours, head=head)
    blurred: Any = gaussian_filter(picture, 0.62 * step.min() / step[::-1])
    noisy = np.hypot(
        blurred + setup.noise * rng.standard_normal(shape, dtype=np.float32),
        setup.noise * rng.standard_normal(shape, dtype=np.float32),
    )
    values = np.rint(np.clip(noisy, 0, 4095)).astype(np.int16)
    return _stacked(values, origin, step, setup, rim, hours)


_HALF = 0.5


def rim_hours(rim_mm: Floats) -> Floats:
    """Clock hours of rim points, in [0, 12): 12 where the patient's head end lies, 3 in front."""
    middle, normal = rim_mm.mean(axis=0), _opening(rim_mm)
    up = np.array([0.0, 0.0, 1.0]) - normal[2] * normal
    up /= np.linalg.norm(up)
    front = np.cross(normal, up)
    front *= -np.sign(front[1])
    away = rim_mm - middle
    return np.asarray(np.degrees(np.arctan2(away @ front, away @ up)) / 30.0 % 12.0)


def _opening(rim: Floats) -> Floats:
    """Unit vector out of the socket: square to the rim's plane, away from the midline."""
    middle = rim.mean(axis=0)
    normal = np.linalg.svd(rim - middle)[2][2]
    return normal * np.sign(normal[0] * middle[0])


def _places(shape: tuple[int, int, int], origin: Floats, step: Floats) -> Floats:
    k, i, j = np.indices(shape, dtype=np.float64)
    return np.stack(
        [origin[0] + j * step[0], origin[1] + i * step[1], origin[2] + k * step[2]], -1
    )


def _distance(mask: Mask, step: Floats) -> Floats:
    found: Any = distance_transform_edt(~mask, sampling=step[::-1])
    return np.asarray(found)


def _grain(shape: tuple[int, int, int], step: Floats, rng: np.random.Generator) -> Voxels:
    noise = rng.standard_normal(shape, dtype=np.float32)
    coarse: Any = gaussian_filter(noise, 0.9 / step[::-1])
    return (1 + 0.10 * coarse / coarse.std()).astype(np.float32)


def _background(joint: _Joint, tissue: Any, rng: np.random.Generator) -> Floats:
    """Muscle in bellies parted by fat, and fat farther out."""
    step = np.abs(joint.places[1, 1, 1] - joint.places[0, 0, 0])
    noise = rng.standard_normal(joint.femur.shape, dtype=np.float32)
    bellies: Any = gaussian_filter(noise, 7.0 / step[::-1])
    bellies = bellies / bellies.std()
    seams = np.exp(-((bellies / 0.28) ** 2)) * (1 + 0.5 * np.tanh(np.roll(bellies, 9, axis=2)))
    away = np.minimum(joint.to_femur, joint.to_socket)
    under_skin = 1 / (1 + np.exp(-(away - _FAT_FROM_MM) / 1.5))
    share = np.clip(np.maximum(0.55 * seams, under_skin), 0, 1)
    return tissue["muscle"] + share * (tissue["fat"] - tissue["muscle"])


def _fill_joint(
    picture: Floats, joint: _Joint, tissue: Any, *, radius: float, socket_radius: float
) -> None:
    """Cartilage on both sides of the joint, fluid between and in the recess around the neck."""
    gap = socket_radius - radius
    free = ~(joint.femur | joint.socket)
    near_head = joint.from_head < socket_radius + 0.3
    recess = free & (joint.to_femur < _RECESS_MM) & (joint.from_head < 1.5 * radius)
    picture[recess] = tissue["fluid"]
    between = free & near_head & (joint.to_socket < gap + 1.0) & (joint.from_head > radius - 1.0)
    picture[between] = tissue["fluid"]
    on_socket = between & (joint.to_socket < min(CARTILAGE_MM, 0.47 * gap))
    on_head = (
        free
        & (joint.to_femur < min(CARTILAGE_MM, 0.47 * gap))
        & (joint.from_head < radius + 2 * CARTILAGE_MM)
    )
    picture[on_socket | on_head] = tissue["cartilage"]


def _draw_labrum(
    picture: Floats,
    joint: _Joint,
    tissue: Any,
    *,
    rim: Floats,
    hours: Floats,
    head: Floats,
    tear: tuple[float, float] | None,
) -> None:
    """A three-cornered ring on the rim, pointed at its free edge; no bone is drawn over."""
    close = np.flatnonzero(
        np.abs(joint.from_head - np.linalg.norm(rim - head, axis=1).mean()) < _NEAR_MM
    )
    places = joint.places.reshape(-1, 3)[close]
    found: Any = cKDTree(rim).query(places, distance_upper_bound=_NEAR_MM)
    reached = np.isfinite(found[0])
    close, places, nearest = close[reached], places[reached], found[1][reached]
    outward = rim - head
    outward /= np.linalg.norm(outward, axis=1)[:, None]
    along = np.roll(rim, -2, axis=0) - np.roll(rim, 2, axis=0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    free = np.cross(along, outward)
    free *= np.sign(free @ _opening(rim))[:, None]
    off = places - rim[nearest]
    forward = np.einsum("ij,ij->i", off, free[nearest])
    across = np.einsum("ij,ij->i", off, outward[nearest]) + 0.45 * LABRUM_BASE_MM
    taper = np.clip(1 - forward / LABRUM_WIDTH_MM, 0, 1)
    inside = (forward > -_HALF) & (forward < LABRUM_WIDTH_MM)
    inside &= np.abs(across) < LABRUM_BASE_MM / 2 * taper
    bone = (joint.femur | joint.socket).reshape(-1)[close]
    flat = picture.reshape(-1)
    flat[close[inside & ~bone]] = tissue["labrum"]
    if tear is not None:
        start, end = tear
        torn = (hours[nearest] - start) % 12.0 < (end - start) % 12.0
        base = inside & torn & (forward < _TEAR_MM) & ~bone
        flat[close[base]] = tissue["fluid"]


_NEAR_MM = 9.0


def _draw_lesions(
    picture: Floats,
    joint: _Joint,
    tissue: Any,
    findings: SimulatedFindings,
    *,
    rim: Floats,
    hours: Floats,
    head: Floats,
) -> None:
    def at(lesion: Lesion, out_mm: float, in_mm: float) -> Floats:
        turn = np.abs((hours - lesion.hour + 6.0) % 12.0 - 6.0)
        place = rim[int(turn.argmin())]
        outward = (place - head) / np.linalg.norm(place - head)
        return place + out_mm * outward - in_mm * _opening(rim)

    if (cyst := findings.paralabral_cyst) is not None:
        middle = at(cyst, 0.5 * LABRUM_BASE_MM + 0.55 * cyst.diameter_mm, -2.0)
        away = np.linalg.norm(joint.places - middle, axis=-1)
        picture[(away < cyst.diameter_mm / 2) & ~joint.femur & ~joint.socket] = tissue["fluid"]
    if (cyst := findings.acetabular_cyst) is not None:
        away = np.linalg.norm(joint.places - at(cyst, 5.0, 6.0), axis=-1)
        picture[(away < cyst.diameter_mm / 2) & joint.socket] = tissue["fluid"]
    if (edema := findings.edema) is not None:
        away = np.linalg.norm(joint.places - at(edema, 7.0, 8.0), axis=-1)
        cloud = 0.55 * np.exp(-((away / (0.5 * edema.diameter_mm)) ** 2)) * joint.socket
        picture += cloud * (tissue["fluid"] - picture)


def _stacked(
    values: NDArray[np.int16],
    origin: Floats,
    step: Floats,
    setup: MrSetup,
    rim: Floats,
    hours: Floats,
) -> SimulatedMr:
    directions, start, spacing = np.eye(3), origin, step
    if setup.coronal:
        values = np.ascontiguousarray(values.transpose(1, 0, 2)[:, ::-1])
        start = origin + np.array([0.0, 0.0, (values.shape[1] - 1) * step[2]])
        directions = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
        spacing = step[[0, 2, 1]]
    return SimulatedMr(
        values=values,
        origin_mm=start,
        spacing_mm=spacing,
        directions=directions,
        setup=setup,
        rim_mm=rim,
        rim_hours=hours,
    )
