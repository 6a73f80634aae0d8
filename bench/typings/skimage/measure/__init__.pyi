# The part of scikit-image's measure that the strictly typed rooms use; the rest stays open.
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

def marching_cubes(
    volume: npt.NDArray[Any],
    level: float | None = None,
    *,
    spacing: tuple[float, float, float] = ...,
    gradient_direction: Literal["descent", "ascent"] = ...,
    step_size: int = ...,
    allow_degenerate: bool = ...,
    method: Literal["lewiner", "lorensen"] = ...,
    mask: npt.NDArray[np.bool_] | None = None,
) -> tuple[
    npt.NDArray[np.float32],
    npt.NDArray[np.int32],
    npt.NDArray[np.float32],
    npt.NDArray[np.float32],
]: ...
def find_contours(
    image: npt.NDArray[Any],
    level: float | None = None,
    fully_connected: Literal["low", "high"] = ...,
    positive_orientation: Literal["low", "high"] = ...,
    *,
    mask: npt.NDArray[np.bool_] | None = None,
) -> list[npt.NDArray[np.float64]]: ...
def __getattr__(name: str) -> Any: ...
