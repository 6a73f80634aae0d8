"""Points and curves of a built femur."""

import numpy as np
from numpy.typing import NDArray

from hipwright.phantoms.femur_building import BuiltFemur
from hipwright.phantoms.implicit import sample
from hipwright.phantoms.person_truth import PartTruth

Floats = NDArray[np.float64]

DEPARTURE_HOURS = np.arange(0.0, 12.0, 0.5)
DEPARTURES_MM = (0.5, 1.0, 1.2, 2.0, 3.0)
_ANGLES_DEG = np.arange(120.0, 24.0, -0.5)
_FIRST_DEG = 110.0
_LAST_DEG = 30.0
_CLOSEST_MM = -2.5
_FARTHEST_MM = 9.0
_RADIAL_MM = 0.05


def contours(femur: BuiltFemur) -> tuple[Floats, Floats]:
    """Return how far the bone stands over the sphere, and where.

    Returns
    -------
    tuple of arrays
        Heights in mm, shape ``(hours, angles)``, and the points, ``(hours, angles, 3)``.
    """
    radius = femur.form.radius
    reach = np.arange(radius + _CLOSEST_MM, radius + _FARTHEST_MM, _RADIAL_MM)
    hours, angles = np.meshgrid(DEPARTURE_HOURS, np.radians(_ANGLES_DEG), indexing="ij")
    directions = femur.form.clock.direction(angles, hours)
    values = sample(femur.field, femur.grid, directions[:, :, None, :] * reach[:, None])
    outside = values >= 0.0
    first = outside.argmax(axis=2)
    first = np.where(outside.any(axis=2), np.maximum(first, 1), len(reach) - 1)
    rows, columns = np.indices(first.shape)
    low, high = values[rows, columns, first - 1], values[rows, columns, first]
    share = np.clip(-low / np.where(high == low, 1.0, high - low), 0.0, 1.0)
    at = reach[first - 1] + share * _RADIAL_MM
    return at - radius, directions * at[..., None]


def departures(height: Floats, departure_mm: float) -> Floats:
    """Return by the hour where the contour leaves the sphere, degrees; NaN where it does not."""
    found = np.full(len(height), np.nan)
    for hour, row in enumerate(height):
        left = np.flatnonzero((row > departure_mm) & (_ANGLES_DEG <= _FIRST_DEG))
        if not len(left):
            continue
        k = int(left[0])
        share = (
            (departure_mm - row[k - 1]) / (row[k] - row[k - 1])
            if row[k - 1] < departure_mm
            else 0.0
        )
        angle = _ANGLES_DEG[k - 1] + share * (_ANGLES_DEG[k] - _ANGLES_DEG[k - 1])
        found[hour] = angle if angle >= _LAST_DEG else np.nan
    return found


def femoral_truth(femur: BuiltFemur) -> tuple[PartTruth, dict[float, Floats]]:
    """Return points and curves of a femur (head center at the origin), and its departures."""
    axes, radius = femur.axes, femur.form.radius
    points = femur.model_vertices
    height, contour = contours(femur)
    upper = points[
        (points[:, 2] > -2.2 * radius) & (points[:, 0] > axes.isthmus[0] + 0.4 * radius)
    ]
    zone = points[(points[:, 2] < -1.6 * radius) & (points[:, 2] > -3.6 * radius)]
    from_shaft = zone - axes.shaft_point
    from_shaft -= (from_shaft @ axes.shaft)[:, None] * axes.shaft
    lesser = zone[(np.linalg.norm(from_shaft, axis=1) * (from_shaft[:, 0] < 0.0)).argmax()]
    below = lesser[2] - 12.0
    shaft = {
        name: axes.shaft_point + axes.shaft * ((level - axes.shaft_point[2]) / axes.shaft[2])
        for name, level in (
            ("femoral_shaft_proximal", below),
            ("femoral_shaft_distal", below - 75.0),
        )
    }
    truth = PartTruth(
        points=shaft
        | {
            "femoral_head_center": np.zeros(3),
            "neck_isthmus": axes.isthmus,
            "greater_trochanter_tip": upper[upper[:, 2].argmax()],
            "lesser_trochanter": lesser,
        },
        curves={
            f"head_neck_contour.{hour:g}": line
            for hour, line in zip(DEPARTURE_HOURS, contour, strict=True)
        },
    )
    return truth, {d: departures(height, d) for d in DEPARTURES_MM}
