"""A film made from a CT: lengths of water that a divergent beam would have to pass.

Rays go through the voxels as they lie, turned or sheared. Along its main direction a ray is
sampled once a layer of voxels, between the voxels of the layer bilinearly (Joseph,
IEEE Trans Med Imaging 1982;1:192 [memory]), so the picture has no steps of voxels.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.domain.volume import Volume
from hipwright.engines.imaging.film_beam import FilmBeam

Floats = NDArray[np.float64]
Films = NDArray[np.float32]

_LOWEST_HU = -1024
_WATER_HU = 1000.0


def water_share(hu: Floats) -> Floats:
    """Attenuation as a share of water's: the definition of the Hounsfield unit, not below air."""
    return np.maximum(1.0 + np.asarray(hu, dtype=np.float64) / _WATER_HU, 0.0)


def attenuation_table() -> NDArray[np.float32]:
    """:func:`water_share` of every int16 value, index 0 for the lowest."""
    return water_share(np.arange(-(2**15), 2**15, dtype=np.float64)).astype(np.float32)


def simulate_film(volume: Volume, beam: FilmBeam, *, rows: tuple[int, int] | None = None) -> Films:
    """Sum attenuation along the ray of every pixel.

    Parameters
    ----------
    volume
        A CT in HU.
    beam
        Source and detector in the ``patient_lps`` of the volume.
    rows
        First row and the one after the last, where only a part is wanted.

    Returns
    -------
    Millimeters of water, shape (rows, columns), float32. What lies outside the scan counts
    as nothing: a ray that leaves at its top or bottom is too light there.
    """
    start, stop = rows or (0, beam.rows)
    picture = np.zeros((stop - start, beam.columns), dtype=np.float32)
    grid = volume.grid
    to_index = np.linalg.inv(grid.steps_mm)
    source = np.ascontiguousarray((beam.source_mm - grid.origin_mm) @ to_index)
    first = (beam.first_pixel_mm + start * beam.row_step_mm - grid.origin_mm) @ to_index
    lengths_mm = beam.ray_lengths_mm()[start:stop]
    _sum_along_rays(
        picture,
        volume.values,
        attenuation_table(),
        source,
        np.ascontiguousarray(first),
        np.ascontiguousarray(beam.column_step_mm @ to_index),
        np.ascontiguousarray(beam.row_step_mm @ to_index),
        lengths_mm,
    )
    return picture


@njit(cache=True, nogil=True)
def _sum_along_rays(  # noqa: C901 (a walk in one piece, as compiled code is)
    picture: Films,
    values: NDArray[np.int16],
    table: NDArray[np.float32],
    source: Floats,
    first: Floats,
    column: Floats,
    row: Floats,
    lengths_mm: Floats,
) -> None:
    depth, height, width = values.shape
    sizes = (depth, height, width)
    for r in range(picture.shape[0]):
        for c in range(picture.shape[1]):
            d0 = first[0] + r * row[0] + c * column[0] - source[0]
            d1 = first[1] + r * row[1] + c * column[1] - source[1]
            d2 = first[2] + r * row[2] + c * column[2] - source[2]
            way = (d0, d1, d2)
            main = 0
            if abs(d1) > abs(way[main]):
                main = 1
            if abs(d2) > abs(way[main]):
                main = 2
            one = 1 if main == 0 else 0
            two = 3 - main - one
            if way[main] == 0.0:
                continue
            slope_one, slope_two = way[one] / way[main], way[two] / way[main]
            low, high = 0, sizes[main] - 1
            # the source may lie inside: only layers between it and the detector count
            if way[main] > 0:
                low = max(low, int(np.ceil(source[main])))
                high = min(high, int(np.floor(source[main] + way[main])))
            else:
                high = min(high, int(np.floor(source[main])))
                low = max(low, int(np.ceil(source[main] + way[main])))
            total = 0.0
            for layer in range(low, high + 1):
                at = layer - source[main]
                x = source[one] + slope_one * at
                y = source[two] + slope_two * at
                i, j = int(np.floor(x)), int(np.floor(y))
                if i < 0 or j < 0 or i + 1 >= sizes[one] or j + 1 >= sizes[two]:
                    continue
                u, v = x - i, y - j
                if main == 0:
                    a, b = values[layer, i, j], values[layer, i, j + 1]
                    e, f = values[layer, i + 1, j], values[layer, i + 1, j + 1]
                elif main == 1:
                    a, b = values[i, layer, j], values[i, layer, j + 1]
                    e, f = values[i + 1, layer, j], values[i + 1, layer, j + 1]
                else:
                    a, b = values[i, j, layer], values[i, j + 1, layer]
                    e, f = values[i + 1, j, layer], values[i + 1, j + 1, layer]
                near = (1 - v) * table[np.int64(a) + 32768] + v * table[np.int64(b) + 32768]
                far = (1 - v) * table[np.int64(e) + 32768] + v * table[np.int64(f) + 32768]
                total += (1 - u) * near + u * far
            picture[r, c] = total * lengths_mm[r, c] / abs(way[main])
