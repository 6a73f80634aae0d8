"""The page about agreement and the change between films, on a running server."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date

import httpx
import numpy as np
import pytest

from hipwright.apps.web.agreement.plot import plot_of
from hipwright.domain.keeping import Study
from hipwright.domain.measurement import Unit
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.engines.outcomes.agreement import agreement, differences
from hipwright.workflows.compare_readers import ReadersCompared, compare_readers, values_of
from hipwright.workflows.save_reading import save_reading
from tests.web_house import PAGE, WebHouse, add_person, film, landmarks, open_house

LCEA = "lateral_center_edge_angle.sourcil"


def moved(house: WebHouse, observer: str, reading: int, by_px: float) -> None:
    """Every AP film read by somebody whose sourcil lies elsewhere."""
    keeper = house.opened.keeper
    for line in keeper.case_lines():
        case = keeper.case(line.code)
        (image, *_) = [i for i in keeper.images_of(case.person) if i.view is View.PELVIS_AP]
        placed = landmarks(image, observer, reading)
        points = tuple(replace(p, y_px=p.y_px + by_px) for p in placed.points)
        save_reading(keeper, case, image, replace(placed, points=points))


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WebHouse]:
    with open_house(tmp_path_factory.mktemp("house")) as opened:
        for number in range(3):
            add_person(opened.opened, name=f"Person {number}", number=f"N-{number}")
        yield opened


def test_before_anything_is_read_twice_the_page_says_what_to_do(inside: httpx.Client) -> None:
    assert "Nothing was read twice yet" in inside.get("/agreement/table").text
    assert inside.get(f"/agreement/{LCEA}").status_code == 404


def test_the_page_has_the_figures_of_the_engine(house: WebHouse, inside: httpx.Client) -> None:
    moved(house, "human:CD", 1, 1.5)
    moved(house, "human:AB", 2, -0.5)
    keeper = house.opened.keeper
    told = [
        one
        for name in keeper.images_read_again()
        for one in values_of(keeper.image(name), keeper.readings_of(name))
    ]
    (one,) = [c for c in compare_readers(told) if c.definition == LCEA]
    assert one.readers == (("human:AB", 1), ("human:AB", 2), ("human:CD", 1))
    assert len(one.subjects) == 6
    assert one.agreement == agreement(one.values)
    assert one.agreement is not None
    assert one.differences == differences(one.values[:, 0], one.values[:, 1])
    table = inside.get("/agreement/table").text
    assert f"{one.agreement.smallest_detectable_change:.1f}°" in table
    page = inside.get(f"/agreement/{LCEA}", headers=PAGE).text
    assert page.count('<circle class="dot"') == 6
    assert page.count('<tr><th scope="row"') == 6  # the table twin has every point of the plot


def test_the_plot_draws_its_levels_where_its_numbers_are() -> None:
    first = np.array([10.0, 20.0, 30.0, 40.0])
    second = first + np.array([1.0, -1.0, 2.0, -2.0])
    compared = ReadersCompared(
        definition="x",
        name="x",
        unit=Unit.DEGREE,
        reported_to=0.1,
        readers=(("a", 1), ("b", 1)),
        subjects=tuple((str(n), "left") for n in range(4)),
        values=np.column_stack([first, second]),
        agreement=None,
        differences=differences(first, second),
    )
    plot = plot_of(compared)
    assert plot is not None
    upper, mean, lower = plot.lines
    assert upper.at < mean.at < lower.at  # up is less on a screen
    assert mean.at == pytest.approx((upper.at + lower.at) / 2, abs=0.2)
    tick = next(t for t in plot.up if t.words == "0")
    assert tick.at == pytest.approx(mean.at, abs=0.2)  # the mean difference is zero
    assert all(plot.left <= dot.x <= plot.right for dot in plot.dots)
    assert all(plot.top <= dot.y <= plot.bottom for dot in plot.dots)


def test_readers_are_compared_on_hips_that_they_share() -> None:
    assert compare_readers([]) == ()


def test_a_change_between_two_films_is_shown_with_what_can_be_detected(
    house: WebHouse, inside: httpx.Client
) -> None:
    keeper = house.opened.keeper
    case = keeper.case(keeper.case_lines()[0].code)
    assert inside.get(f"/cases/{case.code}/change").text.strip() == ""
    study = Study(
        id=keeper.new_id(), person=case.person, acquired_on=date(2022, 5, 5), label="Later"
    )
    keeper.add_study(study)
    later = film(house.opened, study, View.PELVIS_AP, Side.LEFT)
    placed = landmarks(later)
    points = tuple(replace(p, y_px=p.y_px + 12) for p in placed.points)
    save_reading(keeper, case, later, replace(placed, points=points))
    shown = inside.get(f"/cases/{case.code}/change").text
    assert "Change between two films" in shown
    row = re.search(r"Lateral center-edge angle, to the sourcil.*?</tr>", shown, re.DOTALL)
    assert row is not None
    assert "<strong>changed</strong>" in row.group()
