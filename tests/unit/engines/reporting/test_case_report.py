"""The report of one hip: what stands in it, in which order, and what it never leaves out."""

from __future__ import annotations

from dataclasses import replace

from hipwright.catalog import load
from hipwright.domain.measurement import Measurement, NotMeasured
from hipwright.domain.report import (
    Cell,
    Document,
    FigureRow,
    Listing,
    Notice,
    Paragraph,
    Section,
    Signature,
    Table,
)
from hipwright.domain.side import Side
from hipwright.engines.reporting.case_report import case_report, film_sentence, letter_text
from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit
from hipwright.engines.reporting.reported_case import ReportedChange, ReportedGrade
from tests.unit.engines.reporting.reported_hips import (
    CAUTION,
    LCEA,
    a_case,
    a_film,
    a_measurement,
    analytic_findings,
    classed,
)

GRADE = ReportedGrade(
    name="Tönnis grade", value="1", definition="slight", observer="AB", source="Tönnis [memory]"
)
CHANGE = ReportedChange(
    name="Alpha angle", earlier="71.0°", later="48.0°", change="−23.0°", verdict="beyond doubt"
)


def section(document: Document, title: str) -> Section:
    (found,) = [section for section in document.sections if section.title == title]
    return found


def tables(part: Section) -> list[Table]:
    return [block for block in part.blocks if isinstance(block, Table)]


def words(part: Section) -> str:
    return " ".join(b.text for b in part.blocks if isinstance(b, Paragraph | Notice))


def test_the_caution_is_the_first_thing_and_the_footer_repeats_it() -> None:
    document = case_report(a_case(a_film(*analytic_findings())), load())
    first = document.sections[0].blocks[0]
    assert first == Notice(title="Caution", text=CAUTION)
    for told in ("K7M-4QX", "hipwright 9", "not a medical device", "not validated on clinical"):
        assert told in document.footer


def test_the_table_has_every_measurement_of_the_hip_as_it_was_measured() -> None:
    findings = analytic_findings()
    document = case_report(a_case(a_film(*findings)), load())
    (table,) = tables(section(document, "AP pelvis, at 26.7 years"))
    own = [f for f in findings if isinstance(f, Measurement) and f.side is not Side.RIGHT]
    assert [row[0].text for row in table.rows] == [found.name for found in own]
    for row, found in zip(table.rows, own, strict=True):
        assert (row[1].text, row[2].text) == (value_with_unit(found), interval_in_words(found))
        assert (row[3].bar is not None) == (found.classification is not None)
        if found.classification is not None:
            assert row[4].text == classed(found).in_words()
            assert classed(found).scheme in row[4].quiet
            assert load().reference(classed(found).reference.id).seen.value in row[4].quiet
        else:
            assert "no published range" in row[4].quiet
    assert all(len(row) == len(table.columns) for row in table.rows)


def test_the_other_side_stands_beside_the_hips_own_value() -> None:
    own, other = a_measurement(24, 20, 28), a_measurement(31.5, 30, 33, side=Side.RIGHT)
    document = case_report(a_case(a_film(own, other)), load())
    (table,) = tables(section(document, "AP pelvis, at 26.7 years"))
    assert [cell.text for cell in (table.rows[0][1], table.rows[0][5])] == ["24.0°", "31.5°"]
    alone = case_report(a_case(a_film(own)), load())
    assert tables(alone.sections[1])[0].rows[0][5] == Cell(text="")


def test_a_case_without_readings_says_so_and_keeps_caution_and_signature() -> None:
    missing = NotMeasured(definition=LCEA, name="LCEA", reason="nothing placed", side=Side.LEFT)
    for case in (a_case(), a_case(a_film(missing))):
        document = case_report(case, load())
        assert [part.title for part in document.sections] == ["Findings", "How to read this"]
        assert "No film of this hip has been read yet" in words(document.sections[0])
        assert any(isinstance(block, Notice) for block in document.sections[0].blocks)
        assert isinstance(document.sections[-1].blocks[-1], Signature)
    assert "No film has been read yet." in letter_text(a_case(), load())


def test_films_before_and_after_have_a_section_each_in_the_given_order() -> None:
    before = a_film(a_measurement(24, 20, 28), image="before", when="at 19.6 years")
    after = a_film(a_measurement(26, 24, 28), image="after", when="at 19.9 years")
    document = case_report(a_case(before, after, changes=(CHANGE,)), load())
    titles = [part.title for part in document.sections]
    assert titles[1:4] == [
        "AP pelvis, at 19.6 years",
        "AP pelvis, at 19.9 years",
        "Change between films",
    ]
    images = [
        figure.image
        for part in document.sections
        for block in part.blocks
        if isinstance(block, FigureRow)
        for figure in block.figures
    ]
    assert images == ["before", "after"]
    (row,) = tables(section(document, "Change between films"))[0].rows
    assert [cell.text for cell in row] == [
        CHANGE.name,
        CHANGE.earlier,
        CHANGE.later,
        CHANGE.change,
        CHANGE.verdict,
    ]


def test_every_figure_has_a_caption_and_an_alternative_in_words() -> None:
    document = case_report(a_case(a_film(*analytic_findings())), load())
    (row,) = [b for part in document.sections for b in part.blocks if isinstance(b, FigureRow)]
    for figure in row.figures:
        assert figure.caption == "AP pelvis, at 26.7 years, left hip. Read by AB."
        assert "AP pelvis, left hip" in figure.alternative


def test_grades_are_told_among_the_findings_and_with_their_meaning_below() -> None:
    document = case_report(a_case(a_film(a_measurement(24, 20, 28)), grades=(GRADE,)), load())
    assert "Tönnis grade: 1, graded by AB." in words(document.sections[0])
    (row,) = tables(section(document, "Graded readings"))[0].rows
    assert [cell.text for cell in row] == ["Tönnis grade", "1", "slight", "AB"]
    assert row[0].quiet == "Tönnis [memory]"


def test_a_split_class_says_what_would_settle_it_and_a_certain_one_does_not() -> None:
    split, certain = a_measurement(24, 20, 28), a_measurement(30, 29, 31)
    assert classed(split).is_split
    assert not classed(certain).is_split

    def listings(found: Measurement) -> list[str]:
        blocks = case_report(a_case(a_film(found)), load()).sections[1].blocks
        return [item for block in blocks if isinstance(block, Listing) for item in block.items]

    assert listings(split) == [f"LCEA: {classed(split).settles}."]
    assert listings(certain) == []


def test_warnings_of_the_film_and_notes_of_a_value_are_told_once_under_mind() -> None:
    warned = {"quality_warning": "the pelvis is rotated", "notes": ("leveled by teardrops",)}
    film = a_film(
        a_measurement(24, 20, 28, **warned),
        a_measurement(8, 6, 10, definition="roof_angle.tonnis", **warned),
        warnings=("side marker not found",),
    )
    document = case_report(a_case(film), load())
    (notice,) = [b for b in document.sections[1].blocks if isinstance(b, Notice)]
    assert notice.text.startswith("side marker not found. ")
    both = "Lateral center-edge angle, to the sourcil, Roof angle of Tönnis"
    assert f"{both}: the pelvis is rotated." in notice.text
    assert f"{both}: leveled by teardrops." in notice.text
    (table,) = tables(document.sections[1])
    assert all("position of the pelvis" in row[0].quiet for row in table.rows)


def test_what_was_not_measured_is_told_with_its_reason() -> None:
    lacking = NotMeasured(
        definition="a", name="Sharp angle", reason="", side=Side.LEFT, missing=("teardrop",)
    )
    refused = NotMeasured(definition="b", name="LCEA", reason="edge below head", side=Side.LEFT)
    other = NotMeasured(definition="c", name="FEAR index", reason="other", side=Side.RIGHT)
    film = a_film(a_measurement(24, 20, 28), lacking, refused, other)
    told = words(case_report(a_case(film), load()).sections[1])
    assert "Not measurable on this film: LCEA (edge below head)." in told
    assert "landmarks were not placed: Sharp angle." in told
    assert "FEAR" not in told


def test_only_an_invented_case_is_called_invented() -> None:
    assert "Invented" in case_report(a_case(), load()).subtitle
    assert case_report(a_case(invented=False), load()).subtitle == ""


def test_every_source_that_was_used_is_listed_once_with_how_it_was_seen() -> None:
    found = a_measurement(24, 20, 28)
    document = case_report(a_case(a_film(found, found)), load())
    (listing,) = [b for b in document.sections[-1].blocks if isinstance(b, Listing)]
    used = {*found.provenance.sources, classed(found).reference.id}
    assert len(listing.items) == len(used)
    for key in used:
        source = load().reference(key)
        (line,) = [item for item in listing.items if item.startswith(source.text)]
        assert line.endswith(f"[{source.seen.value}]")


def test_the_letter_tells_films_changes_grades_method_and_caution() -> None:
    film = a_film(a_measurement(24, 20, 28, baseline="line of the head centers"))
    lines = letter_text(a_case(film, grades=(GRADE,), changes=(CHANGE,)), load()).splitlines()
    assert lines[0] == "Left hip (K7M-4QX)."
    assert lines[1] == film_sentence(a_case(film), film, load())
    assert "read by AB" in lines[1]
    assert lines[2:] == [
        "Alpha angle: 71.0° to 48.0°, beyond doubt.",
        "Tönnis grade: 1 (graded by AB).",
        "Leveled by the line of head centers.".replace("line of", "line of the"),
        CAUTION,
    ]


def test_a_film_of_unknown_date_is_titled_by_its_view_alone() -> None:
    film = replace(a_film(a_measurement(24, 20, 28)), when="")
    assert film.title == "AP pelvis"


def test_a_film_of_the_other_hip_alone_has_no_headline_table() -> None:
    film = a_film(a_measurement(24, 20, 28, side=Side.RIGHT))
    document = case_report(a_case(film), load())
    assert tables(document.sections[0]) == []
