"""Triangle meshes from STL, PLY, OBJ and VTP files, corners that lie in one place joined."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hipwright.adapters.mesh_files.vtp import read_vtp
from hipwright.domain.errors import HipwrightError, SurfaceError
from hipwright.workflows.bone_ports import MeshFile

Floats = NDArray[np.float64]

SUFFIXES = frozenset({".stl", ".ply", ".obj", ".vtp"})
LARGEST_FILE = 1 << 30
MOST_TRIANGLES = 20_000_000


class MeshReader:
    """Reads meshes made elsewhere (the port ``MeshFiles``)."""

    def recognizes(self, path: Path) -> bool:
        """Whether the name is that of a mesh."""
        return path.suffix.lower() in SUFFIXES

    def read(self, path: Path) -> MeshFile:
        """Read one mesh, in its own unit and axes.

        Raises
        ------
        SurfaceError
            The file cannot be read, holds no triangles or too many.
        """
        kind = path.suffix.lower()
        if kind not in SUFFIXES:
            raise _refused(f"a file that ends in {kind or 'nothing'}", "STL, PLY, OBJ or VTP")
        try:
            if path.stat().st_size > LARGEST_FILE:
                raise _refused("a file of more than 1 GiB", "a smaller mesh")
            content = path.read_bytes()
        except OSError as error:
            raise _refused("a file that cannot be opened", "a file that can be read") from error
        try:
            vertices, faces = read_vtp(content) if kind == ".vtp" else _by_trimesh(content, kind)
        except HipwrightError:
            raise
        except Exception as error:  # parsers of strangers' files raise what they like
            whole = f"a whole {kind[1:].upper()}"
            raise _refused("a damaged file, or another format", whole) from error
        return _cleaned(vertices, faces)


def _by_trimesh(content: bytes, kind: str) -> tuple[Floats, NDArray[np.int64]]:
    import trimesh

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        loaded = trimesh.load_mesh(io.BytesIO(content), file_type=kind[1:], process=False)
    meshes: Iterable[Any] = getattr(loaded, "geometry", {"mesh": loaded}).values()
    vertices: list[Floats] = []
    faces: list[NDArray[np.int64]] = []
    count = 0
    for mesh in meshes:
        vertices.append(np.asarray(mesh.vertices, dtype=np.float64))
        faces.append(np.asarray(mesh.faces, dtype=np.int64) + count)
        count += len(vertices[-1])
    return np.concatenate(vertices), np.concatenate(faces)


def _cleaned(vertices: Floats, faces: NDArray[np.int64]) -> MeshFile:
    if not len(faces):
        raise _refused("no triangles", "a triangle surface")
    if len(faces) > MOST_TRIANGLES:
        raise _refused(f"{len(faces)} triangles", f"at most {MOST_TRIANGLES}")
    if not np.isfinite(vertices).all():
        raise _refused("coordinates that are not finite", "finite coordinates")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise _refused("triangles of corners that are not there", "a whole mesh")
    # An STL has three corners a triangle: those in one place are one.
    places, joined = np.unique(vertices, axis=0, return_inverse=True)
    faces = joined.reshape(-1)[faces]
    flat = (
        (faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2]) | (faces[:, 2] == faces[:, 0])
    )
    faces = faces[~flat]
    used, compact = np.unique(faces, return_inverse=True)
    return MeshFile(vertices=places[used], faces=compact.reshape(-1, 3).astype(np.int32))


def _refused(found: str, needed: str) -> SurfaceError:
    return SurfaceError(
        "cannot read the mesh",
        found=found,
        needed=needed,
        next_step="Export it again from where it was made.",
        field="file",
    )
