"""Save one observer's landmarks on a film, checked, and measure them."""

from __future__ import annotations

from hipwright.catalog import load
from hipwright.domain.errors import SideError
from hipwright.domain.keeping import Case, Image
from hipwright.domain.landmarks import LandmarkSet
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.workflows.measure_hip import ReadImage, check_landmarks, measure_landmarks
from hipwright.workflows.ports import Keeper
from hipwright.workflows.reading_doubt import circumstances_of


def save_reading(
    keeper: Keeper,
    case: Case,
    image: Image,
    landmarks: LandmarkSet,
    *,
    expected_version: int | None = None,
    software: str = "hipwright",
) -> ReadImage:
    """Keep a new version of a reading.

    Parameters
    ----------
    keeper, case, image
        Where it belongs.
    landmarks
        All that the observer has placed on the film in this reading.
    expected_version
        The version the observer started from; ``None`` takes the newest one.

    Raises
    ------
    LandmarkError
        A landmark is unknown, on the wrong side of the midline or off the picture.
    SideError
        All of them belong to the hip that the film does not show.
    StaleWriteError
        Somebody else has saved this reading since.
    """
    check_landmarks(image.film(), landmarks, load())
    _check_side(image, landmarks)
    if expected_version is None:
        history = keeper.reading_history(image.id, landmarks.observer, landmarks.reading)
        expected_version = max((kept.version for kept in history), default=0)
    saved = keeper.save_reading(case.id, landmarks, expected_version=expected_version)
    shown = [side for side in Side if image.laterality.shows(side)]
    findings = measure_landmarks(
        image.film(),
        landmarks,
        shown,
        circumstances=circumstances_of(keeper, image, landmarks.observer),
        software=software,
    )
    return ReadImage(image=image, reading=saved, findings=findings)


def _check_side(image: Image, landmarks: LandmarkSet) -> None:
    """Refuse a reading of the wrong hip; a false profile shows the other head too."""
    sides = {item.side for item in landmarks if item.side is not None}
    if image.view is View.FALSE_PROFILE or not sides:
        return
    if not any(image.laterality.shows(side) for side in sides):
        raise SideError(
            "cannot keep the reading",
            found=f"landmarks of the {' and '.join(sorted(map(str, sides)))} hip",
            needed=f"landmarks of the {image.laterality.value} hip, which the film shows",
            next_step="Correct the side of the landmarks, or of the film in its details.",
            field="side",
        )
