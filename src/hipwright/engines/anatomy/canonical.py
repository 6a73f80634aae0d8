"""The border: here, and only here, left and right become lateral.

Inside, ``+u`` is lateral and ``+v`` superior for either hip, whichever way
the film is shown; on a false profile or another lateral ``+u`` is anterior.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import SideError
from hipwright.domain.frames import Frame, FrameKind, Scale
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


def side_named(text: str) -> Side | None:
    """The side that a catalog entry fixes for one of its inputs, ``None`` where it fixes none."""
    return Side.parse(text) if text else None
