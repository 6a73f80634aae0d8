"""The Shenton line: whether the neck's arc runs on into that of the pelvis."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.geometry.circles import fit_shifted_arcs
from hipwright.engines.measurement.construction import measures

Floats = NDArray[np.float64]

FEWEST_POINTS = 3


@measures("shenton_step")
def shenton_step(neck_arc: Floats, obturator_arc: Floats) -> Floats:
    """Step in the Shenton line.

    One circle goes through both parts of the line once the neck's part is moved down by
    the step: center, radius and step are those that fit all points best.

    Parameters
    ----------
    neck_arc
        Lower outline of the neck, (..., a, 2), either way, three or more points.
    obturator_arc
        Upper outline of the obturator foramen, (..., b, 2), either way, three or more points.

    Returns
    -------
    The unit of the plane, positive when the femur stands higher; NaN where the two
    parts make no arc that is open downward.

    Notes
    -----
    A circle through the pelvic part alone, continued to the neck, is what first comes to
    mind. That part is short and nearly straight, and across the gap the doubt of its
    curvature became millimeters. The slope of the neck's part settles it.

    Examples
    --------
    >>> import numpy as np
    >>> from hipwright.domain.frames import FilmContour, film_hip_point
    >>> def arc(higher, *degrees):
    ...     return FilmContour(points=tuple(
    ...         film_hip_point(lateral=30 * np.sin(t), superior=30 * np.cos(t) + higher)
    ...         for t in np.radians(degrees)))
    >>> print(shenton_step(arc(3, 60, 40, 20), arc(0, 0, -30, -60)))
    3.0 mm
    """
    if min(neck_arc.shape[-2], obturator_arc.shape[-2]) < FEWEST_POINTS:
        return np.full(obturator_arc.shape[:-2], np.nan)
    center, step = fit_shifted_arcs(obturator_arc, neck_arc)
    pelvic = obturator_arc[..., 1].mean(axis=-1) > center[..., 1]
    femoral = neck_arc[..., 1].mean(axis=-1) - step > center[..., 1]
    return np.where(pelvic & femoral, step, np.nan)
