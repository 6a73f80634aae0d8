"""Bones as closed surfaces, and the landmarks on them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import LandmarkError, SurfaceError
from hipwright.domain.frames import Frame
from hipwright.domain.side import Side

Floats = NDArray[np.float64]
Faces = NDArray[np.int32]

_TRIANGLE = 3


class Bone(Enum):
    """A bone of one side, or of the midline."""

    HIP_BONE_RIGHT = "hip_bone_right"
    HIP_BONE_LEFT = "hip_bone_left"
    FEMUR_RIGHT = "femur_right"
    FEMUR_LEFT = "femur_left"
    SACRUM = "sacrum"
    TIBIA_RIGHT = "tibia_right"
    TIBIA_LEFT = "tibia_left"
    OTHER = "other"

    @property
    def code(self) -> int:
        """The number that stands for it in a label volume; 0 is no bone."""
        return _CODES[self]

    @property
    def side(self) -> Side | None:
        """The side it belongs to, ``None`` for the midline and for others."""
        return next((side for side in Side if self.value.endswith(f"_{side.value}")), None)

    @property
    def words(self) -> str:
        """Its name on screens and in documents: ``Right hip bone``."""
        side = self.side
        bare = self.value if side is None else self.value.removesuffix(f"_{side.value}")
        plain = bare.replace("_", " ")
        return plain.capitalize() if side is None else f"{side.value.capitalize()} {plain}"

    @classmethod
    def of_code(cls, code: int) -> Bone:
        """The bone that a label stands for.

        Raises
        ------
        SurfaceError
            No bone has that code.
        """
        for bone, known in _CODES.items():
            if known == code:
                return bone
        raise SurfaceError(
            "cannot read the label",
            found=f"code {code}",
            needed=f"1 to {len(_CODES)}",
            next_step="Make the bone models again.",
        )

    @classmethod
    def hip_bone(cls, side: Side) -> Bone:
        """The hip bone of a side."""
        return cls(f"hip_bone_{side.value}")

    @classmethod
    def femur(cls, side: Side) -> Bone:
        """The femur of a side."""
        return cls(f"femur_{side.value}")

    @classmethod
    def tibia(cls, side: Side) -> Bone:
        """The tibia of a side."""
        return cls(f"tibia_{side.value}")


_CODES = {bone: number for number, bone in enumerate(Bone, start=1)}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """A triangle surface in one frame.

    Parameters
    ----------
    vertices
        Shape (n, 3), mm; kept read-only.
    faces
        Shape (m, 3), indices of vertices, counterclockwise seen from outside.
    frame
        The frame of the vertices.

    Raises
    ------
    SurfaceError
        The arrays are no triangles. Whether it is closed is asked of :attr:`is_closed`.
    """

    vertices: Floats = field(repr=False)
    faces: Faces = field(repr=False)
    frame: Frame

    def __post_init__(self) -> None:
        vertices = np.array(self.vertices, dtype=np.float64)
        faces = np.array(self.faces, dtype=np.int32)
        tabular = vertices.ndim == faces.ndim == 2  # noqa: PLR2004 (rows of three)
        if not tabular or vertices.shape[1] != _TRIANGLE or faces.shape[1] != _TRIANGLE:
            raise SurfaceError(
                "cannot make a surface",
                found=f"vertices of shape {vertices.shape} and faces of shape {faces.shape}",
                needed="(n, 3) and (m, 3)",
                next_step="Import the mesh again.",
            )
        if not np.isfinite(vertices).all():
            raise SurfaceError(
                "cannot make a surface",
                found="coordinates that are not finite",
                needed="finite coordinates in mm",
                next_step="Export the mesh again from where it was made.",
            )
        if faces.size and (faces.min() < 0 or faces.max() >= len(vertices)):
            raise SurfaceError(
                "cannot make a surface",
                found=f"triangles of vertices up to {faces.max()}",
                needed=f"one of {len(vertices)} vertices each",
                next_step="Export the mesh again from where it was made.",
            )
        for name, array in (("vertices", vertices), ("faces", faces)):
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    @property
    def volume_mm3(self) -> float:
        """Signed volume, positive when the triangles look outward."""
        a, b, c = (self.vertices[self.faces[:, k]] for k in range(_TRIANGLE))
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)

    @property
    def is_closed(self) -> bool:
        """Whether every edge belongs to just two triangles that agree on the outside."""
        if not len(self.faces):
            return False
        f = self.faces.astype(np.int64)
        edges = np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]])
        n = len(self.vertices)
        there = np.sort(edges[:, 0] * n + edges[:, 1])
        back = np.sort(edges[:, 1] * n + edges[:, 0])
        return bool((there[1:] > there[:-1]).all() and (there == back).all())


class Severity(Enum):
    """How much a remark on a bone matters."""

    NOTE = "note"
    WARNING = "warning"
    REFUSAL = "refusal"


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """Something the program noticed about a scan, a bone or a pair of bones.

    A ``REFUSAL`` means that nothing is measured from the bone until a person has
    looked: the text says what to do. ``figure`` is the number that was checked,
    in ``unit`` (UCUM), and ``limit`` what it was held against.
    """

    code: str
    severity: Severity
    text: str
    bone: Bone | None = None
    figure: float | None = None
    limit: float | None = None
    unit: str = ""

    @property
    def told(self) -> str:
        """The text without the bone's name in front, to stand behind that name."""
        told = self.text if self.bone is None else self.text.removeprefix(f"{self.bone.words}: ")
        return told[:1].upper() + told[1:]


@dataclass(frozen=True, slots=True, kw_only=True)
class BoneQuality:
    """What is known of the making of one surface.

    Attributes
    ----------
    edge_sd_mm
        How far the surface may lie from the bone's edge by noise, one standard
        deviation, as the fit itself tells.
    edge_bias_sd_mm
        The same for a shift common to the whole bone (an edge taken too far out or in).
    rejected_share
        Share of vertices whose edge could not be fitted and follows its neighbors.
    deviation_mm
        How far thinning moved the surface at most.
    smallest_thickness_mm
        Thinnest place of the bone that was kept; ``None`` where not looked for.
    bridges, tunnels
        Places where it was fused with another bone; handles of the closed surface.
    """

    edge_sd_mm: float
    edge_bias_sd_mm: float
    rejected_share: float = 0.0
    deviation_mm: float = 0.0
    smallest_thickness_mm: float | None = None
    bridges: int = 0
    tunnels: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoneModel:
    """One bone, or one scanned part of it, as a closed surface in ``patient_lps``.

    Parameters
    ----------
    bone
        Which.
    surface
        Its closed surface.
    part
        Empty for the part at the hip; ``knee`` or ``ankle`` for a block scanned apart.
    cut_low, cut_high
        Whether the scan ends in the bone there, so that the surface has a flat lid.
    """

    bone: Bone
    surface: Surface
    quality: BoneQuality
    part: str = ""
    cut_low: bool = False
    cut_high: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SpacePoint:
    """A landmark on a bone, in ``patient_lps``, mm.

    ``sd_mm`` is its spread along x, y, z; ``moved`` tells that a reader placed it.
    """

    id: str
    side: Side | None
    at_mm: tuple[float, float, float]
    sd_mm: float
    moved: bool = False

    def __post_init__(self) -> None:
        if not all(math.isfinite(x) for x in (*self.at_mm, self.sd_mm)) or self.sd_mm < 0:
            raise LandmarkError(
                f"cannot place {self.id}",
                found=f"{self.at_mm} mm with a spread of {self.sd_mm} mm",
                needed="finite coordinates and a spread of zero or more",
                next_step="Place the landmark again.",
                field=self.id,
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class BoneLandmarks:
    """All landmarks on the bones of one scan; each id once a side."""

    points: tuple[SpacePoint, ...] = ()

    def __iter__(self) -> Iterator[SpacePoint]:
        return iter(self.points)

    def point(self, landmark: str, side: Side | None) -> SpacePoint | None:
        """The point of that id and side, or ``None``."""
        return next((p for p in self.points if (p.id, p.side) == (landmark, side)), None)

    def updated(self, moved: BoneLandmarks) -> BoneLandmarks:
        """These points, with those of the other set in place of the same ones."""
        taken = {(p.id, p.side) for p in moved.points}
        return BoneLandmarks(
            points=(*(p for p in self.points if (p.id, p.side) not in taken), *moved.points)
        )
