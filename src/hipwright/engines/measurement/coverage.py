"""How much of the head the roof leaves uncovered."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.measurement.construction import Circles, measures

Floats = NDArray[np.float64]


@measures("extrusion_index")
def extrusion_index(head: Circles, rim: Floats) -> Floats:
    """Extrusion index: share of the head's width that is lateral to the rim.

    Parameters
    ----------
    head
        Circle of the round part of the head.
    rim
        Most lateral point of the bony roof, (..., 2).

    Returns
    -------
    Percent of the head's diameter; negative when the rim reaches beyond the head.

    Notes
    -----
    For an edge at the joint's own radius, ``EI = (1 − k·sin LCEA)/2`` with k the
    edge's distance over the head's radius (reference check T1, computed).

    Examples
    --------
    >>> from hipwright.domain.frames import FilmCircle, film_hip_point
    >>> head = FilmCircle(center=film_hip_point(lateral=0, superior=0), radius=24)
    >>> f"{extrusion_index(head, film_hip_point(lateral=12, superior=22)):.1f} %"
    '25.0 %'
    """
    lateral_end = head.center[..., 0] + head.radius
    return 100 * (lateral_end - rim[..., 0]) / (2 * head.radius)
