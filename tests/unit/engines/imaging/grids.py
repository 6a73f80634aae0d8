"""Grids and volumes as scanners make them: plain, reversed, turned, sheared, anisotropic."""

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.volume import LabelVolume, Volume, VolumeGrid


def turned(axis: int, degrees: float) -> NDArray[np.float64]:
    """Rotate about an axis of the patient."""
    a, b = (k for k in range(3) if k != axis)
    turn, t = np.eye(3), np.radians(degrees)
    turn[a, a] = turn[b, b] = np.cos(t)
    turn[a, b], turn[b, a] = -np.sin(t), np.sin(t)
    return turn


HEAD_FIRST = np.array([[0.0, 0.0, 2.0], [0.0, 0.8, 0.0], [0.8, 0.0, 0.0]])
"""Slices upward, rows backward, columns leftward: anisotropic."""

GRIDS = {
    "head first": HEAD_FIRST,
    "from above downward": HEAD_FIRST * [[-1.0], [1.0], [1.0]],
    "face down, feet first": HEAD_FIRST * [[-1.0], [-1.0], [1.0]],
    "coronal slices": np.array([[0.0, 3.0, 0.0], [0.0, 0.0, -0.7], [0.7, 0.0, 0.0]]),
    "sagittal slices": np.array([[-3.5, 0.0, 0.0], [0.0, 0.0, -0.6], [0.0, 0.6, 0.0]]),
    "turned by 9 degrees": HEAD_FIRST @ turned(1, 9.0).T,
    "tilted gantry": np.vstack([HEAD_FIRST[:1], HEAD_FIRST[1:] @ turned(0, 14.0).T]),
}


def grid_of(name: str, shape: tuple[int, int, int] = (11, 13, 17)) -> VolumeGrid:
    return VolumeGrid(
        shape=shape,
        origin_mm=np.array([-31.0, 12.0, -140.0]),
        steps_mm=GRIDS[name],
        fixed_to="frame-1",
    )


def ramp(grid: VolumeGrid, gradient: tuple[float, float, float] = (7.0, -11.0, 5.0)) -> Volume:
    """Values that grow evenly in the patient: what a place holds follows from where it is."""
    places = grid.to_mm(np.indices(grid.shape, dtype=np.float64).transpose(1, 2, 3, 0))
    return Volume(values=np.rint(places @ np.array(gradient)).astype(np.int16), grid=grid)


def labels_of(grid: VolumeGrid, seed: int = 3) -> LabelVolume:
    codes = np.random.default_rng(seed).integers(0, 5, grid.shape).astype(np.uint8)
    return LabelVolume(codes=codes, grid=grid)
