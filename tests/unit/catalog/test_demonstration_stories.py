"""The stories of the demonstration: invented, plainly so, and in agreement with their anatomy."""

from __future__ import annotations

from datetime import date

import pytest

from hipwright.catalog import load
from hipwright.catalog.demonstration import Story, stories
from hipwright.catalog.entries import EntryKind
from hipwright.catalog.headlines import headlines
from hipwright.phantoms.demonstration import DEMONSTRATION_PEOPLE

TOLD = pytest.mark.parametrize("story", stories(), ids=lambda story: story.key)
PERSON = {person.key: person for person in DEMONSTRATION_PEOPLE}


def years_between(born: date, day: date) -> int:
    return day.year - born.year - ((day.month, day.day) < (born.month, born.day))


def test_every_invented_person_has_one_story() -> None:
    assert sorted(story.key for story in stories()) == sorted(PERSON)
    assert len({story.code for story in stories()}) == len(stories())
    assert len({story.patient_number for story in stories()}) == len(stories())


@TOLD
def test_a_story_says_plainly_that_nobody_is_meant(story: Story) -> None:
    assert story.name.startswith("Demonstration^")
    assert story.patient_number.startswith("INVENTED-")
    assert story.code.startswith("DEMO-")


@TOLD
def test_a_story_fits_the_anatomy_it_is_told_about(story: Story) -> None:
    person = PERSON[story.key]
    assert (story.sex, story.side) == (person.sex, person.side.value)
    age = years_between(story.born, story.filmed)
    assert age == person.age_years
    assert story.summary.startswith(f"{'Woman' if story.sex == 'F' else 'Man'} of {age},")
    assert story.filmed < story.filmed_after_operation


@TOLD
def test_a_story_teaches_something_and_its_grades_are_the_catalogs(story: Story) -> None:
    assert story.teaches
    assert story.grades
    for definition, value in story.grades.items():
        entry = load().measurement(definition)
        assert entry.kind is EntryKind.GRADED
        assert value in {grade.value for grade in entry.grades}
    for definition, details in story.details.items():
        known = {detail.id for detail in load().measurement(definition).details}
        assert set(details) <= known
        assert definition in story.grades


def test_headlines_are_computed_measurements_named_once() -> None:
    shelf = load()
    assert len(set(headlines())) == len(headlines())
    for key in headlines():
        assert shelf.measurement(key).kind is not EntryKind.GRADED
