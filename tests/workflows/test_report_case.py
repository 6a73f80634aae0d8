"""Gathering the facts of a case into its report: right films, right dates, right person."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from hipwright.adapters.documents.film_png import PngPrinter
from hipwright.domain.film_marks import LabelMark
from hipwright.domain.keeping import GradedReading
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.report import FigureRow, FilmFigure, Notice, Table
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration
from hipwright.workflows.report_case import CaseReport, observer_name
from tests.analytic_cases import (
    BORN,
    GRAYS,
    NAME,
    NUMBER,
    keep_case,
)
from tests.practices import CAUTION, Practice


@pytest.fixture
def practice() -> Practice:
    return Practice()


def figures(made: CaseReport) -> list[FilmFigure]:
    return [
        figure
        for section in made.document.sections
        for block in section.blocks
        if isinstance(block, FigureRow)
        for figure in block.figures
    ]


def everything(made: CaseReport) -> str:
    return repr(made.document) + made.letter


def test_every_figure_has_the_picture_of_its_own_film(practice: Practice) -> None:
    kept = practice.case("after_ap", "dunn", "ap", "false_profile")
    for key in kept.images:
        practice.read(kept, key)
    made = practice.report(kept)
    assert len(made.pictures) == len(figures(made)) == 6  # an AP film is shown twice
    for figure, picture in zip(figures(made), made.pictures, strict=True):
        key = next(key for key, image in kept.images.items() if image.id == figure.image)
        assert picture == str(GRAYS[key]).encode()


def test_films_stand_in_the_order_of_their_days(practice: Practice) -> None:
    kept = practice.case("after_ap", "ap")  # the later film came in first
    for key in kept.images:
        practice.read(kept, key)
    titles = [section.title for section in practice.report(kept).document.sections]
    assert titles[1:3] == ["AP pelvis, at 26.7 years", "AP pelvis, at 27.0 years"]


def test_a_figure_shows_a_part_of_its_film_with_all_labels_inside(practice: Practice) -> None:
    kept = practice.case("ap", "dunn", "false_profile")
    for key in kept.images:
        practice.read(kept, key)
    shown = figures(practice.report(kept))
    for figure in shown:
        left, top, width, height = figure.crop_px
        assert left >= -0.5
        assert top >= -0.5
        assert left + width <= figure.columns - 0.5 + 1e-9
        assert top + height <= figure.rows - 0.5 + 1e-9
        for mark in figure.marks:
            if isinstance(mark, LabelMark):
                assert left <= mark.at[0] <= left + width
    assert practice.printer.crops == [figure.crop_px for figure in shown]


def test_without_identity_there_are_ages_and_no_name_number_or_date(practice: Practice) -> None:
    kept = practice.case("ap", "dunn")
    practice.read(kept, "ap")
    told = everything(practice.report(kept))
    assert "at 26.7 years" in told
    assert "female" in told
    image = kept.images["ap"]
    assert image.acquired_on is not None
    for planted in (
        NAME,
        NUMBER,
        BORN.isoformat(),
        image.acquired_on.isoformat(),
        practice.identities.true_date(kept.person.id, image.acquired_on).isoformat(),
        kept.person.id,
    ):
        assert planted not in told


def test_for_the_care_record_there_are_name_number_birth_and_true_dates(
    practice: Practice,
) -> None:
    kept = practice.case("ap")
    practice.read(kept, "ap")
    made = practice.report(kept, identity=practice.identities)
    assert made.document.facts.rows[1:4] == (
        ("Name", NAME),
        ("Number", NUMBER),
        ("Born", BORN.isoformat()),
    )
    image = kept.images["ap"]
    assert image.acquired_on is not None
    true = practice.identities.true_date(kept.person.id, image.acquired_on)
    assert f"AP pelvis, {true.isoformat()}" in everything(made)
    assert "26.7 years" not in everything(made)


def test_a_case_with_no_readings_has_no_pictures_and_says_so(practice: Practice) -> None:
    made = practice.report(practice.case("ap", "dunn"))
    assert made.pictures == ()
    assert "No film of this hip has been read yet" in everything(made)
    assert CAUTION in made.letter


def test_what_is_known_about_a_film_stands_beside_it(practice: Practice) -> None:
    kept = practice.case("ap")
    practice.read(kept, "ap")
    section = practice.report(kept).document.sections[1]
    told = repr(section)
    for words in (
        "supine",
        "1.5 mm per pixel in the plane of the hip, marker of known size",
        "number 1, version 1",
        "Leveled by",
    ):
        assert words in told
    (notice,) = [block for block in section.blocks if isinstance(block, Notice)]
    assert "warning of ap." in notice.text


def test_grades_are_told_in_the_catalogs_words_with_their_details(practice: Practice) -> None:
    kept = practice.case("ap")
    grade = GradedReading(
        id=practice.keeper.new_id(),
        case=kept.case.id,
        image=None,
        definition="labral_ossification",
        value="present",
        details={"thickness": 4.0, "clock_from": 11.2},
        observer="human:demo-a",
        saved_at=datetime(2026, 1, 2, tzinfo=UTC),
    )
    practice.keeper.save_grade(grade)
    made = practice.report(kept)
    (table,) = [
        block
        for section in made.document.sections
        for block in section.blocks
        if isinstance(block, Table)
    ]
    name, value, meaning, reader = (cell.text for cell in table.rows[0])
    assert (name, value, reader) == ("Ossification of the labrum", "present", "DEMO-A")
    assert meaning.endswith("original rim. Thickness: 4.0 mm, From (clock hour): 11.2 h.")
    assert "[" in table.rows[0][0].quiet


@pytest.mark.parametrize(
    ("kept_as", "shown"), [("human:ab", "AB"), ("phantom:analytic", "phantom:analytic")]
)
def test_a_reader_is_shown_by_code_and_an_algorithm_by_its_name(kept_as: str, shown: str) -> None:
    assert observer_name(kept_as) == shown


def head(side: Side, column: float) -> PlacedContour:
    turn = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    ring = np.stack([column + 16 * np.cos(turn), 130 + 16 * np.sin(turn)], axis=-1)
    return PlacedContour(id="femoral_head", side=side, xy_px=ring)


@pytest.mark.parametrize(
    "items",
    [
        (),
        (PlacedPoint(id="symphysis_superior", side=None, x_px=150, y_px=200),),
        (PlacedPoint(id="alpha_onset", side=Side.LEFT, x_px=299.5, y_px=259.5),),
        (
            head(Side.RIGHT, 90),
            PlacedPoint(id="sourcil_lateral_edge", side=Side.RIGHT, x_px=80, y_px=112),
        ),
        (
            PlacedPoint(id="symphysis_superior", side=None, x_px=150, y_px=200),
            PlacedPoint(id="coccyx_tip", side=None, x_px=150, y_px=190),
        ),
    ],
    ids=["nothing", "one midline point", "a corner", "the other hip", "a line"],
)
def test_a_barely_begun_reading_can_be_printed(
    practice: Practice, items: tuple[PlacedPoint | PlacedContour, ...]
) -> None:
    kept = practice.case("ap")
    empty = LandmarkSet(image=kept.images["ap"].id, observer="human:ab")
    practice.read(kept, "ap", empty.replacing(items))
    made = practice.report(kept, printer=PngPrinter())
    for figure in figures(made):
        assert min(figure.crop_px[2:]) > 5
    assert all(picture.startswith(b"\x89PNG") for picture in made.pictures)


def test_an_uncalibrated_film_says_that_it_has_no_scale(practice: Practice) -> None:
    kept = practice.case("ap")
    bare = replace(kept.images["ap"], calibration=Calibration.uncalibrated())
    practice.keeper.change_image(bare, expected_version=1)
    practice.read(kept, "ap")
    section = practice.report(kept).document.sections[1]
    assert "('Scale', 'uncalibrated')" in repr(section)


def test_a_film_of_a_person_without_a_birth_date_or_of_no_day_is_titled_by_its_view(
    practice: Practice,
) -> None:
    kept = practice.case("ap")
    undated = replace(kept.person, birth_date_shifted=None, sex=None)
    practice.keeper.change_person(undated, expected_version=1)
    practice.read(kept, "ap")
    made = practice.report(kept)
    assert made.document.sections[1].title == "AP pelvis"
    assert "Sex" not in dict(made.document.facts.rows)


def test_an_invented_person_makes_an_invented_report(practice: Practice) -> None:
    assert "Invented" in practice.report(practice.case(invented=True)).document.subtitle
    assert practice.report(keep_case(practice.keeper)).document.subtitle == ""


def test_change_between_two_films_of_a_view_is_told_against_what_readings_differ_by(
    practice: Practice,
) -> None:
    kept = practice.case("after_ap", "ap", "dunn")  # a neck of 133° later, of 128° before
    for key in kept.images:
        practice.read(kept, key)
    made = practice.report(kept)
    (section,) = [s for s in made.document.sections if s.title == "Change between films"]
    rows = [row for block in section.blocks if isinstance(block, Table) for row in block.rows]
    (row,) = [row for row in rows if row[0].text.startswith("Neck–shaft angle")]
    told = " ".join(cell.text for cell in row)
    assert told.index("128.0°") < told.index("133.0°")
    assert "5.0°" in told
    assert "133.0°" in made.letter


def test_one_film_has_no_change_to_tell(practice: Practice) -> None:
    kept = practice.case("ap", "dunn")
    for key in kept.images:
        practice.read(kept, key)
    titles = [section.title for section in practice.report(kept).document.sections]
    assert "Change between films" not in titles
