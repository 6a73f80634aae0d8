"""Indices of how the pelvis stood before the film."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.measurement.construction import Circles, measures

Floats = NDArray[np.float64]


@measures("pelvic_tilt.coccyx_symphysis", "pelvic_tilt.sacrococcygeal_symphysis")
def height_over_symphysis(landmark: Floats, symphysis: Floats) -> Floats:
    """Height of the coccyx, or of the sacrococcygeal joint, over the symphysis.

    Parameters
    ----------
    landmark
        Tip of the coccyx or middle of the sacrococcygeal joint, (..., 2), leveled.
    symphysis
        Upper edge of the symphysis, (..., 2).

    Returns
    -------
    The unit of the plane; it grows as the pelvis tilts forward.

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> symphysis = film_hip_point(lateral=0, superior=-50)
    >>> print(height_over_symphysis(film_hip_point(lateral=2, superior=-30), symphysis))
    20.0 mm
    """
    return landmark[..., 1] - symphysis[..., 1]


@measures("pelvic_rotation.coccyx_offset", "pelvic_rotation.sacrum_offset")
def offset_from_symphysis(landmark: Floats, symphysis: Floats) -> Floats:
    """How far the coccyx, or the sacrum, lies to the patient's left of the symphysis.

    Parameters
    ----------
    landmark
        Tip of the coccyx or middle of the sacrum, (..., 2), leveled, u to the patient's left.
    symphysis
        Upper edge of the symphysis, (..., 2).

    Returns
    -------
    The unit of the plane.

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> symphysis = film_hip_point(lateral=0, superior=-50)
    >>> print(offset_from_symphysis(film_hip_point(lateral=2, superior=-30), symphysis))
    2.0 mm
    """
    return landmark[..., 0] - symphysis[..., 0]


@measures("pelvic_rotation.obturator_index")
def obturator_index(
    right_medial: Floats, right_lateral: Floats, left_medial: Floats, left_lateral: Floats
) -> Floats:
    """Obturator index: width of the right foramen over width of the left one.

    Parameters
    ----------
    right_medial, right_lateral, left_medial, left_lateral
        Edges of the two foramina, (..., 2), leveled.

    Returns
    -------
    A ratio, 1 without rotation; NaN where the left foramen has no width.

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> edges = [film_hip_point(lateral=x, superior=-60) for x in (-20, -47, 20, 50)]
    >>> print(f"{obturator_index(*edges):.1f}")
    0.9
    """
    right = np.abs(right_lateral[..., 0] - right_medial[..., 0])
    left = np.abs(left_lateral[..., 0] - left_medial[..., 0])
    return np.where(left > 0, right / left, np.nan)


@measures("false_profile_rotation")
def false_profile_rotation(
    right_head: Circles, left_head: Circles, *, inter_head_distance_mm: Floats | float
) -> Floats:
    """Turn of the pelvis on a false profile, from the distance of the two heads.

    Parameters
    ----------
    right_head, left_head
        Circles of the two heads, centers (..., 2).
    inter_head_distance_mm
        Their distance in space (catalog).

    Returns
    -------
    Degrees: 0 on a frontal film, 90 on a pure lateral; NaN where they are too far apart.

    Notes
    -----
    ``acos(separation / distance)``: at 65° and 175 mm the separation is 74.0 mm (reference
    check T11, computed). The head that lies farther from the detector is enlarged more, and
    so is its distance from the examined head, on which the beam is centered: the separation is
    brought to the scale of the examined head by the ratio of the two radii, as heads of one
    person are of one size.

    Examples
    --------
    >>> from hipwright.domain.frames import FilmCircle, film_hip_point
    >>> right, left = (
    ...     FilmCircle(center=film_hip_point(lateral=x, superior=0), radius=24) for x in (0, 73.96)
    ... )
    >>> print(false_profile_rotation(right, left))
    65.0°
    """
    separation = np.abs(right_head.center[..., 0] - left_head.center[..., 0])
    smaller = np.minimum(right_head.radius, left_head.radius)
    larger = np.maximum(right_head.radius, left_head.radius)
    share = separation * smaller / larger / inter_head_distance_mm
    return np.degrees(np.arccos(np.where(share <= 1, share, np.nan)))
