"""The report as one HTML page: text is data, nothing is fetched, every picture is told."""

from __future__ import annotations

import io
import re
from base64 import b64decode
from html.parser import HTMLParser

import numpy as np
import pytest
from PIL import Image

from hipwright.adapters.documents.film_png import PngPrinter, film_png
from hipwright.adapters.documents.web_page import to_html
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit
from hipwright.workflows.measure_hip import measure_case
from tests.analytic_cases import GRAYS, NAME, NUMBER
from tests.practices import CAUTION, Practice
from tests.unit.adapters.documents.hostile import (
    BEYOND_FONTS,
    HOSTILE,
    LONG,
    RIGHT_TO_LEFT,
    document_of,
)

PNG = film_png(np.full((30, 40), 900, np.uint16), (900.0, 900.0), (0.0, 0.0, 40.0, 30.0))
SVG_NAMESPACE = "http://www.w3.org/2000/svg"


class Page(HTMLParser):
    """The elements and the text of a page, as the standard library reads it."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.texts: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attrs}))

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    def all(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.elements if name == tag]

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())


@pytest.mark.parametrize("text", [*HOSTILE, BEYOND_FONTS, RIGHT_TO_LEFT, LONG])
def test_hostile_text_comes_out_as_text_and_adds_no_element(text: str) -> None:
    page, plain = Page(to_html(document_of(text), [PNG])), Page(to_html(document_of("x"), [PNG]))
    assert [tag for tag, _ in page.elements] == [tag for tag, _ in plain.elements]
    names = [sorted(attributes) for _, attributes in page.elements]
    assert names == [sorted(attributes) for _, attributes in plain.elements]
    wanted = " ".join(text.split())
    # title, subtitle, facts, section, paragraph, notice, table, listing, label, caption, footer
    assert page.text.count(wanted) >= 15
    assert all(text in figure["aria-label"] for figure in page.all("figure"))


def test_the_page_runs_nothing_and_asks_nobody() -> None:
    html = to_html(document_of("x"), [PNG])
    page = Page(html)
    (policy,) = [
        meta["content"]
        for meta in page.all("meta")
        if meta.get("http-equiv") == "Content-Security-Policy"
    ]
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules == {
        "default-src": "'none'",
        "img-src": "data:",
        "style-src": "'unsafe-inline'",
        "base-uri": "'none'",
        "form-action": "'none'",
    }
    assert not {tag for tag, _ in page.elements} & {"script", "link", "iframe", "form", "base"}
    for _, attributes in page.elements:
        for name, value in attributes.items():
            assert not name.startswith("on")
            if name in {"src", "href", "xlink:href", "action"}:
                assert value.startswith("data:image/png;base64,")
    assert set(re.findall(r"https?://[^\"' <]+", html)) <= {SVG_NAMESPACE}
    assert "url(" not in html
    assert "@import" not in html


def test_every_figure_shows_the_picture_of_its_own_film() -> None:
    practice = Practice(printer=PngPrinter())
    kept = practice.case("after_ap", "dunn", "ap")
    for key in kept.images:
        practice.read(kept, key)
    made = practice.report(kept)
    page = Page(to_html(made.document, made.pictures))
    shown: list[float] = []
    for image in page.all("image"):
        content = b64decode(image["href"].removeprefix("data:image/png;base64,"))
        shown.append(float(np.mean(np.asarray(Image.open(io.BytesIO(content))))))
    in_order = ("dunn", "ap", "ap", "after_ap", "after_ap")  # by day, then as they came in
    assert shown == pytest.approx([255 * GRAYS[key] / 4096 for key in in_order], abs=1)
    assert len(page.all("figcaption")) == len(page.all("figure")) == len(shown)


def test_tables_have_the_numbers_that_were_measured() -> None:
    practice = Practice(printer=PngPrinter())
    kept = practice.case("ap")
    practice.read(kept, "ap")
    made = practice.report(kept)
    text = Page(to_html(made.document, made.pictures)).text
    (shown,) = measure_case(practice.keeper, kept.case, software="hipwright 9")
    told = [found for found in shown.findings if isinstance(found, Measurement)]
    assert len(told) > 20
    for found in told:
        assert found.side in {Side.LEFT, None}
        row = f"{found.name} {value_with_unit(found)} {interval_in_words(found)}"
        warned = f"{found.name} mind the position of the pelvis, below"
        assert row in text or warned in text
    assert CAUTION in text


def test_every_range_bar_is_told_in_words() -> None:
    practice = Practice(printer=PngPrinter())
    kept = practice.case("ap")
    practice.read(kept, "ap")
    made = practice.report(kept)
    bars = [
        svg for svg in Page(to_html(made.document, made.pictures)).all("svg") if "class" in svg
    ]
    assert len(bars) > 5
    assert all(svg["role"] == "img" and "interval" in svg["aria-label"] for svg in bars)


def test_tables_and_page_have_headings_and_a_language() -> None:
    page = Page(to_html(document_of("x"), [PNG]))
    assert page.all("html") == [{"lang": "en"}]
    assert {heading["scope"] for heading in page.all("th")} == {"col", "row"}
    assert len(page.all("h1")) == 1
    assert page.all("caption") == [{}]


def test_a_case_without_readings_is_a_page_with_its_caution() -> None:
    practice = Practice()
    made = practice.report(practice.case("ap"))
    page = Page(to_html(made.document, made.pictures))
    assert page.all("figure") == []
    assert CAUTION in page.text
    assert "not a medical device" in page.text


def test_identity_stands_on_the_page_only_for_the_care_record() -> None:
    practice = Practice(printer=PngPrinter())
    kept = practice.case("ap")
    practice.read(kept, "ap")
    plain, named = (practice.report(kept, identity=who) for who in (None, practice.identities))
    for planted in (NAME, NUMBER):
        assert planted not in to_html(plain.document, plain.pictures)
        assert planted in to_html(named.document, named.pictures)
