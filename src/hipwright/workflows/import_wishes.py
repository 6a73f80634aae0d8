"""What the person who imports has said, and what follows from it for the images."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from hipwright.domain.errors import ImportRefusedError, SideError
from hipwright.domain.keeping import Image, ImageKind, Laterality
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.engines.imaging.calibration import calibrate_by_hand
from hipwright.workflows.ports import Arrival, ArrivingImage, Asked


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What the person who imports has said.

    Parameters
    ----------
    case
        A case's code: an existing one, or the code of one to be opened.
    sides
        Which hips it is about.
    view
        The view of films whose header does not say.
    views
        The view of single images, by the id they arrived with.
    each_patient
        Several people at once are meant.
    pixels_checked
        Somebody has looked: no name stands in the pictures.
    side_checked
        The films' own sides are wrong; ``sides`` is right.
    millimeters_per_pixel
        The scale of pictures that have none.
    summary
        The new case in a line.
    invented
        Demonstration data, not a real person.
    by
        Who imports.
    """

    case: str | None = None
    sides: tuple[Side, ...] = ()
    view: View | None = None
    views: Mapping[str, View] = field(default_factory=dict[str, View])
    each_patient: bool = False
    pixels_checked: bool = False
    side_checked: bool = False
    millimeters_per_pixel: float | None = None
    summary: str = ""
    invented: bool = False
    by: str | None = None


def is_one_sided(image: Image) -> bool:
    """Whether the image is a film of one named hip."""
    return image.view.is_film and image.laterality in {Laterality.LEFT, Laterality.RIGHT}


def agree(arrival: Arrival, sides: Sequence[Side]) -> None:
    """Refuse a side that every film contradicts."""
    named = {i.image.laterality.value for i in arrival.images if is_one_sided(i.image)}
    asked = {side.value for side in sides}
    if named and not named & asked:
        raise SideError(
            "cannot file the films",
            found=f"films of the {' and the '.join(sorted(named))} hip only",
            needed=f"at least one that shows the {' or the '.join(sorted(asked))} hip",
            next_step="Correct --side; if the films' own marks are wrong, add --side-checked.",
            field="side",
        )


def joined(arrivals: Sequence[Arrival]) -> list[Arrival]:
    """Ordinary pictures carry no name: beside one person's files they are that person's."""
    nameless = [a for a in arrivals if all(i.image.kind is ImageKind.PICTURE for i in a.images)]
    nameless = [a for a in nameless if a.identity is None]
    named = [a for a in arrivals if a not in nameless]
    if len(named) != 1 or not nameless:
        return list(arrivals)
    one, *_ = named
    return [
        replace(
            one,
            images=(*one.images, *(image for a in nameless for image in a.images)),
            questions=(*one.questions, *(q for a in nameless for q in a.questions)),
        )
    ]


def check_people(arrivals: Sequence[Arrival], wishes: Wishes) -> None:
    """Refuse files of several people, unless they are meant."""
    if len(arrivals) == 1:
        return
    if wishes.case is not None:
        raise ImportRefusedError(
            "cannot file the images under one case",
            found=f"files of {len(arrivals)} people",
            needed="files of one person",
            next_step="Import each person's folder by itself, or leave out the case code.",
            field="case",
        )
    if not wishes.each_patient:
        raise ImportRefusedError(
            "cannot import",
            found=f"files of {len(arrivals)} people in one place",
            needed="files of one person",
            next_step="If that is meant, say --each-patient; else part the folder.",
            field="each_patient",
        )


def settled(arrival: Arrival, wishes: Wishes) -> tuple[ArrivingImage, ...]:
    """The images with what the person who imports has said about them."""
    films = [i for i in arrival.images if i.image.view.is_film]
    unsure = {q.image for q in arrival.questions if q.asked is Asked.VIEW}
    sideless = {q.image for q in arrival.questions if q.asked is Asked.SIDE}
    result: list[ArrivingImage] = []
    for arriving in arrival.images:
        image = arriving.image
        view = wishes.views.get(image.id)
        if view is None and wishes.view is not None and image.view.is_film:
            view = wishes.view if image.id in unsure or len(films) == 1 else None
        if view is not None:
            image = replace(image, view=view, confirmed=True)
            if view is View.PELVIS_AP:
                image = replace(image, laterality=Laterality.BOTH)
        one = wishes.sides[0] if len(wishes.sides) == 1 else None
        if one is not None and _takes_side(image, sideless, films, wishes):
            image = replace(image, laterality=Laterality(one.value))
        if wishes.millimeters_per_pixel is not None and not image.calibration.is_calibrated:
            aspect = image.calibration.row_mm / image.calibration.column_mm
            by_hand = calibrate_by_hand(wishes.millimeters_per_pixel, pixel_aspect=aspect)
            image = replace(image, calibration=by_hand)
        result.append(replace(arriving, image=image))
    return tuple(result)


def _takes_side(
    image: Image, sideless: set[str | None], films: Sequence[ArrivingImage], wishes: Wishes
) -> bool:
    if not image.view.is_film or image.view.shows_both_hips:
        return False
    alone = len(films) == 1 and (image.id in sideless or image.laterality is Laterality.UNKNOWN)
    return alone or (wishes.side_checked and is_one_sided(image))
