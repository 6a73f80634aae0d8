"""Tables of findings as a terminal of a given width shows them."""

import io
from dataclasses import replace

import pytest
from rich.console import Console

from hipwright.apps.cli.finding_tables import print_findings, print_hours
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from tests.bones_house import made_up_findings

LEFT = made_up_findings(Side.LEFT, 0.0)


def printed(write, findings, width, *more) -> list[str]:
    text = io.StringIO()
    write(Console(file=text, width=width), findings, *more)
    return text.getvalue().splitlines()


@pytest.mark.parametrize("width", [50, 80, 120])
def test_hours_fit_the_terminal_and_no_heading_breaks_within_a_word(width):
    lines = printed(print_hours, LEFT, width)
    assert max(map(len, lines)) <= width
    headings = " ".join(line for line in lines if line.startswith("┃")).replace("┃", " ").split()
    whole = {word for f in LEFT for word in f.name.split()} | {"Hour"}
    assert headings
    assert set(headings) <= whole
    assert any(line.startswith("│ 12:30 │") for line in lines)


def test_groups_stand_together_with_their_name_once():
    lines = printed(print_findings, [*LEFT, LEFT[0]], 100, "Measured")
    rows = [line.split("│")[1].strip() for line in lines if line.startswith("│")]
    groups = [
        name for name in rows if name.endswith("in space") and name[:5] in {"Femur", "Socke"}
    ]
    assert groups
    assert len(groups) == len(set(groups))
    assert "left hip" in lines[0]


def test_findings_of_both_sides_say_which_in_each_row():
    single = next(f for f in LEFT if isinstance(f, Measurement) and f.hour is None)
    lines = printed(print_findings, [single, replace(single, side=Side.RIGHT)], 100, "Measured")
    assert "hip" not in lines[0]
    assert any(line.startswith("│ left ") for line in lines)
    assert any(line.startswith("│ right ") for line in lines)
