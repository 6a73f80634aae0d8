"""A divergent X-ray beam: where a point of the body lands on the detector.

All positions are in one right-handed frame in millimeters, by default
``patient_lps`` (+x left, +y posterior, +z superior). Detector coordinates are
pixels, column right and row down, with the center of the first pixel at
(0, 0); they are the ``film_px`` frame.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_UNIT_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Beam:
    """A point source and a flat detector, fixed in the frame of the body.

    Parameters
    ----------
    source_mm
        Focal spot, shape (3,).
    first_pixel_mm
        Center of the pixel in column 0 and row 0, shape (3,).
    column_axis, row_axis
        Unit vectors of growing column and growing row, shape (3,), at right
        angles to each other. Their cross product points away from the source,
        so a film is never mirrored.
    pixel_mm
        Detector pixel pitch (DICOM Imager Pixel Spacing), the same both ways.
    columns, rows
        Detector size in pixels.

    Raises
    ------
    ValueError
        The axes are not an orthonormal pair, the pitch or the size is not
        positive, or the source does not lie in front of the detector.
    """

    source_mm: Array
    first_pixel_mm: Array
    column_axis: Array
    row_axis: Array
    pixel_mm: float
    columns: int
    rows: int

    def __post_init__(self) -> None:
        for name in ("source_mm", "first_pixel_mm", "column_axis", "row_axis"):
            value = np.array(getattr(self, name), dtype=np.float64).reshape(3)
            value.flags.writeable = False
            object.__setattr__(self, name, value)
        gram = np.array(
            [
                self.column_axis @ self.column_axis,
                self.row_axis @ self.row_axis,
                self.column_axis @ self.row_axis,
            ]
        )
        if np.abs(gram - (1.0, 1.0, 0.0)).max() > _UNIT_TOLERANCE:
            message = (
                "cannot set up a beam: column_axis and row_axis must be unit vectors at right "
                f"angles, but their products are {gram.tolist()}. Normalize them first."
            )
            raise ValueError(message)
        if self.pixel_mm <= 0 or self.columns < 1 or self.rows < 1:
            message = (
                f"cannot set up a beam: a detector of {self.columns} x {self.rows} pixels of "
                f"{self.pixel_mm} mm has no area. Give positive sizes."
            )
            raise ValueError(message)
        if self.source_detector_mm <= 0:
            message = (
                "cannot set up a beam: the source lies "
                f"{self.source_detector_mm:.1f} mm in front of the detector, needed is more than "
                "0 mm. Swap the axes: column x row must point away from the source."
            )
            raise ValueError(message)

    @property
    def direction(self) -> Array:
        """Unit vector of the central ray, from the source to the detector."""
        return np.cross(self.column_axis, self.row_axis)

    @property
    def source_detector_mm(self) -> float:
        """Distance from the source to the detector plane."""
        return float(self.direction @ (self.first_pixel_mm - self.source_mm))

    def camera(self, points_mm: Array) -> Array:
        """Give columns, rows (px) and depth from the source (mm), shape (n, 3).

        Raises
        ------
        ValueError
            A point lies at or behind the source.
        """
        offset = np.atleast_2d(np.asarray(points_mm, dtype=np.float64)) - self.source_mm
        depth = offset @ self.direction
        if depth.size and depth.min() <= 0:
            message = (
                f"cannot project a point {depth.min():.1f} mm in front of the source: it lies "
                "behind it. Move the source farther away or the body closer to the detector."
            )
            raise ValueError(message)
        scale = self.source_detector_mm / depth
        start = self.first_pixel_mm - self.source_mm
        column = (scale * (offset @ self.column_axis) - start @ self.column_axis) / self.pixel_mm
        row = (scale * (offset @ self.row_axis) - start @ self.row_axis) / self.pixel_mm
        return np.column_stack([column, row, depth])

    def project(self, points_mm: Array) -> Array:
        """Give (column, row) in pixels for points in the body, shape (n, 2)."""
        return self.camera(points_mm)[:, :2]

    def pixel_position_mm(self, pixels: Array) -> Array:
        """Give the place of (column, row) pixels in the body frame, shape (n, 3)."""
        pixels = np.atleast_2d(np.asarray(pixels, dtype=np.float64))
        return (
            self.first_pixel_mm
            + pixels[:, :1] * self.pixel_mm * self.column_axis
            + pixels[:, 1:] * self.pixel_mm * self.row_axis
        )

    def magnification(self, point_mm: Array) -> float:
        """Give M = SDD / (SDD - OID) in the plane of a point parallel to the detector."""
        depth = self.camera(np.asarray(point_mm).reshape(1, 3))[0, 2]
        return float(self.source_detector_mm / depth)

    def ray_norms(self) -> Array:
        """Give the source-to-pixel distance in mm for every pixel, shape (rows, columns)."""
        start = self.first_pixel_mm - self.source_mm
        across = start @ self.column_axis + self.pixel_mm * np.arange(self.columns)
        down = start @ self.row_axis + self.pixel_mm * np.arange(self.rows)
        return np.sqrt(self.source_detector_mm**2 + across[None, :] ** 2 + down[:, None] ** 2)


def beam_through(
    *,
    center_mm: Array,
    subject_mm: Array,
    direction: Array,
    up: Array,
    source_detector_mm: float,
    object_detector_mm: float,
    pixel_mm: float,
    columns: int,
    rows: int,
) -> Beam:
    """Set up a beam whose central ray passes through a point of the body.

    Parameters
    ----------
    center_mm
        The point on the central ray, which falls on the middle of the detector.
    subject_mm
        The point whose distance to the detector is ``object_detector_mm``.
    direction
        From the source to the detector; need not be a unit vector.
    up
        Towards the upper edge of the film; made perpendicular to the direction.
    source_detector_mm, object_detector_mm
        SDD and OID; the magnification at the subject is SDD / (SDD - OID).
    pixel_mm, columns, rows
        Detector pitch and size.

    Raises
    ------
    ValueError
        The object lies at or behind the source.
    """
    if not 0 <= object_detector_mm < source_detector_mm:
        message = (
            f"cannot set up a beam: the object lies {object_detector_mm} mm before a detector "
            f"that is {source_detector_mm} mm from the source; needed is 0 <= OID < SDD."
        )
        raise ValueError(message)
    ahead = np.asarray(direction, dtype=np.float64)
    ahead = ahead / np.linalg.norm(ahead)
    upward = np.asarray(up, dtype=np.float64)
    upward = upward - (upward @ ahead) * ahead
    upward = upward / np.linalg.norm(upward)
    right = np.cross(-upward, ahead)
    center = np.asarray(center_mm, dtype=np.float64)
    to_detector = ahead @ (np.asarray(subject_mm) - center) + object_detector_mm
    middle = center + to_detector * ahead
    return Beam(
        source_mm=middle - source_detector_mm * ahead,
        first_pixel_mm=middle
        - right * pixel_mm * (columns - 1) / 2
        + upward * pixel_mm * (rows - 1) / 2,
        column_axis=right,
        row_axis=-upward,
        pixel_mm=pixel_mm,
        columns=columns,
        rows=rows,
    )
