"""Marks over a film as SVG: in the film's own pixels, words as words."""

from __future__ import annotations

from typing import Any
from xml.etree import ElementTree as ET

import pytest

from hipwright.adapters.documents.film_svg import STYLES, Crop, overlay_svg
from hipwright.domain.film_marks import (
    ArcMark,
    CircleMark,
    LabelMark,
    LineMark,
    Mark,
    PointMark,
    Stroke,
)
from tests.unit.adapters.documents.hostile import BEYOND_FONTS, HOSTILE, RIGHT_TO_LEFT

CROP = Crop(left=10.0, top=20.0, width=460.0, height=230.0)
SVG = "{http://www.w3.org/2000/svg}"


def drawn(*marks: Mark, crop: Crop = CROP, **how: Any) -> ET.Element:
    return ET.fromstring(overlay_svg(marks, crop, **how))  # noqa: S314 (our own SVG)


def test_the_drawing_lies_on_the_crop_in_pixels_of_the_film() -> None:
    svg = drawn(LineMark(xy=((11.0, 22.0), (13.25, 24.5))))
    assert svg.attrib["viewBox"] == "10.00 20.00 460.00 230.00"
    (line,) = svg
    assert (line.tag, line.attrib["points"]) == (f"{SVG}polyline", "11.00,22.00 13.25,24.50")


def test_each_mark_has_its_own_form() -> None:
    xy = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0))
    svg = drawn(
        LabelMark(at=(5.0, 6.0), text="LCEA 28°"),
        CircleMark(xy=xy),
        ArcMark(center=(0.0, 0.0), xy=xy),
        PointMark(at=(3.0, 4.0), landmark="alpha_onset", name="Onset"),
    )
    tags = [element.tag.removeprefix(SVG) for element in svg]
    assert tags == ["polygon", "polyline", "path", "text"]  # words lie on top
    assert svg[-1].text == "LCEA 28°"
    assert svg[2].attrib["d"].startswith("M-1.00,4.00H7.00")


def test_strokes_are_told_apart_by_more_than_color() -> None:
    assert set(STYLES) == set(Stroke)
    styles = {
        stroke: drawn(LineMark(xy=((0.0, 0.0), (1.0, 1.0)), stroke=stroke))[0].attrib
        for stroke in Stroke
    }
    assert "stroke-dasharray" in styles[Stroke.BASELINE]
    assert "stroke-opacity" in styles[Stroke.FAINT]
    assert len({style["stroke"] for style in styles.values()}) == len(Stroke)


def test_strokes_and_letters_have_one_size_in_print() -> None:
    label = LabelMark(at=(0.0, 0.0), text="x")
    alone, beside = (
        float(drawn(label, text_width_share=share)[0].attrib["font-size"]) for share in (1.0, 0.5)
    )
    assert beside == 2 * alone
    wide = Crop(left=0.0, top=0.0, width=920.0, height=460.0)
    assert float(drawn(label, crop=wide)[0].attrib["font-size"]) == 2 * alone


def test_a_picture_lies_under_the_marks_and_fills_the_crop() -> None:
    svg = drawn(LineMark(xy=((0.0, 0.0), (1.0, 1.0))), picture='data:image/png;base64,"&<')
    image = svg[0]
    assert image.tag == f"{SVG}image"
    assert image.attrib["href"] == 'data:image/png;base64,"&<'
    assert [image.attrib[name] for name in ("x", "y", "width", "height")] == [
        "10.00",
        "20.00",
        "460.00",
        "230.00",
    ]


@pytest.mark.parametrize("text", [*HOSTILE, BEYOND_FONTS, RIGHT_TO_LEFT])
def test_a_label_is_text_and_never_markup(text: str) -> None:
    svg = drawn(LabelMark(at=(0.0, 0.0), text=text))
    assert len(svg) == 1
    assert svg[0].text == text
    assert len(svg[0]) == 0


def test_a_control_character_does_not_break_the_drawing() -> None:
    svg = drawn(LabelMark(at=(0.0, 0.0), text="a\x00b\x1b[31m\nc"))
    assert svg[0].text == "ab[31mc"
