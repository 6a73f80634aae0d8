"""How much of the femoral head's sphere lies inside the rim."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.anatomy.socket_clock import polar
from hipwright.engines.measurement.space_acetabulum import socket_of
from hipwright.engines.measurement.space_construction import measures_in_space
from hipwright.engines.measurement.space_curves import bridged

Floats = NDArray[np.float64]

_FINE = 720
_QUARTER = _FINE // 4


def covered_share(hip: HipInSpace) -> Floats:
    """Share of each thin sector of the head's sphere that lies inside the rim, (..., 720).

    A sector between two half planes through the socket's axis is covered from the inward
    pole out to the rim: (1 − cos of that angle) / 2 of its sphere's part. The rim is seen
    from the head's center, and carried across the notch.
    """
    socket = socket_of(hip)
    _, angle, hours = polar(socket.rim, socket.head_center, socket.opening)
    wanted = np.arange(0.5, _FINE) * (12.0 / _FINE)
    return (1.0 - np.cos(bridged(hours, angle, wanted))) / 2.0


@measures_in_space("head_coverage.total")
def total_coverage(hip: HipInSpace) -> Floats:
    """Percent of the whole sphere."""
    return 100.0 * covered_share(hip).mean(axis=-1)


def _quarter(hip: HipInSpace, number: int) -> Floats:
    part = slice(number * _QUARTER, (number + 1) * _QUARTER)
    return 100.0 * covered_share(hip)[..., part].mean(axis=-1)


@measures_in_space("head_coverage.anterosuperior")
def anterosuperior_coverage(hip: HipInSpace) -> Floats:
    """Percent of the quarter of the sphere from 12 to 3 o'clock."""
    return _quarter(hip, 0)


@measures_in_space("head_coverage.anteroinferior")
def anteroinferior_coverage(hip: HipInSpace) -> Floats:
    """Percent of the quarter of the sphere from 3 to 6 o'clock."""
    return _quarter(hip, 1)


@measures_in_space("head_coverage.posteroinferior")
def posteroinferior_coverage(hip: HipInSpace) -> Floats:
    """Percent of the quarter of the sphere from 6 to 9 o'clock."""
    return _quarter(hip, 2)


@measures_in_space("head_coverage.posterosuperior")
def posterosuperior_coverage(hip: HipInSpace) -> Floats:
    """Percent of the quarter of the sphere from 9 to 12 o'clock."""
    return _quarter(hip, 3)
