"""Films of analytic hips: landmarks where a perfect reader would put them, with their truth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, Film, SpacingSource, View
from hipwright.phantoms.analytic_femur import draw_femur, draw_shaft
from hipwright.phantoms.analytic_hip import AnalyticHip, DrawnHip, from_up
from hipwright.phantoms.analytic_socket import draw_socket

Floats = NDArray[np.float64]
Truth = Mapping[tuple[str, Side | None], float]

LATERAL_AXIS = from_up(1.0, 114.0)
"""Direction of the neck on an analytic lateral, front up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalyticPelvis:
    """How the pelvis stands, and what lies in its midline. Lengths in mm, as on the film.

    ``far_head_enlarged`` is how much larger than the examined head the other one is shown on
    a false profile, as it lies farther from the detector.
    """

    inter_head_mm: float = 176.0
    coccyx_height_mm: float = 20.0
    sacrococcygeal_height_mm: float = 38.0
    coccyx_offset_mm: float = 3.0
    sacrum_offset_mm: float = -2.0
    foramen_right_mm: float = 31.0
    foramen_left_mm: float = 29.0
    false_profile_deg: float = 63.0
    false_profile_inter_head_mm: float = 175.0
    far_head_enlarged: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmMaking:
    """How the film was made and is kept."""

    column_mm: float = 0.15
    row_mm: float = 0.15
    roll_deg: float = 0.0
    mirrored: bool = False
    calibrated: bool = True
    relative_sd: float = 0.0
    anterior_right: bool = True
    columns: int = 3000
    rows: int = 2600


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AnalyticFilm:
    """A film, its landmarks and what they must measure.

    ``truth`` is in degrees, percent, ratios and mm; on an uncalibrated film lengths are in
    widths of a pixel and what needs a scale is left out.
    """

    film: Film
    landmarks: LandmarkSet
    truth: Truth


def pelvis_film(
    hips: Mapping[Side, AnalyticHip],
    *,
    pelvis: AnalyticPelvis | None = None,
    making: FilmMaking | None = None,
) -> AnalyticFilm:
    """An AP pelvis with one hip or both."""
    stands, made = pelvis or AnalyticPelvis(), making or FilmMaking()
    drawing = _Drawing(View.PELVIS_AP, made)
    for side, hip in hips.items():
        drawn = draw_socket(hip).joined(draw_femur(hip)).joined(draw_shaft(hip))
        sign = 1.0 if side is Side.LEFT else -1.0
        drawing.add(drawn, side, np.array([sign * stands.inter_head_mm / 2, 0.0]), sign)
    _midline(drawing, stands)
    return drawing.finished()


def lateral_film(
    side: Side,
    hip: AnalyticHip,
    *,
    view: View = View.DUNN_45,
    making: FilmMaking | None = None,
) -> AnalyticFilm:
    """A 45° Dunn or another lateral of one hip."""
    drawing = _Drawing(view, making or FilmMaking())
    sign = 1.0 if side is Side.LEFT else -1.0
    drawing.add(draw_femur(hip, axis=LATERAL_AXIS), side, np.zeros(2), sign)
    return drawing.finished()


def false_profile_film(
    side: Side,
    hip: AnalyticHip,
    *,
    pelvis: AnalyticPelvis | None = None,
    making: FilmMaking | None = None,
) -> AnalyticFilm:
    """A false profile of one hip with the other head behind it."""
    stands, made = pelvis or AnalyticPelvis(), making or FilmMaking()
    socket, radius = hip.socket, hip.femur.head_radius_mm
    reach = radius + socket.space_apical_mm
    head = draw_femur(hip).contours["femoral_head"]
    drawn = DrawnHip(
        points={
            "anterior_sourcil_edge": from_up(reach, socket.acea_sourcil_deg),
            "anterior_rim_edge": from_up(reach + 1.5, socket.acea_rim_deg),
        },
        contours={"femoral_head": head},
        truth={
            "anterior_center_edge_angle.sourcil": socket.acea_sourcil_deg,
            "anterior_center_edge_angle.rim": socket.acea_rim_deg,
        },
    )
    turn = np.radians(stands.false_profile_deg)
    separation = stands.false_profile_inter_head_mm * float(np.cos(turn))
    drawing = _Drawing(View.FALSE_PROFILE, made)
    drawing.add(drawn, side, np.zeros(2), drawing.front)
    far = stands.far_head_enlarged
    other = DrawnHip(points={}, contours={"femoral_head": far * head}, truth={})
    drawing.add(other, side.opposite, np.array([-drawing.front * separation * far, 2.0]), 1.0)
    drawing.truth["false_profile_rotation", None] = stands.false_profile_deg
    return drawing.finished()


def _midline(drawing: _Drawing, stands: AnalyticPelvis) -> None:
    floor = np.array([0.0, -58.0])
    coccyx = floor + np.array([stands.coccyx_offset_mm, stands.coccyx_height_mm])
    joint = floor + np.array([stands.coccyx_offset_mm / 2, stands.sacrococcygeal_height_mm])
    points = {
        "symphysis_superior": floor,
        "coccyx_tip": coccyx,
        "sacrococcygeal_joint": joint,
        "mid_sacrum": np.array([stands.sacrum_offset_mm, 40.0]),
    }
    truth = {
        "pelvic_tilt.coccyx_symphysis": stands.coccyx_height_mm,
        "pelvic_tilt.sacrococcygeal_symphysis": stands.sacrococcygeal_height_mm,
        "pelvic_rotation.coccyx_offset": stands.coccyx_offset_mm,
        "pelvic_rotation.sacrum_offset": stands.sacrum_offset_mm,
        "pelvic_rotation.obturator_index": stands.foramen_right_mm / stands.foramen_left_mm,
    }
    drawing.add(DrawnHip(points=points, contours={}, truth=truth), None, np.zeros(2), 1.0)
    for side, sign, width in (
        (Side.RIGHT, -1.0, stands.foramen_right_mm),
        (Side.LEFT, 1.0, stands.foramen_left_mm),
    ):
        edges = {
            "obturator_foramen_medial": np.array([16.0, -75.0]),
            "obturator_foramen_lateral": np.array([16.0 + width, -72.0]),
        }
        drawing.add(DrawnHip(points=edges, contours={}, truth={}), side, np.zeros(2), sign)


@dataclass(slots=True, kw_only=False)
class _Drawing:
    """Collects landmarks in the plane of the patient (x to the left of the patient, y up)."""

    view: View
    making: FilmMaking
    points: list[PlacedPoint] = field(default_factory=list[PlacedPoint])
    contours: list[PlacedContour] = field(default_factory=list[PlacedContour])
    truth: dict[tuple[str, Side | None], float] = field(
        default_factory=dict[tuple[str, Side | None], float]
    )

    @property
    def front(self) -> float:
        """+1 where the patient's front is at the right of the picture."""
        return 1.0 if self.making.anterior_right else -1.0

    def add(self, drawn: DrawnHip, side: Side | None, at: Floats, sign: float) -> None:
        """Place a drawing: ``sign`` is +1 where its u runs along x."""
        turn = np.array([sign, 1.0])
        for name, uv in drawn.points.items():
            x, y = self._pixels(at + turn * uv)
            self.points.append(PlacedPoint(id=name, side=side, x_px=float(x), y_px=float(y)))
        for name, uv in drawn.contours.items():
            self.contours.append(
                PlacedContour(id=name, side=side, xy_px=self._pixels(at + turn * uv))
            )
        self.truth |= {(name, side): value for name, value in drawn.truth.items()}

    def _pixels(self, place: Floats) -> Floats:
        made = self.making
        shown = place * [-1.0 if self._is_mirrored else 1.0, 1.0]
        cos, sin = np.cos(np.radians(made.roll_deg)), np.sin(np.radians(made.roll_deg))
        x, y = cos * shown[..., 0] - sin * shown[..., 1], sin * shown[..., 0] + cos * shown[..., 1]
        column = (made.columns - 1) / 2 + x / made.column_mm
        return np.stack([column, (made.rows - 1) / 2 - y / made.row_mm], axis=-1)

    @property
    def _is_mirrored(self) -> bool:
        """A false profile says by its front how it is shown."""
        return self.making.mirrored and self.view is not View.FALSE_PROFILE

    def finished(self) -> AnalyticFilm:
        made = self.making
        calibration = (
            Calibration(
                column_mm=made.column_mm,
                row_mm=made.row_mm,
                source=SpacingSource.MARKER,
                relative_sd=made.relative_sd,
            )
            if made.calibrated
            else Calibration.uncalibrated(pixel_aspect=made.row_mm / made.column_mm)
        )
        film = Film(
            image=f"analytic-{self.view.value}",
            view=self.view,
            columns=made.columns,
            rows=made.rows,
            calibration=calibration,
            patient_right_at_image_left=not made.mirrored,
            anterior_at_image_right=made.anterior_right,
        )
        return AnalyticFilm(
            film=film,
            landmarks=LandmarkSet(
                image=film.image,
                observer="phantom:analytic",
                points=tuple(self.points),
                contours=tuple(self.contours),
            ),
            truth=self.truth,
        )
