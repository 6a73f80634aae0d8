"""The border: here, and only here, left and right become lateral.

On films, inside, ``+u`` is lateral and ``+v`` superior for either hip, whichever way
the film is shown; on a false profile or another lateral ``+u`` is anterior. In space,
inside, X is lateral, Y anterior and Z superior for either hip.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Bone, Surface
from hipwright.domain.errors import DegenerateGeometryError, SideError
from hipwright.domain.frames import Frame, FrameKind, Scale, require_one_frame
from hipwright.domain.side import Side
from hipwright.domain.study import Film, View

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class MidlineBorder:
    """The way of what belongs to both hips: u runs to the patient's left, v superior.

    Parameters
    ----------
    film
        The film the landmarks were placed on.
    """

    film: Film

    @property
    def side(self) -> None:
        """Neither side."""
        return None

    @property
    def direction(self) -> float:
        """+1 where the patient's left is at the right of the picture, else −1."""
        return 1.0 if self.film.patient_right_at_image_left else -1.0

    def to_canonical(self, plane: Floats, *, roll_rad: Floats | float = 0.0) -> Floats:
        """Turn positions in the film plane into (u, v), leveled, (..., 2)."""
        return _to_canonical(plane, self.direction, roll_rad)


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmBorder:
    """The way of one hip's film landmarks into the canonical hip plane and back.

    Parameters
    ----------
    film
        The film they were placed on.
    side
        The hip they belong to.
    """

    film: Film
    side: Side

    @property
    def frame(self) -> Frame:
        """The ``film_hip`` frame of this hip on this film."""
        scale = Scale.MM if self.film.calibration.is_calibrated else Scale.UNCALIBRATED
        return Frame(FrameKind.FILM_HIP, f"{self.film.image}/{self.side.value}", scale)

    @property
    def direction(self) -> float:
        """+1 where u runs to the right of the picture, −1 where it runs to the left.

        Raises
        ------
        SideError
            On a false profile of which nobody has said where the front is.
        """
        if self.film.view is View.FALSE_PROFILE:
            if self.film.anterior_at_image_right is None:
                raise SideError(
                    "cannot measure the false profile",
                    found="no word on where the front of the patient is",
                    needed="whether anterior is to the left or to the right of the picture",
                    next_step="Set it in the film's details.",
                    field="anterior_at_image_right",
                )
            return 1.0 if self.film.anterior_at_image_right else -1.0
        usual = 1.0 if self.side is Side.LEFT else -1.0
        return usual if self.film.patient_right_at_image_left else -usual

    def to_canonical(self, plane: Floats, *, roll_rad: Floats | float = 0.0) -> Floats:
        """Turn positions in the film plane into (u, v), leveled.

        Parameters
        ----------
        plane
            x right, y up, shape (..., 2), as :func:`~hipwright.engines.imaging.film_plane.
            plane_from_px` gives them.
        roll_rad
            How far the pelvic baseline rises to the right of the picture; a
            number, or an array that broadcasts against ``plane[..., 0]``.

        Returns
        -------
        Array of shape (..., 2): u lateral (or anterior), v superior, in the unit of
        the input. The origin stays the middle of the picture.
        """
        return _to_canonical(plane, self.direction, roll_rad)

    def from_canonical(self, uv: Floats, *, roll_rad: Floats | float = 0.0) -> Floats:
        """Turn (u, v) back into the film plane: the inverse of :meth:`to_canonical`."""
        cos, sin = np.cos(roll_rad), np.sin(roll_rad)
        u, v = self.direction * uv[..., 0], uv[..., 1]
        return np.stack([cos * u - sin * v, sin * u + cos * v], axis=-1)


def _to_canonical(plane: Floats, direction: float, roll_rad: Floats | float) -> Floats:
    cos, sin = np.cos(roll_rad), np.sin(roll_rad)
    x, y = plane[..., 0], plane[..., 1]
    return np.stack([direction * (cos * x + sin * y), cos * y - sin * x], axis=-1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HipBorder:
    """The way of one hip's bones from ``patient_lps`` into ``hip_canonical`` and back.

    ``hip_canonical`` has X lateral, Y anterior and Z superior along the anterior pelvic
    plane, its origin in the center of the femoral head; a left hip is mirrored.

    Parameters
    ----------
    side
        The hip.
    app_from_lps
        Proper rotation, shape (3, 3): its rows are the directions right, anterior and
        superior of the anterior pelvic plane in ``patient_lps``.
    origin_mm
        Center of the femoral head in ``patient_lps``, shape (3,).
    fixed_to
        What the ``patient_lps`` frame is fixed to.
    """

    side: Side
    app_from_lps: Floats
    origin_mm: Floats
    fixed_to: str

    def __post_init__(self) -> None:
        rotation = np.array(self.app_from_lps, dtype=np.float64)
        origin = np.array(self.origin_mm, dtype=np.float64)
        proper = rotation.shape == (3, 3) and np.allclose(rotation @ rotation.T, np.eye(3))
        if not proper or np.linalg.det(rotation) < 0 or origin.shape != (3,):
            raise DegenerateGeometryError(
                "cannot turn the hip into its canonical pose",
                found="axes of the pelvis that are no rotation",
                needed="three axes at right angles, right-handed",
                next_step="Check the landmarks of the anterior pelvic plane.",
            )
        for name, array in (("app_from_lps", rotation), ("origin_mm", origin)):
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    @property
    def frame(self) -> Frame:
        """The ``hip_canonical`` frame of this hip."""
        return Frame(FrameKind.HIP_CANONICAL, f"{self.fixed_to}/{self.side.value}")

    @property
    def _mirror(self) -> Floats:
        return np.array([1.0 if self.side is Side.RIGHT else -1.0, 1.0, 1.0])

    def to_canonical(self, points_mm: Floats) -> Floats:
        """Turn places of ``patient_lps`` into the canonical pose, (..., 3) mm."""
        return ((points_mm - self.origin_mm) @ self.app_from_lps.T) * self._mirror

    def from_canonical(self, points_mm: Floats) -> Floats:
        """Turn canonical places back: the inverse of :meth:`to_canonical`."""
        return (points_mm * self._mirror) @ self.app_from_lps + self.origin_mm

    def direction_to_canonical(self, directions: Floats) -> Floats:
        """Turn directions of ``patient_lps``, (..., 3)."""
        return (directions @ self.app_from_lps.T) * self._mirror

    def direction_from_canonical(self, directions: Floats) -> Floats:
        """Turn canonical directions back, (..., 3)."""
        return (directions * self._mirror) @ self.app_from_lps

    def surface_to_canonical(self, surface: Surface) -> Surface:
        """Turn a surface of ``patient_lps``; it still looks outward.

        Raises
        ------
        FrameMismatchError
            The surface lies in another frame.
        """
        require_one_frame(surface.frame, Frame(FrameKind.PATIENT_LPS, self.fixed_to))
        return self._moved(surface, self.to_canonical(surface.vertices), self.frame)

    def surface_from_canonical(self, surface: Surface) -> Surface:
        """Turn a canonical surface back: the inverse of :meth:`surface_to_canonical`."""
        require_one_frame(surface.frame, self.frame)
        home = Frame(FrameKind.PATIENT_LPS, self.fixed_to)
        return self._moved(surface, self.from_canonical(surface.vertices), home)

    def _moved(self, surface: Surface, vertices: Floats, frame: Frame) -> Surface:
        faces = surface.faces if self.side is Side.RIGHT else surface.faces[:, ::-1]
        return Surface(vertices=vertices, faces=faces, frame=frame)


def side_named(text: str) -> Side | None:
    """The side that a catalog entry fixes for one of its inputs, ``None`` where it fixes none."""
    return Side.parse(text) if text else None


def right_sign(side: Side) -> float:
    """+1 for a right hip, −1 for a left one: what lateral is, counted to the right."""
    return 1.0 if side is Side.RIGHT else -1.0


def borders_of(
    bones: Iterable[Bone],
    *,
    app_from_lps: Floats,
    origins_mm: Mapping[Side, Floats],
    fixed_to: str,
) -> tuple[HipBorder, ...]:
    """The ways of the hips that have a bone and an origin, right before left.

    Parameters
    ----------
    bones
        What was modeled; only hip bones and femora make a hip.
    app_from_lps
        As :class:`HipBorder` takes it.
    origins_mm
        Center of the femoral head (or of the socket) by side, (3,) in ``patient_lps``.
    """
    there = set(bones)
    return tuple(
        HipBorder(
            side=side,
            app_from_lps=app_from_lps,
            origin_mm=origins_mm[side],
            fixed_to=fixed_to,
        )
        for side in (Side.RIGHT, Side.LEFT)
        if side in origins_mm and {Bone.hip_bone(side), Bone.femur(side)} & there
    )
