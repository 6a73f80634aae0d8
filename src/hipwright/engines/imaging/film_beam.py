"""Where source and detector of a film stand against a scanned patient.

All places are in ``patient_lps`` (+left +posterior +superior, mm) of the scan. A pelvis that
stands more tilted than it lay is not turned: the beam is turned the other way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import DegenerateGeometryError

Floats = NDArray[np.float64]

USUAL_SOURCE_DETECTOR_MM = 1150.0
"""Distance of source and detector of a pelvis film (common practice: 1.1 to 1.2 m)."""

USUAL_HEADS_DETECTOR_MM = 170.0
"""Distance of the heads' centers from the detector, table and tray between (judgment)."""

FALSE_PROFILE_TURN_DEG = 65.0
"""Turn of the pelvis against the detector on a false profile (Lequesne and de Sèze [memory])."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FilmBeam:
    """A point source and a flat detector.

    ``first_pixel_mm`` is the center of the pixel in column 0, row 0; the steps lead to the next
    column (to the right of the picture) and the next row (down), shape (3,) each.
    """

    source_mm: Floats
    first_pixel_mm: Floats
    column_step_mm: Floats
    row_step_mm: Floats
    columns: int
    rows: int

    def __post_init__(self) -> None:
        for name in ("source_mm", "first_pixel_mm", "column_step_mm", "row_step_mm"):
            value = np.array(getattr(self, name), dtype=np.float64)
            value.setflags(write=False)
            object.__setattr__(self, name, value)
        ahead = np.cross(self.column_step_mm, self.row_step_mm)
        depth = float(ahead @ (self.first_pixel_mm - self.source_mm))
        if self.columns < 1 or self.rows < 1 or not depth > 0:
            raise DegenerateGeometryError(
                "cannot set up the film",
                found=f"{self.columns} × {self.rows} pixels, {depth:.1f} before the source",
                needed="a detector with pixels that faces the source",
                next_step="Check the distance of source and detector.",
            )

    def project(self, points_mm: Floats) -> Floats:
        """Give (column, row) where points of the patient land, (..., 2)."""
        ahead = np.cross(self.column_step_mm, self.row_step_mm)
        offset = np.asarray(points_mm, dtype=np.float64) - self.source_mm
        start = self.first_pixel_mm - self.source_mm
        on_plane = offset * (float(ahead @ start) / (offset @ ahead))[..., None] - start
        steps = np.stack([self.column_step_mm, self.row_step_mm])
        return on_plane @ np.linalg.pinv(steps)

    def ray_lengths_mm(self) -> Floats:
        """Distance from the source to every pixel, (rows, columns)."""
        start = self.first_pixel_mm - self.source_mm
        across = start + np.arange(self.columns)[:, None] * self.column_step_mm
        down = np.arange(self.rows)[:, None] * self.row_step_mm
        return np.linalg.norm(across[None, :, :] + down[:, None, :], axis=-1)

    def thinned(self, step: int) -> FilmBeam:
        """The same film with pixels ``step`` times as large."""
        middle = (step - 1) / 2 * (self.column_step_mm + self.row_step_mm)
        return FilmBeam(
            source_mm=self.source_mm,
            first_pixel_mm=self.first_pixel_mm + middle,
            column_step_mm=step * self.column_step_mm,
            row_step_mm=step * self.row_step_mm,
            columns=max(1, self.columns // step),
            rows=max(1, self.rows // step),
        )


def film_directions(*, tilt_deg: float = 0.0, turn_deg: float = 0.0) -> tuple[Floats, Floats]:
    """Direction of the beam and of the upper edge of the film in the scan's ``patient_lps``.

    Parameters
    ----------
    tilt_deg
        How much further forward the pelvis is tilted on the film than in the scanner.
    turn_deg
        How far the patient is turned about the vertical: positive brings the left side
        toward the detector, 0 is an anteroposterior film.

    Returns
    -------
    Two unit vectors, shape (3,): from the source to the detector, and up.
    """
    tilt, turn = math.radians(tilt_deg), math.radians(turn_deg)
    # the patient turns about the film's vertical; seen by the patient the film turns back
    beam = np.array([math.sin(turn), math.cos(turn), 0.0])
    up = np.array([0.0, 0.0, 1.0])
    lean = np.array(
        [[1.0, 0.0, 0.0],
         [0.0, math.cos(tilt), math.sin(tilt)],
         [0.0, -math.sin(tilt), math.cos(tilt)]]
    )  # fmt: skip
    return lean @ beam, lean @ up


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmSize:
    """Pixels of the film and their size in the plane of the hip, mm."""

    columns: int
    rows: int
    hip_plane_mm: float
    source_detector_mm: float = USUAL_SOURCE_DETECTOR_MM
    heads_detector_mm: float = USUAL_HEADS_DETECTOR_MM

    @property
    def magnification(self) -> float:
        """Detector plane over hip plane."""
        return self.source_detector_mm / (self.source_detector_mm - self.heads_detector_mm)


def beam_at(
    place_mm: Floats, pixel: tuple[float, float], size: FilmSize, directions: tuple[Floats, Floats]
) -> FilmBeam:
    """Set the film up so that one place of the patient lands on one pixel.

    Parameters
    ----------
    place_mm
        The place, at the depth of the hip.
    pixel
        Column and row where it is to land.
    size
        Size and scale of the film. Its central ray falls on its middle.
    directions
        Of the beam, and up, from :func:`film_directions`.
    """
    ahead, up = directions
    right = np.cross(-up, ahead)
    middle = np.array([(size.columns - 1) / 2, (size.rows - 1) / 2])
    away = (np.asarray(pixel) - middle) * size.hip_plane_mm
    center = np.asarray(place_mm, dtype=np.float64) - away[0] * right + away[1] * up
    detector = center + size.heads_detector_mm * ahead
    step = size.hip_plane_mm * size.magnification
    return FilmBeam(
        source_mm=detector - size.source_detector_mm * ahead,
        first_pixel_mm=detector - step * (middle[0] * right - middle[1] * up),
        column_step_mm=step * right,
        row_step_mm=-step * up,
        columns=size.columns,
        rows=size.rows,
    )


def beam_on_heads(
    heads_mm: Floats, pixels: Floats, size: FilmSize, directions: tuple[Floats, Floats]
) -> FilmBeam:
    """Set the film up so that both heads land where they are seen on a real film.

    Parameters
    ----------
    heads_mm, pixels
        Centers of two heads, (2, 3) and (2, 2): place and (column, row).
    size
        Its scale is taken from the distance of the heads in place of its own.
    directions
        Of the beam, and up; the film is rolled about the beam until the line of the heads fits.

    Raises
    ------
    DegenerateGeometryError
        The heads lie on top of each other on the film or seen along the beam.
    """
    ahead, up = directions
    right = np.cross(-up, ahead)
    between = heads_mm[1] - heads_mm[0]
    seen = np.array([between @ right, -(between @ up)])
    wanted = pixels[1] - pixels[0]
    if min(np.hypot(*seen), np.hypot(*wanted)) < 1.0:
        raise DegenerateGeometryError(
            "cannot align the film with the scan",
            found="heads on top of each other",
            needed="both femoral heads apart from each other, on the film and in the scan",
            next_step="Place both heads on the film.",
        )
    roll = math.atan2(wanted[1], wanted[0]) - math.atan2(seen[1], seen[0])
    # the film is turned by −roll about the beam so that the heads appear turned by roll
    cos, sin = math.cos(roll), math.sin(roll)
    rolled_up = cos * up - sin * right
    scaled = FilmSize(
        columns=size.columns,
        rows=size.rows,
        hip_plane_mm=float(np.hypot(*seen) / np.hypot(*wanted)),
        source_detector_mm=size.source_detector_mm,
        heads_detector_mm=size.heads_detector_mm,
    )
    middle = pixels.mean(axis=0)
    place = heads_mm.mean(axis=0)
    return beam_at(place, (middle[0], middle[1]), scaled, (ahead, rolled_up))


def scanned_tilt_deg(app_from_lps: Floats) -> float:
    """How the pelvis lay in the scanner: tilt of the anterior pelvic plane, forward positive.

    Parameters
    ----------
    app_from_lps
        Rows are the directions right, anterior and superior of the plane in ``patient_lps``.
        Supine, the table is level, so the long axis of the scanner stands for the vertical.
    """
    superior = np.asarray(app_from_lps, dtype=np.float64)[2]
    return math.degrees(math.atan2(-superior[1], superior[2]))
