"""Where the head and the socket's floor stand against the medial wall."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.geometry.polylines import across_at_height
from hipwright.engines.measurement.construction import Circles, measures

Floats = NDArray[np.float64]


def _edge_to_line(head: Circles, line: Floats) -> Floats:
    return head.center[..., 0] - head.radius - across_at_height(line, head.center[..., 1])


@measures("head_lateralization")
def head_lateralization(head: Circles, ilioischial_line: Floats) -> Floats:
    """Lateralization: from the ilioischial line to the medial edge of the head.

    Parameters
    ----------
    head
        Circle of the round part of the head.
    ilioischial_line
        (..., m, 2).

    Returns
    -------
    The unit of the plane, NaN where the line is not drawn at the height of the center.

    Examples
    --------
    >>> from hipwright.domain.frames import FilmCircle, FilmContour, film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> line = FilmContour(points=(at(-32, 30), at(-32, -30)))
    >>> print(head_lateralization(FilmCircle(center=at(0, 0), radius=24), line))
    8.0 mm
    """
    return _edge_to_line(head, ilioischial_line)


@measures("protrusio")
def protrusio(head: Circles, ilioischial_line: Floats) -> Floats:
    """Protrusio: how far the head reaches medial to the ilioischial line.

    Parameters
    ----------
    head, ilioischial_line
        As for :data:`head_lateralization`, whose negative it is: the sign has a class.

    Returns
    -------
    The unit of the plane, zero or positive (present) when the head touches or crosses.

    Examples
    --------
    >>> from hipwright.domain.frames import FilmCircle, FilmContour, film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> line = FilmContour(points=(at(-22, 30), at(-22, -30)))
    >>> print(protrusio(FilmCircle(center=at(0, 0), radius=24), line))
    2.0 mm
    """
    return -_edge_to_line(head, ilioischial_line)


@measures("coxa_profunda")
def coxa_profunda(fossa_floor: Floats, ilioischial_line: Floats) -> Floats:
    """Coxa profunda: how far the floor of the fossa reaches medial to the ilioischial line.

    Parameters
    ----------
    fossa_floor, ilioischial_line
        (..., a, 2) and (..., b, 2).

    Returns
    -------
    The unit of the plane where the floor reaches farthest, zero or positive (present) when
    it touches or crosses; NaN where the two have no height in common.

    Examples
    --------
    >>> from hipwright.domain.frames import FilmContour, film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> floor = FilmContour(points=(at(-28, 10), at(-33, 0), at(-28, -10)))
    >>> line = FilmContour(points=(at(-32, 30), at(-32, -30)))
    >>> print(coxa_profunda(floor, line))
    1.0 mm
    """
    at_floor = _at_heights_of(fossa_floor, ilioischial_line) - fossa_floor[..., 0]
    at_line = ilioischial_line[..., 0] - _at_heights_of(ilioischial_line, fossa_floor)
    reach = np.concatenate([at_floor, at_line], axis=-1)
    return np.fmax.reduce(reach, axis=-1)


def _at_heights_of(vertices: Floats, outline: Floats) -> Floats:
    """First coordinate of an outline at the height of each vertex of another, (..., a)."""
    return across_at_height(outline[..., None, :, :], vertices[..., 1])
