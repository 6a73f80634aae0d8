"""Three ways of naming how a socket opens, and the ways between them.

The opening is (anterior, inferior, lateral) of a unit vector out of the socket. Radiographic,
operative and anatomical angles after Murray 1993; all in degrees, arrays of any shape.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def opening_parts(opening: Floats) -> tuple[Floats, Floats, Floats]:
    """Anterior, inferior and lateral part of canonical directions (..., 3)."""
    return opening[..., 1], -opening[..., 2], opening[..., 0]


def anatomical_deg(opening: Floats) -> tuple[Floats, Floats]:
    """Inclination (from straight down) and anteversion (in the axial plane), (...) each."""
    anterior, inferior, lateral = opening_parts(opening)
    inclination = np.arctan2(np.hypot(anterior, lateral), inferior)
    return np.degrees(inclination), np.degrees(np.arctan2(anterior, lateral))


def radiographic_deg(opening: Floats) -> tuple[Floats, Floats]:
    """Inclination (in the frontal plane) and anteversion (out of it), (...) each."""
    anterior, inferior, lateral = opening_parts(opening)
    out_of_plane = np.arctan2(anterior, np.hypot(inferior, lateral))
    return np.degrees(np.arctan2(lateral, inferior)), np.degrees(out_of_plane)


def operative_deg(opening: Floats) -> tuple[Floats, Floats]:
    """Inclination (out of the sagittal plane) and anteversion (in it), (...) each."""
    anterior, inferior, lateral = opening_parts(opening)
    out_of_plane = np.arctan2(lateral, np.hypot(anterior, inferior))
    return np.degrees(out_of_plane), np.degrees(np.arctan2(anterior, inferior))


def opening_from_anatomical(inclination_deg: Floats, anteversion_deg: Floats) -> Floats:
    """Canonical direction (..., 3) of anatomical angles."""
    inclination, anteversion = np.radians(inclination_deg), np.radians(anteversion_deg)
    return np.stack(
        [
            np.sin(inclination) * np.cos(anteversion),
            np.sin(inclination) * np.sin(anteversion),
            -np.cos(inclination),
        ],
        axis=-1,
    )


def opening_from_radiographic(inclination_deg: Floats, anteversion_deg: Floats) -> Floats:
    """Canonical direction (..., 3) of radiographic angles."""
    inclination, anteversion = np.radians(inclination_deg), np.radians(anteversion_deg)
    return np.stack(
        [
            np.cos(anteversion) * np.sin(inclination),
            np.sin(anteversion),
            -np.cos(anteversion) * np.cos(inclination),
        ],
        axis=-1,
    )


def opening_from_operative(inclination_deg: Floats, anteversion_deg: Floats) -> Floats:
    """Canonical direction (..., 3) of operative angles."""
    inclination, anteversion = np.radians(inclination_deg), np.radians(anteversion_deg)
    return np.stack(
        [
            np.sin(inclination),
            np.cos(inclination) * np.sin(anteversion),
            -np.cos(inclination) * np.cos(anteversion),
        ],
        axis=-1,
    )
