"""The list of cases: filters, search, order, pages."""

from datetime import UTC, date, datetime

import pytest

from hipwright.domain.side import Side
from hipwright.workflows.list_cases import CaseLine, Films, Order, Origin, Reading, Wanted, page_of


def line(code: str, **facts: object) -> CaseLine:
    usual: dict[str, object] = {
        "id": code,
        "code": code,
        "side": Side.LEFT,
        "person": f"person of {code}",
        "summary": "",
        "opened_at": datetime(2024, 1, 1, tzinfo=UTC),
        "invented": False,
        "sex": "F",
        "birth_date_shifted": date(1990, 6, 15),
        "films": 1,
        "unread": 0,
        "newest_film_on": date(2020, 6, 14),
        "stamp": "",
    }
    return CaseLine(**(usual | facts))  # pyright: ignore[reportArgumentType] - any of the facts


def codes(wanted: Wanted, *lines: CaseLine, number: int = 1, size: int = 10) -> list[str]:
    return [one.code for one in page_of(lines, wanted, number=number, size=size).lines]


def test_age_counts_completed_years_only() -> None:
    assert line("A").age_at_newest_film == 29
    assert line("A", newest_film_on=date(2020, 6, 15)).age_at_newest_film == 30
    assert line("A", newest_film_on=None).age_at_newest_film is None


def test_what_is_not_known_comes_last_in_either_direction() -> None:
    lines = [line("B", newest_film_on=None), line("A"), line("C", newest_film_on=date(2024, 1, 1))]
    assert codes(Wanted(descending=True), *lines) == ["C", "A", "B"]
    assert codes(Wanted(descending=False), *lines) == ["A", "C", "B"]


@pytest.mark.parametrize("order", list(Order))
def test_every_order_sorts(order: Order) -> None:
    lines = [line(code, side=side) for code, side in (("B", Side.RIGHT), ("A", Side.LEFT))]
    assert sorted(codes(Wanted(order=order), *lines)) == ["A", "B"]


def test_a_hip_without_films_is_neither_read_nor_unread() -> None:
    bare = line("A", films=0, newest_film_on=None)
    assert codes(Wanted(reading=Reading.READ), bare) == []
    assert codes(Wanted(reading=Reading.UNREAD), bare) == []
    assert codes(Wanted(films=Films.NONE), bare) == ["A"]


def test_search_wants_every_word_in_code_or_line_or_a_known_person() -> None:
    lines = [line("K7M-4QX", summary="Rower with a bump"), line("ZZZ-ZZZ", summary="Dancer")]
    assert codes(Wanted(search="bump ROWER"), *lines) == ["K7M-4QX"]
    assert codes(Wanted(search="k7m4qx"), *lines) == ["K7M-4QX"]
    assert codes(Wanted(search="rower dancer"), *lines) == []
    assert codes(Wanted(search="zelda", people={"person of ZZZ-ZZZ"}), *lines) == ["ZZZ-ZZZ"]


def test_origin_tells_real_from_invented() -> None:
    lines = [line("A", invented=True), line("B")]
    assert codes(Wanted(origin=Origin.INVENTED), *lines) == ["A"]
    assert codes(Wanted(origin=Origin.REAL), *lines) == ["B"]


def test_pages_hold_each_case_once_and_stop_at_the_last() -> None:
    lines = [line(f"{n:03}") for n in range(23)]
    wanted = Wanted(order=Order.CODE, descending=False)
    seen = [code for n in (1, 2, 3) for code in codes(wanted, *lines, number=n)]
    assert seen == [one.code for one in lines]
    page = page_of(lines, wanted, number=99, size=10)
    assert (page.number, page.pages, page.found) == (3, 3, 23)


def test_an_empty_list_has_one_empty_page() -> None:
    page = page_of([], Wanted(), number=1, size=10)
    assert (page.lines, page.pages) == ((), 1)
