"""The report as a PDF, read back by poppler's tools."""

from __future__ import annotations

import re
import subprocess
import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from hipwright.adapters.documents.film_png import PngPrinter, film_png
from hipwright.adapters.documents.typst_pdf import to_pdf
from hipwright.domain.errors import KeepingError
from hipwright.domain.measurement import Measurement
from hipwright.domain.report import Document, Facts, Paragraph, Section
from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit
from hipwright.workflows.measure_hip import measure_case
from tests.analytic_cases import BORN, NAME, NUMBER
from tests.practices import CAUTION, Practice
from tests.unit.adapters.documents.hostile import (
    BEYOND_FONTS,
    HOSTILE,
    LONG,
    RIGHT_TO_LEFT,
    document_of,
)

PNG = film_png(np.full((30, 40), 900, np.uint16), (900.0, 900.0), (0.0, 0.0, 40.0, 30.0))
Reader = Callable[..., str]


@pytest.fixture
def poppler(program: Callable[[str], Path], tmp_path: Path) -> Reader:
    """Run one of poppler's tools on a PDF and return what it says."""
    tools = program("pdftotext").parent

    def read(pdf: bytes, tool: str = "pdftotext", *options: str) -> str:
        path = tmp_path / "read.pdf"
        path.write_bytes(pdf)
        to = ["-"] if tool == "pdftotext" else []
        done = subprocess.run(
            [tools / tool, *options, path, *to], capture_output=True, check=True, timeout=60
        )
        if tool == "pdftotext":
            assert done.stderr == b"", done.stderr  # there it grumbles about a broken file
        return done.stdout.decode(errors="replace")

    return read


def squeezed(text: str) -> str:
    """Without spaces and invisible characters, which a line break may add or take."""
    return re.sub(r"[\s\u200b\u200e\u200f\u202a-\u202e]+", "", text)


@pytest.fixture
def practice() -> Practice:
    return Practice(printer=PngPrinter())


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_comes_out_as_text(poppler: Reader, text: str) -> None:
    found = squeezed(poppler(to_pdf(document_of(text), [PNG])))
    assert found.count(squeezed(text)) >= 12


def test_text_from_right_to_left_and_very_long_names_come_out_whole(poppler: Reader) -> None:
    rows = (("Name", LONG), ("Other", RIGHT_TO_LEFT))
    document = replace(document_of("x", figure=False), facts=Facts(rows=rows))
    found = squeezed(poppler(to_pdf(document, ())))
    assert found.count("A") == len(LONG)
    assert RIGHT_TO_LEFT in found


def test_a_letter_that_no_shipped_font_has_takes_no_other_with_it(poppler: Reader) -> None:
    found = squeezed(poppler(to_pdf(document_of(f"before {BEYOND_FONTS} after"), [PNG])))
    assert found.count("before") == found.count("after") >= 12


def test_every_page_bears_the_caution_and_its_number(poppler: Reader) -> None:
    long = Section(title="Long", blocks=tuple(Paragraph(text=f"line {n}") for n in range(150)))
    practice = Practice()
    made = practice.report(practice.case())
    document = replace(made.document, sections=(*made.document.sections, long))
    pages = poppler(to_pdf(document, ())).rstrip("\f").split("\f")
    assert len(pages) >= 3
    for number, page in enumerate(pages, start=1):
        assert f"Page {number} of {len(pages)}" in page
        words = " ".join(page.split())
        assert "one input for licensed clinicians, not a medical device" in words
        assert "not validated on clinical images" in words


def test_the_pdf_is_a_tagged_a4_document_without_scripts(poppler: Reader) -> None:
    told = dict(
        line.split(":", 1)
        for line in poppler(to_pdf(document_of("Left hip"), [PNG]), "pdfinfo").splitlines()
    )
    told = {name: value.strip() for name, value in told.items()}
    assert told["Title"] == "Left hip"
    assert told["Tagged"] == "yes"
    assert (told["JavaScript"], told["Encrypted"], told["Form"]) == ("no", "no", "none")
    assert "A4" in told["Page size"]


def test_every_figure_has_an_alternative_text(poppler: Reader, practice: Practice) -> None:
    kept = practice.case("ap", "dunn")
    for key in kept.images:
        practice.read(kept, key)
    made = practice.report(kept)
    structure = poppler(to_pdf(made.document, made.pictures), "pdfinfo", "-struct")
    assert structure.count("Figure") >= 3
    plain = b"".join(streams(to_pdf(made.document, made.pictures)))
    for what in ("AP pelvis, overview", "AP pelvis, left hip", "45° Dunn, left hip"):
        assert told_in(plain, what)


def test_tables_have_the_numbers_that_were_measured(poppler: Reader, practice: Practice) -> None:
    kept = practice.case("ap")
    practice.read(kept, "ap")
    made = practice.report(kept)
    found = squeezed(poppler(to_pdf(made.document, made.pictures), "pdftotext", "-layout"))
    (shown,) = measure_case(practice.keeper, kept.case)
    told = [f for f in shown.findings if isinstance(f, Measurement)]
    assert len(told) > 20
    for measured in told:
        assert squeezed(value_with_unit(measured) + interval_in_words(measured)) in found
    assert squeezed(CAUTION) in found


def test_a_case_with_no_readings_prints(poppler: Reader, practice: Practice) -> None:
    made = practice.report(practice.case("ap"))
    text = poppler(to_pdf(made.document, made.pictures))
    assert "No film of this hip has been read yet" in " ".join(text.split())
    assert "Page 1 of 1" in text


def streams(pdf: bytes) -> list[bytes]:
    """The file's own bytes and every stream in it, unpacked."""
    found = [pdf]
    for match in re.finditer(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL):
        try:
            found.append(zlib.decompressobj().decompress(match.group(1)))
        except zlib.error:
            found.append(match.group(1))
    return found


def told_in(content: bytes, text: str) -> bool:
    """Whether a text stands in unpacked PDF bytes, in any of the ways PDF writes text."""
    wide = text.encode("utf-16-be")
    forms = (text.encode(), wide, wide.hex().encode(), wide.hex().upper().encode())
    forms += (text.encode("latin-1", "ignore"),)
    return any(form in content for form in forms)


def test_no_byte_of_the_pdf_tells_who_it_is_unless_asked(
    poppler: Reader, practice: Practice
) -> None:
    kept = practice.case("ap")
    practice.read(kept, "ap")
    image = kept.images["ap"]
    assert image.acquired_on is not None
    true = practice.identities.true_date(kept.person.id, image.acquired_on)
    secrets = (NAME, NUMBER, BORN.isoformat(), true.isoformat(), image.acquired_on.isoformat())
    plain, named = (practice.report(kept, identity=who) for who in (None, practice.identities))
    pdf = to_pdf(plain.document, plain.pictures)
    everything = b"\n".join(streams(pdf))
    text, info = poppler(pdf), poppler(pdf, "pdfinfo")
    for secret in secrets:
        assert secret not in text
        assert secret not in info
        assert not told_in(everything, secret)
    shown = poppler(to_pdf(named.document, named.pictures))
    for secret in secrets[:4]:
        assert secret in shown


def test_a_full_disk_is_told_and_not_a_crash(monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(KeepingError, match="No space left") as caught:
        to_pdf(document_of("x", figure=False), ())
    assert caught.value.next_step


def test_a_picture_that_is_none_is_told_and_not_a_crash() -> None:
    with pytest.raises(KeepingError, match="cannot print the report") as caught:
        to_pdf(document_of("x"), [b"no picture"])
    assert caught.value.found


def test_an_empty_document_prints(poppler: Reader) -> None:
    empty = Document(title="T", subtitle="", facts=Facts(rows=()), sections=(), footer="foot")
    assert "Page 1 of 1" in poppler(to_pdf(empty, ()))
