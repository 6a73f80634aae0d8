"""A browser finds, adds and opens hips; every page is accessible and fits its screen."""

from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from hipwright.domain.side import Side
from tests.dicom_makers import film, saved
from tests.web_house import LONG_NAME, WebHouse, add_person, open_house

PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 800}


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[WebHouse]:
    with open_house(tmp_path) as house:
        yield house


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WebHouse]:
    with open_house(tmp_path_factory.mktemp("house")) as opened:
        add_person(opened.opened, sides=(Side.LEFT, Side.RIGHT), films=3)
        add_person(
            opened.opened, name=LONG_NAME, number="L-" + "9" * 40, summary="long words " * 18
        )
        add_person(opened.opened, name="", films=0, invented=True)
        yield opened


@pytest.fixture
def inside(open_context: Callable[..., BrowserContext], house: WebHouse) -> Page:
    context = open_context(viewport=DESK)
    house.enter(context)
    return context.new_page()


def fits(page: Page) -> bool:
    width = page.evaluate("document.documentElement.scrollWidth")
    return width <= page.evaluate("window.innerWidth")


def codes(page: Page) -> set[str]:
    return set(page.locator("table.cases .code").all_text_contents())


PLACES = [
    "/cases",
    "/cases?films=none&side=left&origin=real",
    "/cases/{code}",
    "/cases/{bare}",
    "/cases/{long}",
    "/cases/{code}/history",
    "/catalog",
    "/catalog/lateral_center_edge_angle.sourcil",
    "/catalog/tonnis_grade",
    "/workspace",
    "/agreement",
    "/cases/none-such",
]


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_a_page_is_accessible_and_fits_its_screen(
    inside: Page,
    house: WebHouse,
    assert_accessible: Callable[[Page], None],
    place: str,
    viewport: dict[str, int],
) -> None:
    lines = house.opened.keeper.case_lines()
    known = {
        "code": lines[0].code,
        "long": next(line.code for line in lines if line.summary.startswith("long")),
        "bare": next(line.code for line in lines if not line.films),
    }
    inside.set_viewport_size({"width": viewport["width"], "height": viewport["height"]})
    inside.goto(house.address + place.format(**known))
    inside.wait_for_load_state("networkidle")
    assert_accessible(inside)
    assert fits(inside)
    expect(inside.locator("footer")).to_contain_text("Not a medical device")


def test_locked_out_the_page_says_how_to_get_in(
    page: Page, house: WebHouse, assert_accessible: Callable[[Page], None]
) -> None:
    page.goto(house.address)
    expect(page.get_by_role("heading", level=1)).to_have_text("hipwright is locked")
    assert_accessible(page)
    page.get_by_role("button", name="Print a new start link").click()
    expect(page.get_by_text("has been printed")).to_be_visible()
    page.goto(house.said[-1].rpartition(": ")[2])
    expect(page.get_by_role("heading", level=1)).to_have_text("Cases")


def test_a_search_by_name_finds_the_hips_and_stays_out_of_the_address(
    inside: Page, house: WebHouse
) -> None:
    inside.goto(f"{house.address}/cases")
    inside.get_by_role("searchbox").press_sequentially("Ada Ex")
    expect(inside.locator("table.cases tbody tr")).to_have_count(2)
    assert "Ada" not in inside.url
    inside.get_by_label("Side").select_option("Right")
    expect(inside.locator("table.cases tbody tr")).to_have_count(1)
    assert "side=right" in inside.url
    inside.get_by_role("searchbox").fill("")
    expect(inside.locator("table.cases tbody tr")).to_have_count(1)


def test_names_can_be_hidden(inside: Page, house: WebHouse) -> None:
    inside.goto(f"{house.address}/cases")
    expect(inside.get_by_text("Ada Example").first).to_be_visible()
    inside.get_by_role("button", name="Hide names").click()
    expect(inside.get_by_text("Ada Example")).to_have_count(0)
    inside.get_by_role("button", name="Show names").click()
    expect(inside.get_by_text("Ada Example").first).to_be_visible()


def test_the_numbers_of_a_hip_appear_in_the_list(inside: Page, house: WebHouse) -> None:
    inside.goto(f"{house.address}/cases")
    expect(inside.locator("td.finding .figures", has_text="°").first).to_be_visible(timeout=15_000)


def test_the_keyboard_reaches_a_case(inside: Page, house: WebHouse) -> None:
    inside.goto(f"{house.address}/cases")
    inside.keyboard.press("Tab")
    expect(inside.get_by_text("Skip to content")).to_be_focused()
    inside.keyboard.press("Enter")
    for _ in range(20):
        inside.keyboard.press("Tab")
        if inside.evaluate("document.activeElement.matches('.which a')"):
            break
    inside.keyboard.press("Enter")
    inside.wait_for_url("**/cases/*")
    expect(inside.get_by_role("heading", level=2, name="Films")).to_be_visible()


def test_a_study_is_added_confirmed_and_opened(
    open_context: Callable[..., BrowserContext],
    empty: WebHouse,
    tmp_path: Path,
    assert_accessible: Callable[[Page], None],
) -> None:
    context = open_context(viewport=DESK)
    empty.enter(context)
    page = context.new_page()
    page.goto(f"{empty.address}/cases")
    expect(page.get_by_role("heading", name="No cases yet")).to_be_visible()
    assert_accessible(page)
    page.get_by_role("button", name="Add images").click()
    assert_accessible(page)
    one = saved(film(1, shape=(300, 400)), tmp_path / "one.dcm")
    note = tmp_path / "<img src=x onerror=alert(1)>.txt"
    note.write_text("hello")
    page.set_input_files("#adding-files", [one, note])
    expect(page.get_by_role("heading", name="Is this right?")).to_be_visible(timeout=20_000)
    assert_accessible(page)
    expect(page.get_by_text("Neither DICOM nor")).to_be_visible()
    page.get_by_role("group", name="Which hip").get_by_label("Left").check()
    page.get_by_label("The case in a line").fill("From the browser")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.get_by_role("heading", name="Kept")).to_be_visible(timeout=20_000)
    assert_accessible(page)
    page.get_by_role("link", name="Open the case").click()
    expect(page.get_by_text("From the browser")).to_be_visible()


def test_files_dropped_on_the_page_are_taken(
    open_context: Callable[..., BrowserContext], empty: WebHouse
) -> None:
    context = open_context(viewport=DESK)
    empty.enter(context)
    page = context.new_page()
    page.goto(f"{empty.address}/cases")
    transfer = page.evaluate_handle(
        """() => {
            const transfer = new DataTransfer();
            transfer.items.add(new File(["nothing"], "nothing.txt"));
            return transfer;
        }"""
    )
    page.dispatch_event("body", "drop", {"dataTransfer": transfer})
    expect(page.get_by_role("heading", name="Nothing to keep yet")).to_be_visible(timeout=20_000)


def test_details_of_a_film_are_edited_and_a_stale_edit_shows_both(
    inside: Page, house: WebHouse, assert_accessible: Callable[[Page], None]
) -> None:
    code = house.opened.keeper.case_lines()[0].code
    inside.goto(f"{house.address}/cases/{code}")
    inside.get_by_role("button", name="Edit details of 45° Dunn").click()
    dialog = inside.get_by_role("dialog")
    expect(dialog).to_be_visible()
    assert_accessible(inside)
    case = house.opened.keeper.case(code)
    dunn = next(i for i in house.opened.keeper.images_of(case.person) if i.view.value == "dunn_45")
    from dataclasses import replace

    house.opened.keeper.change_image(replace(dunn, phase="before surgery"), expected_version=1)
    dialog.get_by_label("Posture").select_option("Supine")
    dialog.get_by_role("button", name="Save").click()
    expect(inside.get_by_role("alert")).to_contain_text("before surgery")
    assert_accessible(inside)
    inside.get_by_role("dialog").get_by_role("button", name="Save").click()
    expect(inside.locator(".film", has_text="45° Dunn")).to_contain_text("supine")


def test_a_grade_is_given(
    inside: Page, house: WebHouse, assert_accessible: Callable[[Page], None]
) -> None:
    code = house.opened.keeper.case_lines()[0].code
    inside.goto(f"{house.address}/cases/{code}")
    inside.locator("summary", has_text="Tönnis grade").click()
    assert_accessible(inside)
    form = inside.locator(".grade[open]")
    form.locator("input[value='1']").check()
    form.get_by_label("Your reader's code").fill("AB")
    form.get_by_role("button", name="Save the grade").click()
    expect(inside.locator(".grade .tag").first).to_have_text("1")


def test_the_findings_are_copied_as_text(
    open_context: Callable[..., BrowserContext], house: WebHouse
) -> None:
    context = open_context(viewport=DESK, permissions=["clipboard-read", "clipboard-write"])
    house.enter(context)
    page = context.new_page()
    code = house.opened.keeper.case_lines()[0].code
    page.goto(f"{house.address}/cases/{code}")
    page.get_by_role("button", name="Copy as text").click()
    expect(page.get_by_role("status").filter(has_text="copied")).to_be_visible(timeout=15_000)
    assert code in page.evaluate("navigator.clipboard.readText()")


def test_dialogs_are_accessible(
    inside: Page, house: WebHouse, assert_accessible: Callable[[Page], None]
) -> None:
    code = house.opened.keeper.case_lines()[0].code
    inside.goto(f"{house.address}/cases/{code}")
    inside.wait_for_load_state("networkidle")
    for name in ("Report", "Edit", "Load landmarks", "Add images"):
        inside.get_by_role("button", name=name, exact=True).first.click()
        expect(inside.get_by_role("dialog")).to_be_visible()
        assert_accessible(inside)
        inside.keyboard.press("Escape")


def test_the_check_up_tells_what_it_found(
    inside: Page, house: WebHouse, assert_accessible: Callable[[Page], None]
) -> None:
    inside.goto(f"{house.address}/workspace")
    inside.get_by_role("button", name="Check the workspace").click()
    expect(inside.get_by_role("table")).to_be_visible(timeout=15_000)
    assert_accessible(inside)


def test_a_page_that_nobody_uses_locks_itself(
    inside: Page, house: WebHouse, assert_accessible: Callable[[Page], None]
) -> None:
    inside.clock.install()
    inside.goto(f"{house.address}/cases")
    with inside.expect_response("**/access/left") as answered:
        inside.clock.run_for(2_000)
    answered.value.finished()
    inside.evaluate("() => new Promise((done) => queueMicrotask(done))")  # the next look is set
    house.clock.later = house.state.settings.lock_after + timedelta(seconds=1)
    try:
        inside.clock.run_for(302_000)
        inside.wait_for_url("**/locked")
    finally:
        house.clock.later = timedelta(0)
