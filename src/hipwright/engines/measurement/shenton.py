"""The Shenton line: whether the neck's arc runs on into that of the pelvis."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.geometry.circles import fit_circles
from hipwright.engines.measurement.construction import measures

Floats = NDArray[np.float64]

FEWEST_POINTS = 3


@measures("shenton_step")
def shenton_step(neck_arc: Floats, obturator_arc: Floats) -> Floats:
    """Step in the Shenton line.

    A circle goes through the upper outline of the obturator foramen; the step
    is the distance of the neck's end of the line from that circle.

    Parameters
    ----------
    neck_arc
        Lower outline of the neck, (..., a, 2), either way.
    obturator_arc
        Upper outline of the obturator foramen, (..., b, 2), three or more points.

    Returns
    -------
    The unit of the plane, positive when the femur stands higher; NaN where the foramen's
    outline holds no circle that is open downward.

    Examples
    --------
    >>> import numpy as np
    >>> from hipwright.domain.frames import FilmContour, film_hip_point
    >>> def arc(radius, *degrees):
    ...     return FilmContour(points=tuple(
    ...         film_hip_point(lateral=radius * np.sin(t), superior=radius * np.cos(t))
    ...         for t in np.radians(degrees)))
    >>> print(shenton_step(arc(33, 60, 40, 20), arc(30, 0, -30, -60)))
    3.0 mm
    """
    if obturator_arc.shape[-2] < FEWEST_POINTS:
        return np.full(obturator_arc.shape[:-2], np.nan)
    center, radius = fit_circles(obturator_arc)
    arms = neck_arc - center[..., None, :]
    foramen = obturator_arc.mean(axis=-2)
    ends = neck_arc[..., [0, -1], :] - foramen[..., None, :]
    nearest = np.hypot(ends[..., 0], ends[..., 1]).argmin(axis=-1)
    end = np.where(nearest[..., None] == 0, arms[..., 0, :], arms[..., -1, :])
    step = np.hypot(end[..., 0], end[..., 1]) - radius
    return np.where(foramen[..., 1] > center[..., 1], step, np.nan)
