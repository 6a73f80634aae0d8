"""Closed triangle surfaces as plain arrays, and what is asked of them."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

Vertices = NDArray[np.float64]
Faces = NDArray[np.int32]

_TRIANGLE = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TriangleSurface:
    """A triangle surface: vertices in mm, faces counterclockwise seen from outside.

    Attributes
    ----------
    vertices
        Shape ``(n, 3)``, mm, read-only.
    faces
        Shape ``(m, 3)``, indices of vertices, read-only.
    """

    vertices: Vertices
    faces: Faces

    def __post_init__(self) -> None:
        vertices = np.array(self.vertices, dtype=np.float64)
        faces = np.array(self.faces, dtype=np.int32)
        if vertices.ndim != 2 or vertices.shape[1] != _TRIANGLE:  # noqa: PLR2004 - rows of points
            raise ValueError(f"vertices must have shape (n, 3), not {vertices.shape}")
        if faces.ndim != 2 or faces.shape[1] != _TRIANGLE:  # noqa: PLR2004 - rows of triangles
            raise ValueError(f"faces must have shape (m, 3), not {faces.shape}")
        if faces.size and (faces.min() < 0 or faces.max() >= len(vertices)):
            raise ValueError(f"faces must name one of {len(vertices)} vertices")
        if not np.isfinite(vertices).all():
            raise ValueError("vertices must be finite")
        vertices.flags.writeable = False
        faces.flags.writeable = False
        object.__setattr__(self, "vertices", vertices)
        object.__setattr__(self, "faces", faces)

    @property
    def volume_mm3(self) -> float:
        """Signed volume in mm³; positive when the faces look outward."""
        a, b, c = (self.vertices[self.faces[:, k]] for k in range(_TRIANGLE))
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)

    @property
    def is_closed(self) -> bool:
        """Whether every edge is shared by exactly two faces that agree on the outside."""
        edges = directed_edges(self.faces).astype(np.int64)
        n = len(self.vertices)
        there = np.sort(edges[:, 0] * n + edges[:, 1])
        back = np.sort(edges[:, 1] * n + edges[:, 0])
        return bool(len(there)) and bool((there[1:] > there[:-1]).all() and (there == back).all())

    def moved(self, rotation: NDArray[np.float64], translation: NDArray[np.float64]) -> Self:
        """Return the surface rotated, then shifted; mm.

        Parameters
        ----------
        rotation
            Proper rotation, shape ``(3, 3)``.
        translation
            Shape ``(3,)``, mm.
        """
        return type(self)(vertices=self.vertices @ rotation.T + translation, faces=self.faces)

    def mirrored(self) -> Self:
        """Return the surface reflected in the plane x = 0, still looking outward."""
        return type(self)(
            vertices=self.vertices * np.array([-1.0, 1.0, 1.0]), faces=self.faces[:, ::-1]
        )


def directed_edges(faces: Faces) -> Faces:
    """Return the three directed edges of every face, shape ``(3 m, 2)``."""
    return np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
