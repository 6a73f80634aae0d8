"""The Films screen in a real browser: placing by mouse and by keys, numbers, keeping."""

import io
import math
import re
from collections.abc import Callable, Iterator

import pytest
from PIL import Image
from playwright.sync_api import BrowserContext, ConsoleMessage, Page, expect

from hipwright.domain.landmarks import LandmarkSet, PlacedPoint
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.domain.study import SpacingSource
from hipwright.engines.reporting.numbers import value_with_unit
from hipwright.workflows.measure_hip import measure_landmarks
from tests.e2e.films_house import HEAD_RADIUS, HEADS, FilmsHouse, open_house

CENTER = HEADS[Side.LEFT]
SOURCIL = (CENTER[0] + 62.0, CENTER[1] - 104.0)
RIM = (CENTER[0] + 80.0, CENTER[1] - 92.0)
PLACES = {
    "femoral_head": [
        (CENTER[0] + HEAD_RADIUS * math.cos(a), CENTER[1] + HEAD_RADIUS * math.sin(a))
        for a in (0.2, 1.6, 2.8, 3.9, 5.2)
    ],
    "sourcil_lateral_edge": [SOURCIL],
    "sourcil_medial_edge": [(CENTER[0] - 66.0, CENTER[1] - 90.0)],
    "acetabular_rim_lateral": [RIM],
    "femoral_neck_superior": [(CENTER[0] + 100.0, CENTER[1] + 40.0)],
    "femoral_neck_inferior": [(CENTER[0] + 40.0, CENTER[1] + 110.0)],
    "alpha_onset": [(CENTER[0] + 84.0, CENTER[1] - 38.0)],
}
READER = "human:AB"


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FilmsHouse]:
    with open_house(tmp_path_factory.mktemp("films")) as opened:
        yield opened


@pytest.fixture
def film(open_context: Callable[..., BrowserContext], house: FilmsHouse) -> Iterator[Page]:
    """The film's page, signed in, with the picture shown; it may not complain."""
    context = open_context()
    house.enter(context)
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda message: _hear(message, complaints))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    yield page
    assert complaints == []


def _hear(message: ConsoleMessage, complaints: list[str]) -> None:
    # The browser notes every refused request; a stale save is refused on purpose.
    expected = ("GPU stall", "409 (Conflict)")
    if message.type in {"error", "warning"} and not any(e in message.text for e in expected):
        complaints.append(message.text)


def show(page: Page, address: str, reader: str = "AB") -> None:
    page.goto(address)
    expect(page.locator("[data-films].shown")).to_be_visible()
    form = page.locator("[data-reader-form]")
    if form.is_visible():
        form.locator("input").fill(reader)
        form.locator("button").click()
        expect(form).to_be_hidden()


def on_screen(page: Page, place: tuple[float, float]) -> tuple[float, float]:
    x, y = page.evaluate(
        """(place) => {
            const view = document.querySelector("film-view");
            const box = view.getBoundingClientRect();
            const [x, y] = view.screenOf(place);
            return [x + box.left, y + box.top];
        }""",
        list(place),
    )
    return x, y


def asked(page: Page) -> str | None:
    return page.evaluate("document.querySelector('.step[aria-current]')?.dataset.key ?? null")


def read_one_hip_by_mouse(page: Page) -> None:
    page.locator("summary", has_text="All landmarks").click()
    page.locator("[data-pass]").select_option("left")
    page.locator("[data-do=snap]").click()
    page.locator("[data-act=next]").click()
    while (key := asked(page)) is not None:
        places = PLACES.get(key.split("@")[0])
        if places is None:
            page.locator("[data-act=skip]").click()
            continue
        for place in places:
            page.mouse.click(*on_screen(page, place))
        if len(places) > 1:
            page.locator("[data-act=finish]").click()


def saved_version(page: Page, version: int | None = None) -> None:
    words = "Saved, version" if version is None else f"Saved, version {version}"
    expect(page.locator("[data-saving]")).to_contain_text(words, timeout=8000)


def kept(house: FilmsHouse, reading: int, observer: str = READER) -> LandmarkSet:
    history = house.opened.keeper.reading_history(house.film.id, observer, reading)
    return max(history, key=lambda r: r.version).landmarks


def shown_values(page: Page) -> dict[str, str]:
    return page.evaluate(
        """() => {
            const bodies = document.querySelectorAll("[data-numbers] tbody:not([hidden])");
            const value = (body) => body.querySelector("b")?.textContent ?? "";
            return Object.fromEntries([...bodies].map((body) => [body.dataset.id, value(body)]));
        }"""
    )


def test_one_hip_read_by_mouse_shows_the_numbers_that_the_same_points_measure(
    film: Page, house: FilmsHouse, assert_accessible: Callable[[Page], None]
) -> None:
    show(film, f"{house.film_address}&reading=1")
    assert_accessible(film)
    read_one_hip_by_mouse(film)
    saved_version(film)
    landmarks = kept(house, 1)
    # One screen pixel is two film pixels here: a click lies within one and a half of them.
    sourcil = landmarks.point("sourcil_lateral_edge", Side.LEFT)
    assert sourcil is not None
    assert math.dist((sourcil.x_px, sourcil.y_px), SOURCIL) < 1.5
    findings = measure_landmarks(house.film.film(), landmarks, [Side.LEFT])
    wanted = {
        f.definition: value_with_unit(f)
        for f in findings
        if isinstance(f, Measurement) and f.side is Side.LEFT
    }
    shown = shown_values(film)
    assert {key: shown.get(key) for key in wanted} == wanted
    # By hand, from the drawing: the angle at the head's center from straight up to the sourcil.
    lcea = math.degrees(math.atan2(SOURCIL[0] - CENTER[0], CENTER[1] - SOURCIL[1]))
    assert abs(float(shown["lateral_center_edge_angle.sourcil"].rstrip("°")) - lcea) < 1.5
    film.locator("tbody[data-id='lateral_center_edge_angle.sourcil'] .choose").first.click()
    expect(film.locator(".overlay .label.value")).to_contain_text("LCEA")
    expect(film.locator("[data-about]")).to_contain_text("Wiberg")
    assert_accessible(film)


def test_what_was_placed_is_there_after_a_reload(film: Page, house: FilmsHouse) -> None:
    show(film, f"{house.film_address}&reading=1")
    before = {item.id for item in kept(house, 1)}
    assert before >= set(PLACES)
    expect(film.locator("[data-count]")).to_contain_text(f"{len(before)} of")
    expect(film.locator(".handle[role=button]").first).to_be_attached()
    expect(film.locator("tbody[data-id='alpha_angle.three_point'] b")).to_contain_text("°")


def press_to(page: Page, place: tuple[float, float]) -> None:
    """Move the crosshair to a film place by keys alone."""
    page.keyboard.press("ArrowRight")  # brings the crosshair where there is none yet
    from_x, from_y = crosshair(page)
    for distance, keys in (
        (place[0] - from_x, ("ArrowRight", "ArrowLeft")),
        (place[1] - from_y, ("ArrowDown", "ArrowUp")),
    ):
        key = keys[0] if distance > 0 else keys[1]
        left = abs(distance)
        for modifier, step in (("Control+", 100), ("Shift+", 10), ("", 1), ("Alt+", 0.1)):
            for _ in range(int(left / step + 1e-6)):
                page.keyboard.press(f"{modifier}{key}")
            left -= int(left / step + 1e-6) * step


def crosshair(page: Page) -> tuple[float, float]:
    x, y = page.evaluate(
        """async () => {
            for (let frame = 0; frame < 3; frame += 1) await new Promise(requestAnimationFrame);
            const view = document.querySelector("film-view");
            const cross = view.querySelector(".overlay .cross .crosshair");
            const [, x, y] = cross.getAttribute("transform").match(/([-.\\d]+),([-.\\d]+)/);
            return view.placeAt([Number(x), Number(y)]);
        }"""
    )
    return x, y


def test_a_landmark_and_a_circle_are_placed_by_keys_alone(
    film: Page, house: FilmsHouse, assert_accessible: Callable[[Page], None]
) -> None:
    show(film, f"{house.film_address}&reading=2")
    film.locator("film-view").first.focus()
    film.keyboard.press("g")
    assert asked(film) == "femoral_head@left"
    for place in PLACES["femoral_head"][:4]:
        press_to(film, place)
        film.keyboard.press("Enter")
        film.wait_for_timeout(40)
    film.keyboard.press("Enter")
    assert asked(film) != "femoral_head@left"
    while asked(film) != "sourcil_lateral_edge@left":
        film.keyboard.press("k")
    press_to(film, SOURCIL)
    film.keyboard.press("Enter")
    saved_version(film)
    landmarks = kept(house, 2)
    point = landmarks.point("sourcil_lateral_edge", Side.LEFT)
    assert point is not None
    # Keys move by 0.1 pixel at least, and the start of the crosshair is read off the screen.
    assert math.dist((point.x_px, point.y_px), SOURCIL) < 0.3
    lcea = math.degrees(math.atan2(SOURCIL[0] - CENTER[0], CENTER[1] - SOURCIL[1]))
    shown = shown_values(film)["lateral_center_edge_angle.sourcil"]
    assert abs(float(shown.rstrip("°")) - lcea) < 0.4
    assert_accessible(film)


def test_arrow_keys_move_a_landmark_and_every_step_is_undone_and_redone(
    film: Page, house: FilmsHouse
) -> None:
    show(film, f"{house.film_address}&reading=1")
    handle = film.locator("[data-handle='sourcil_lateral_edge@left#0']")
    start = place_of(handle.get_attribute("aria-label"))
    handle.focus()
    for keys in ("ArrowRight", "Shift+ArrowDown", "Alt+ArrowLeft"):
        film.keyboard.press(keys)
    moved = (start[0] + 0.9, start[1] + 10.0)
    expect(handle).to_have_attribute("aria-label", words(moved))
    expect(handle).to_be_focused()
    film.keyboard.press("Control+z")
    expect(handle).to_have_attribute("aria-label", words(start))
    film.keyboard.press("Control+Shift+z")
    expect(handle).to_have_attribute("aria-label", words(moved))
    film.keyboard.press("Control+z")
    film.keyboard.press("Delete")
    expect(handle).to_have_count(0)
    expect(film.locator("[data-not-measured]")).to_contain_text("Sourcil, lateral end")
    film.keyboard.press("Control+z")
    expect(handle).to_have_count(1)
    film.wait_for_timeout(1200)


def words(place: tuple[float, float]) -> re.Pattern[str]:
    return re.compile(re.escape(f"column {place[0]:.1f}, row {place[1]:.1f}"))


def place_of(label: str | None) -> tuple[float, float]:
    assert label is not None
    column, row = label.split("column ")[1].split(", row ")
    return float(column), float(row)


def test_a_dragged_landmark_moves_its_numbers_and_snaps_to_the_edge(
    film: Page, house: FilmsHouse
) -> None:
    show(film, f"{house.film_address}&reading=1")
    number = film.locator("tbody[data-id='lateral_center_edge_angle.sourcil'] b")
    before = number.inner_text()
    x, y = on_screen(film, SOURCIL)
    film.mouse.move(x, y)
    film.mouse.down()
    film.mouse.move(x + 12, y + 4, steps=4)
    expect(film.locator(".magnifier")).to_be_visible()
    film.mouse.up()
    expect(film.locator(".magnifier")).to_be_hidden()
    expect(number).not_to_have_text(before)
    film.keyboard.press("Control+z")
    expect(number).to_have_text(before)
    film.wait_for_timeout(1200)


def test_a_reading_that_somebody_else_saved_first_is_shown_and_settled(
    film: Page, house: FilmsHouse, assert_accessible: Callable[[Page], None]
) -> None:
    show(film, f"{house.film_address}&reading=3")
    keeper = house.opened.keeper
    other = LandmarkSet(
        image=house.film.id,
        observer=READER,
        reading=3,
        points=(PlacedPoint(id="coccyx_tip", side=None, x_px=750, y_px=800),),
    )
    keeper.save_reading(house.case.id, other, expected_version=0)
    film.locator("summary", has_text="All landmarks").click()
    film.locator("[data-key='symphysis_superior']").click()
    film.mouse.click(*on_screen(film, (740, 900)))
    dialog = film.locator("#films-stale")
    expect(dialog).to_be_visible(timeout=8000)
    expect(film.locator("path.ghost")).to_have_count(1)
    assert_accessible(film)
    dialog.locator("[data-keep-mine]").click()
    saved_version(film, 2)
    assert {item.id for item in kept(house, 3)} == {"symphysis_superior"}
    film.locator("summary", has_text="Reading 3").click()
    film.locator("[data-history] summary").click()
    film.locator("[data-restore='1']").click()
    saved_version(film, 3)
    assert {item.id for item in kept(house, 3)} == {"coccyx_tip"}


def test_changes_wait_while_the_server_does_not_answer_and_are_saved_afterward(
    open_context: Callable[..., BrowserContext], house: FilmsHouse
) -> None:
    context = open_context()
    house.enter(context)
    page = context.new_page()
    show(page, f"{house.film_address}&reading=4")
    page.route("**/reading", lambda route: route.abort())
    page.locator("summary", has_text="All landmarks").click()
    page.locator("[data-key='symphysis_superior']").click()
    page.mouse.click(*on_screen(page, (740, 900)))
    expect(page.locator("[data-saving]")).to_contain_text("sent again", timeout=8000)
    page.unroute("**/reading")
    saved_version(page, 1)
    assert kept(house, 4).point("symphysis_superior", None) is not None


def test_a_scale_is_set_from_a_ball_and_kept(film: Page, house: FilmsHouse) -> None:
    show(film, f"{house.address}/films/{house.second.id}")
    film.locator("summary", has_text="Set the scale").click()
    film.locator("input[value=ball]").check()
    for place in PLACES["femoral_head"]:
        film.mouse.click(*on_screen(film, place))
    film.locator("[name=diameter]").fill("46")
    result = film.locator("[data-scale-result]")
    expect(result).to_contain_text("A ball of 46 mm")
    with film.expect_navigation():
        film.locator("[data-keep-scale]").click()
    changed = house.opened.keeper.image(house.second.id).calibration
    assert changed.source is SpacingSource.MARKER
    assert changed.column_mm == pytest.approx(46 / (2 * HEAD_RADIUS), rel=0.02)


def test_two_films_lie_side_by_side(
    film: Page, house: FilmsHouse, assert_accessible: Callable[[Page], None]
) -> None:
    show(film, house.film_address)
    film.locator("[data-beside-choice]").select_option(house.second.id)
    expect(film.locator("film-view.ready")).to_have_count(2)
    assert_accessible(film)


def test_without_webgl2_the_film_is_drawn_in_eight_bits_alike(
    open_context: Callable[..., BrowserContext], house: FilmsHouse
) -> None:
    context = open_context()
    house.enter(context)
    page = context.new_page()
    show(page, house.film_address)
    with_card = center_shade(page)
    page.add_init_script(
        """const original = HTMLCanvasElement.prototype.getContext;
        HTMLCanvasElement.prototype.getContext = function (kind, ...rest) {
            return kind === "webgl2" ? null : original.call(this, kind, ...rest);
        };"""
    )
    show(page, house.film_address)
    assert page.evaluate("document.querySelector('film-view').picture.constructor.name") == (
        "CanvasPicture"
    )
    # Both draw means of a few film pixels: a few steps of 255 apart at most.
    assert abs(center_shade(page) - with_card) <= 4


def center_shade(page: Page) -> float:
    """Mean brightness inside the left head, as the screen shows it."""
    x, y = on_screen(page, (CENTER[0] - 20, CENTER[1] + 20))
    page.wait_for_timeout(150)
    shot = page.screenshot(clip={"x": x, "y": y, "width": 12, "height": 12})
    with Image.open(io.BytesIO(shot)) as image:
        values = list(image.convert("L").tobytes())
    return sum(values) / len(values)


def test_a_film_larger_than_the_graphics_hold_is_shown_smaller_and_says_so(
    open_context: Callable[..., BrowserContext], house: FilmsHouse
) -> None:
    context = open_context()
    house.enter(context)
    page = context.new_page()
    show(page, house.film_address)
    notice = page.locator("[data-reduced]")
    expect(notice).to_be_hidden()
    whole = center_shade(page)
    page.add_init_script(
        """const original = WebGL2RenderingContext.prototype.getParameter;
        WebGL2RenderingContext.prototype.getParameter = function (name) {
            return name === this.MAX_TEXTURE_SIZE ? 512 : original.call(this, name);
        };"""
    )
    show(page, house.film_address)
    expect(notice).to_contain_text("1/4 of its size")  # 1500 columns: 750, 375
    assert abs(center_shade(page) - whole) <= 4


def test_a_picture_that_does_not_come_is_told_and_tried_again(
    open_context: Callable[..., BrowserContext], house: FilmsHouse
) -> None:
    context = open_context()
    house.enter(context)
    page = context.new_page()
    page.route("**/pixels/**", lambda route: route.fulfill(status=500, body="{}"))
    page.goto(house.film_address)
    expect(page.locator("[data-failure]")).to_be_visible()
    assert page.locator(".handle").count() == 0
    page.unroute("**/pixels/**")
    page.locator("[data-try-again]").click()
    expect(page.locator("[data-films].shown")).to_be_visible()


def choose_reader(page: Page, code: str) -> None:
    page.locator("[data-readings] summary").first.click()
    page.locator("[data-change-reader]").click()
    page.locator("[data-reader-form] input").fill(code)
    with page.expect_navigation():
        page.locator("[data-reader-form] button").click()
    expect(page.locator("[data-films].shown")).to_be_visible()


def test_a_second_observer_reads_without_seeing_the_first(film: Page, house: FilmsHouse) -> None:
    show(film, house.film_address)
    choose_reader(film, "CD")
    assert film.locator(".handle").count() == 0
    film.locator("summary", has_text="Reading 1").click()
    film.locator("[data-compare]").select_option(label="AB, reading 1")
    expect(film.locator(".ghosts .ghost").first).to_be_attached()


def test_a_film_that_others_read_opens_with_landmarks_and_numbers_to_look_at(
    film: Page, house: FilmsHouse, assert_accessible: Callable[[Page], None]
) -> None:
    keeper = house.opened.keeper
    onset = PLACES["alpha_onset"][0]
    theirs = LandmarkSet(
        image=house.second.id,
        observer="human:GH",
        points=tuple(
            PlacedPoint(id=name, side=Side.LEFT, x_px=PLACES[name][0][0], y_px=PLACES[name][0][1])
            for name in ("femoral_neck_superior", "femoral_neck_inferior", "alpha_onset")
        ),
    )
    keeper.save_reading(house.case.id, theirs, expected_version=0)
    address = f"{house.address}/films/{house.second.id}?case={house.case.code}"
    show(film, address)
    choose_reader(film, "CD")
    assert film.locator(".handle").count() == 0
    show(film, address)
    card = film.locator("[data-looked-at]")
    expect(card).to_contain_text("Reading 1 by GH")
    expect(film.locator(".handle")).to_have_count(3)
    assert_accessible(film)
    x, y = on_screen(film, onset)
    film.mouse.move(x, y)
    film.mouse.down()
    film.mouse.move(x + 20, y + 4, steps=4)
    film.mouse.up()
    film.keyboard.press("ArrowRight")
    expect(film.locator("[data-spoken]")).to_contain_text("This is a reading by GH")
    handle = film.locator("[data-handle='alpha_onset@left#0']")
    expect(handle).to_have_attribute("aria-label", words(onset))
    film.wait_for_timeout(1200)
    assert keeper.reading_history(house.second.id, "human:GH", 1)[-1].version == 1
    with film.expect_navigation():
        card.locator("[data-go-on]").click()
    expect(film.locator("[data-films].shown")).to_be_visible()
    expect(card).to_have_count(0)
    x, y = on_screen(film, onset)
    film.mouse.move(x, y)
    film.mouse.down()
    film.mouse.move(x + 20, y + 4, steps=4)
    film.mouse.up()
    saved_version(film, 2)
    assert keeper.reading_history(house.second.id, "human:GH", 1)[-1].version == 2
