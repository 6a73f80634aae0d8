"""Read the shape model of lower limb bones from the installed package that carries it."""

import json
import pickle
from collections.abc import Callable
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from hipwright.phantoms.patches import Patch
from hipwright.phantoms.shape_model import ShapeModel

_ORDERS = {"quad44": (3, 3), "quad54": (4, 3), "quad55": (4, 4), "tri10": (3,), "tri15": (4,)}
_SIZES = {"quad44": 16, "quad54": 20, "quad55": 25, "tri10": 10, "tri15": 15}
_AXES = 3


class _ArraysOnly(pickle.Unpickler):
    """An unpickler that rebuilds numpy arrays and nothing else."""

    def find_class(self, module_name: str, global_name: str, /) -> Callable[..., Any]:
        """Return the three names an array needs; refuse any other."""
        module_name = module_name.replace("numpy.core", "numpy._core")
        if (module_name, global_name) == ("numpy._core.multiarray", "_reconstruct"):
            return _empty_array
        if (module_name, global_name) in {("numpy", "ndarray"), ("numpy", "dtype")}:
            return getattr(np, global_name)
        raise pickle.UnpicklingError(
            f"cannot read the shape model: its array file asks for {module_name}.{global_name}, "
            "but only numpy arrays were expected. Reinstall musculoskeletal-models."
        )


def _empty_array(kind: type, shape: tuple[int, ...], _code: bytes) -> NDArray[Any]:
    if kind is not np.ndarray:
        raise pickle.UnpicklingError("only plain numpy arrays can be read")
    return np.ndarray.__new__(np.ndarray, shape)


def read_arrays(stream: IO[bytes]) -> dict[str, Any]:
    """Read a pickled dictionary of numpy arrays, refusing everything that is not one.

    Raises
    ------
    pickle.UnpicklingError
        The file asks for anything but numpy arrays.
    """
    found = _ArraysOnly(stream).load()
    if not isinstance(found, dict):
        raise pickle.UnpicklingError(
            f"expected a dictionary of arrays, found {type(found).__name__}"
        )
    return found


def read_patches(text: str) -> tuple[Patch, ...]:
    """Read an element table and number its nodes in order of first use."""
    table = json.loads(text)
    ids: dict[tuple[int, int], int] = {}
    patches: list[Patch] = []
    fresh = 0
    for key, entry in sorted(table["elements"].items(), key=lambda item: int(item[0])):
        element, kind = int(key), entry.split()[1]
        for local in range(_SIZES[kind]):
            twins = (
                tuple(map(int, twin.split("_")))
                for twin in table["connectivity"].get(f"{element}_{local}", "").split()
            )
            known = next((ids[t[0], t[1]] for t in twins if (t[0], t[1]) in ids), None)
            ids[element, local] = fresh if known is None else known
            fresh += known is None
        nodes = tuple(ids[element, local] for local in range(_SIZES[kind]))
        patches.append(Patch(orders=_ORDERS[kind], nodes=nodes))
    if fresh != table["number_of_points"]:
        raise ValueError(
            f"the element table names {table['number_of_points']} points, {fresh} were found"
        )
    return tuple(patches)


@cache
def read_shape_model() -> ShapeModel:
    """Read pelvis and left femur of the installed package ``musculoskeletal-models``.

    Notes
    -----
    26 subjects, mm, +left +posterior +superior, license MPL-2.0; the data stay in
    their package.
    """
    root = files("musculoskeletal.models")
    meshes = root / "atlas_meshes"
    pelvis = read_patches((meshes / "pelvis_combined_cubic_flat.mesh").read_text("utf-8"))
    femur = read_patches((meshes / "femur_left_quartic_flat.mesh").read_text("utf-8"))
    arrays = _open_arrays(root / "shape_models" / "LLP26_rigid.pc")
    n_pelvis = 1 + max(node for patch in pelvis for node in patch.nodes)
    n_femur = 1 + max(node for patch in femur for node in patch.nodes)
    mean = _as_points(arrays["mean"])
    count = arrays["modes"].shape[1]
    modes = np.stack([_as_points(arrays["modes"][:, k]) for k in range(count)])
    keep = slice(0, n_pelvis + n_femur)
    return ShapeModel(
        mean=mean[keep],
        modes=modes[:, keep],
        variances=np.clip(arrays["weights"], 0.0, None),
        pelvis=pelvis,
        femur=femur,
        pelvis_nodes=n_pelvis,
    )


def _as_points(flat: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.ascontiguousarray(flat.reshape(_AXES, -1).T)


def _open_arrays(path: Traversable) -> dict[str, Any]:
    with path.open("rb") as stream:
        return read_arrays(stream)
