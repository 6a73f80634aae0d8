"""What the person who looked at an import has said, put onto what was found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TypeVar

from hipwright.domain.errors import ImportRefusedError
from hipwright.domain.keeping import Identity, Image, ImageKind, Laterality
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.workflows.ports import Arrival, ArrivingImage, IdentityKeeper
from hipwright.workflows.read_study import Wishes

SIDES = {
    "left": (Side.LEFT,),
    "right": (Side.RIGHT,),
    "both": (Side.LEFT, Side.RIGHT),
    "": (),
}

LONGEST_WORDS = 200

Choice = TypeVar("Choice", View, Laterality)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """One person's arrival with everything settled, and the wishes that go with it."""

    arrival: Arrival
    wishes: Wishes


def answered(
    arrival: Arrival,
    number: int,
    form: Mapping[str, str],
    wishes: Wishes,
    identities: IdentityKeeper,
) -> Answered:
    """Put the form's answers onto one arrival.

    Parameters
    ----------
    number
        Which of the arrivals it is: its fields end with it.
    wishes
        What holds for the whole import.
    """
    images = tuple(_settled(arriving, form) for arriving in arrival.images)
    settled = replace(arrival, images=images)
    if arrival.identity is None:
        settled = _with_identity(settled, number, form, identities)
    own = replace(
        wishes,
        sides=SIDES.get(form.get(f"sides.{number}", ""), ()),
        summary=form.get(f"summary.{number}", "").strip()[:LONGEST_WORDS],
        side_checked=f"side_checked.{number}" in form,
    )
    return Answered(arrival=settled, wishes=own)


def _settled(arriving: ArrivingImage, form: Mapping[str, str]) -> ArrivingImage:
    image = arriving.image
    if image.kind is ImageKind.SERIES:
        return arriving
    view = _chosen(View, form.get(f"view.{image.id}"), image.view)
    shows = _chosen(Laterality, form.get(f"shows.{image.id}"), image.laterality)
    return replace(arriving, image=_with(image, view, shows))


def _with(image: Image, view: View, shows: Laterality) -> Image:
    if view is View.PELVIS_AP and shows is Laterality.UNKNOWN:
        shows = Laterality.BOTH
    return replace(image, view=view, laterality=shows, confirmed=True)


def _chosen(kind: type[Choice], said: str | None, proposed: Choice) -> Choice:
    try:
        return kind(said) if said else proposed
    except ValueError:
        return proposed


def _with_identity(
    arrival: Arrival, number: int, form: Mapping[str, str], identities: IdentityKeeper
) -> Arrival:
    """Take what was typed about somebody whose files name nobody."""
    name = form.get(f"name.{number}", "").strip()[:LONGEST_WORDS]
    patient_number = form.get(f"number.{number}", "").strip()[:LONGEST_WORDS]
    born = _day(form.get(f"born.{number}", "").strip())
    sex = form.get(f"sex.{number}", "") or None
    if not (name or patient_number or born or sex):
        return arrival
    person = arrival.person
    if born is not None:
        shift = timedelta(days=identities.date_shift_days(person.id))
        person = replace(person, birth_date_shifted=born + shift)
    person = replace(person, sex=sex or person.sex)
    if not (name or patient_number):
        return replace(arrival, person=person)
    identity = Identity(
        person=person.id,
        name=name,
        numbers=(patient_number,) if patient_number else (),
        birth_date=born,
        sex=sex,
    )
    return replace(arrival, person=person, identity=identity)


def _day(said: str) -> date | None:
    if not said:
        return None
    try:
        return date.fromisoformat(said)
    except ValueError:
        raise ImportRefusedError(
            "cannot read the birth date",
            found="another form of date",
            needed="year-month-day, such as 1990-05-31",
            next_step="Correct it.",
            field="born",
        ) from None
