"""The Bones screen in a real browser: turning, painting, landmarks, making models."""

import re
from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import BrowserContext, ConsoleMessage, Page, expect

from hipwright.apps.web.bones.desk import BONES, SHELF
from hipwright.domain.keeping import Case
from hipwright.domain.keeping_bones import JobState
from hipwright.domain.side import Side
from tests.bones_house import REMARKS, FakeBones, add_ct, build_of, head_center, surface_named
from tests.web_house import WebHouse, add_person, open_house

DRAWN_MS = 30_000


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WebHouse]:
    with open_house(tmp_path_factory.mktemp("bones")) as opened:
        yield opened


@pytest.fixture
def bones(house: WebHouse) -> tuple[Case, FakeBones]:
    number = len(house.opened.keeper.cases())
    (case,) = add_person(house.opened, name=f"Person {number}", number=f"B-{number}")
    ct = add_ct(house.opened, case)
    at_hand = FakeBones(images=[ct])
    at_hand.builds_kept.append(build_of(case.person, ct.id, remarks=REMARKS))
    house.state.rooms[BONES] = at_hand
    house.state.rooms.pop(SHELF, None)
    return case, at_hand


@pytest.fixture(scope="module")
def signed_in(module_context: BrowserContext, house: WebHouse) -> BrowserContext:
    house.enter(module_context)
    return module_context


@pytest.fixture
def page(signed_in: BrowserContext) -> Iterator[Page]:
    """A signed-in page that may not complain."""
    opened = signed_in.new_page()
    complaints: list[str] = []
    opened.on("console", lambda message: _hear(message, complaints))
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    yield opened
    opened.close()
    assert complaints == []


def _hear(message: ConsoleMessage, complaints: list[str]) -> None:
    expected = ("GPU stall", "409 (Conflict)")
    if message.type in {"error", "warning"} and not any(e in message.text for e in expected):
        complaints.append(message.text)


def show(page: Page, house: WebHouse, case: Case) -> None:
    page.goto(f"{house.address}/bones/{case.code}")
    expect(page.locator("[data-bones].shown")).to_be_visible(timeout=DRAWN_MS)
    expect(page.locator("[data-row]").first).to_be_visible(timeout=DRAWN_MS)


def pixel(page: Page, place: list[float]) -> tuple[float, float]:
    """Where a place of the patient is on the page."""
    x, y = page.evaluate(
        """(place) => {
            const view = document.querySelector("bone-view");
            view.drawNow();
            const box = view.getBoundingClientRect();
            const [x, y] = view.scene.project(place);
            return [x + box.left, y + box.top];
        }""",
        place,
    )
    return x, y


def brightness(page: Page, place: tuple[float, float]) -> list[int]:
    """The color that is drawn there, red, green, blue and alpha."""
    return page.evaluate(
        """([x, y]) => {
            const view = document.querySelector("bone-view");
            view.drawNow();
            const gl = view.scene.renderer.getContext();
            const box = view.getBoundingClientRect();
            const dense = gl.drawingBufferWidth / box.width;
            const out = new Uint8Array(4);
            const at = [(x - box.left) * dense, gl.drawingBufferHeight - (y - box.top) * dense];
            gl.readPixels(at[0], at[1], 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, out);
            return [...out];
        }""",
        list(place),
    )


def test_bones_are_drawn_and_turn_by_pointer_keys_and_buttons(
    page: Page, house: WebHouse, bones: tuple[Case, FakeBones], assert_accessible: Callable
):
    case, _ = bones
    show(page, house, case)
    left, right = (pixel(page, head_center(side).tolist()) for side in (Side.LEFT, Side.RIGHT))
    assert left[0] > right[0], "from the front the patient's left is at the right"
    assert brightness(page, left)[3] == 255
    assert_accessible(page)
    page.locator("[data-look=back]").click()
    expect(page.locator("[data-looking]")).to_have_text("From the back")
    assert pixel(page, head_center(Side.LEFT).tolist())[0] < 430
    page.locator("bone-view").focus()
    page.keyboard.press("5")
    expect(page.locator("[data-looking]")).to_have_text("From above")
    page.keyboard.press("1")
    page.keyboard.press("ArrowLeft")
    expect(page.locator("[data-looking]")).to_contain_text("Near the front")
    before = page.evaluate("document.querySelector('bone-view').orbit.distance")
    page.keyboard.press("+")
    page.mouse.move(400, 300)
    page.mouse.wheel(0, -200)
    nearer = "(d) => document.querySelector('bone-view').orbit.distance < d / 1.3"
    page.wait_for_function(nearer, arg=before)
    page.mouse.down()
    page.mouse.move(520, 320, steps=4)
    page.mouse.up()
    expect(page.locator("[data-looking]")).to_contain_text("From the front and the right")
    target = page.evaluate("document.querySelector('bone-view').orbit.target")
    page.keyboard.press("Shift+ArrowRight")
    assert page.evaluate("document.querySelector('bone-view').orbit.target") != target
    page.keyboard.press("0")
    assert page.evaluate("document.querySelector('bone-view').orbit.target") == target


def test_a_map_is_painted_with_a_legend_in_words(
    page: Page, house: WebHouse, bones: tuple[Case, FakeBones]
):
    case, _ = bones
    show(page, house, case)
    page.locator("[data-do=own-hip]").click()
    x, y = pixel(page, head_center(Side.LEFT).tolist())
    plain = brightness(page, (x + 8, y + 8))
    page.locator("[data-paint]").select_option("residual")
    legend = page.locator("[data-legend]")
    expect(legend).to_contain_text("bone outside the sphere, up to")
    expect(legend).to_contain_text("mm")
    page.wait_for_function("""() => {
        const { bones } = document.querySelector("bone-view").scene;
        return bones.get("femur_left").mesh.material.uniforms.painted.value === 1;
    }""")
    painted = brightness(page, (x + 8, y + 8))
    assert painted[2] > painted[1], "the sphere itself is at the violet end of the ramp"
    assert plain[0] > plain[2], "bare bone is ivory"
    page.locator("[data-paint]").select_option("")
    expect(legend).to_be_hidden()


def test_a_pressed_value_is_drawn_on_the_bone_and_pressed_again_goes(
    page: Page, house: WebHouse, bones: tuple[Case, FakeBones], assert_accessible: Callable
):
    case, _ = bones
    show(page, house, case)
    value = page.locator("[data-choose='femoral_version.murphy'][data-side=left]")
    value.click()
    expect(value).to_have_attribute("aria-pressed", "true")
    expect(page.locator("bone-view .label.value")).to_contain_text("°")
    expect(page.locator("bone-view .overlay .line")).to_have_count(2)
    x, _ = pixel(page, head_center(Side.LEFT).tolist())
    assert 300 < x < 560, "one has turned to it"
    assert_accessible(page)
    value.click()
    expect(page.locator("bone-view .overlay .line")).to_have_count(0)
    page.locator("clock-face .value[data-hour='3']").first.scroll_into_view_if_needed()
    page.locator("clock-face .series.side-0 .value[data-hour='3']").click(force=True)
    expect(page.locator("bone-view .overlay .line")).to_have_count(2)
    expect(page.locator("clock-face .value.chosen")).to_have_count(1)


def test_bones_are_hidden_seen_through_cut_and_mirrored(
    page: Page, house: WebHouse, bones: tuple[Case, FakeBones]
):
    case, _ = bones
    show(page, house, case)
    page.locator("summary", has_text="Bones shown").click()
    shaft = surface_named("femur_left").vertices
    low = shaft[shaft[:, 2] < shaft[:, 2].min() + 40]
    place = pixel(page, low.mean(axis=0).tolist())
    assert brightness(page, place)[3] == 255
    page.locator("[data-through=femur_left]").check()
    page.wait_for_timeout(100)
    assert 0 < brightness(page, place)[3] < 250
    page.locator("[data-show=femur_left]").uncheck()
    page.wait_for_timeout(100)
    assert brightness(page, place)[3] == 0
    page.locator("[data-mirror]").check()
    there = "document.querySelector('bone-view').scene.bones.has('mirrored femur_right')"
    page.wait_for_function(f"() => {there}")
    page.locator("[data-mirror]").uncheck()
    page.wait_for_function(f"() => !{there}")
    page.locator("[data-cut]").fill("100")
    page.wait_for_timeout(100)
    right = pixel(page, head_center(Side.RIGHT).tolist())
    assert brightness(page, right)[3] == 0


def test_a_landmark_moves_by_pointer_and_by_keys_and_everything_is_measured_again(
    page: Page, house: WebHouse, bones: tuple[Case, FakeBones], assert_accessible: Callable
):
    case, at_hand = bones
    show(page, house, case)
    page.locator("summary", has_text="Landmarks").click()
    page.locator("[data-landmarks-shown]").check()
    form = page.locator("[data-reader-form]")
    if form.is_visible():
        form.locator("input").fill("AB")
        form.locator("button").click()
    handle = page.locator("bone-view .handle:not(.fixed)").first
    box = handle.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    key = page.evaluate(  # of several on one place the uppermost is pressed
        "([x, y]) => document.elementFromPoint(x, y).closest('[data-handle]').dataset.handle",
        [x, y],
    )
    measured = at_hand.measured_times
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 6, y + 3, steps=3)
    page.mouse.up()
    expect(page.locator(f".handle.moved[data-handle='{key}']")).to_be_visible(timeout=8000)
    assert at_hand.measured_times > measured
    (point,) = at_hand.readings_kept[-1].moved
    assert point.moved
    handle = page.locator(f"[data-handle='{key}']")
    handle.focus()
    page.keyboard.press("ArrowDown")
    expect(page.locator("[data-landmark-count]")).to_contain_text("1 moved")
    for _ in range(50):
        if len(at_hand.readings_kept) > 1:
            break
        page.wait_for_timeout(100)
    assert at_hand.readings_kept[-1].version == 2
    assert_accessible(page)
    page.locator(f"[data-give-back='{key}']").click()
    expect(page.locator(f".handle.moved[data-handle='{key}']")).to_have_count(0, timeout=8000)


def test_somebody_elses_save_is_shown_and_can_be_taken_or_overruled(
    page: Page, house: WebHouse, bones: tuple[Case, FakeBones]
):
    case, at_hand = bones
    show(page, house, case)
    page.locator("summary", has_text="Landmarks").click()
    page.locator("[data-landmarks-shown]").check()
    form = page.locator("[data-reader-form]")
    if form.is_visible():
        form.locator("input").fill("AB")
        form.locator("button").click()
    handle = page.locator("bone-view .handle:not(.fixed)").first
    page.evaluate("document.querySelector('bone-view .handle:not(.fixed)').focus()")
    page.keyboard.press("ArrowDown")
    expect(page.locator("[data-landmark-count]")).to_contain_text("1 moved", timeout=8000)
    build = at_hand.builds_kept[0]
    point = next(iter(at_hand.readings_kept[-1].moved))
    at_hand.move(build, "human:AB", point, expected_version=1)
    page.evaluate("document.querySelector('bone-view .handle:not(.fixed)').focus()")
    page.keyboard.press("ArrowDown")
    dialog = page.locator("#bones-stale")
    expect(dialog).to_be_visible(timeout=8000)
    expect(dialog).to_contain_text("Version 2 was saved meanwhile")
    dialog.locator("[data-keep-mine]").click()
    expect(dialog).to_be_hidden()
    for _ in range(50):
        if at_hand.readings_kept[-1].version == 3:
            break
        page.wait_for_timeout(100)
    assert at_hand.readings_kept[-1].version == 3
    assert handle is not None


def test_the_tilt_is_said_and_what_changes_is_shown(
    page: Page, house: WebHouse, bones: tuple[Case, FakeBones], assert_accessible: Callable
):
    case, _ = bones
    show(page, house, case)
    page.locator("summary", has_text="Tilt of the pelvis").click()
    form = page.locator(".tilt-form")
    form.locator("[name=standing]").fill("8")
    form.locator("[name=source]").fill("lateral film")
    reader = form.locator("[name=reader]")
    if reader.count():
        reader.fill("AB")
    form.locator("button").click()
    expect(page.locator("[data-bones].shown")).to_be_visible(timeout=DRAWN_MS)
    expect(page.locator(".interval.tilted").first).to_contain_text("standing")
    page.locator("summary", has_text="Tilt of the pelvis").click()
    expect(page.locator(".changes-with-tilt")).to_contain_text("+4.0°")
    assert_accessible(page)


def test_making_models_shows_how_far_it_is_and_opens_them_when_done(
    page: Page, house: WebHouse, bones: tuple[Case, FakeBones], assert_accessible: Callable
):
    case, at_hand = bones
    made = at_hand.builds_kept.pop()
    page.goto(f"{house.address}/bones/{case.code}")
    assert_accessible(page)
    page.get_by_role("button", name="Make bone models").click()
    expect(page.locator("progress")).to_have_attribute("value", "34")
    expect(page.locator(".at-work")).to_contain_text("Telling the bones apart")
    assert_accessible(page)
    at_hand.builds_kept.append(made)
    at_hand.change("job-1", state=JobState.DONE)
    expect(page.locator("[data-bones].shown")).to_be_visible(timeout=DRAWN_MS)


def test_failed_work_says_four_things_and_can_be_tried_again(
    page: Page, house: WebHouse, bones: tuple[Case, FakeBones]
):
    case, at_hand = bones
    at_hand.builds_kept.clear()
    page.goto(f"{house.address}/bones/{case.code}")
    page.get_by_role("button", name="Make bone models").click()
    page.get_by_role("button", name="Stop").click()
    expect(page.get_by_role("button", name="Stopping…")).to_be_disabled()
    error = {
        "code": "volume",
        "message": "cannot read the series: needs even slices, but found a gap of 3 mm.",
        "found": "a gap of 3 mm",
        "needed": "even slices",
        "help": "Import it again.",
    }
    at_hand.change("job-1", state=JobState.FAILED, error=error)
    notice = page.locator(".notice.error")
    for part in ("Cannot read the series.", "a gap of 3 mm", "even slices", "Import it again."):
        expect(notice).to_contain_text(part)
    expect(page.get_by_role("button", name="Try again")).to_be_visible()


def test_without_webgl_the_numbers_are_there_and_the_page_says_why_no_bones_are(
    open_context: Callable[..., BrowserContext], house: WebHouse, bones: tuple[Case, FakeBones]
):
    case, _ = bones
    context = open_context()
    house.enter(context)
    context.add_init_script("HTMLCanvasElement.prototype.getContext = () => null;")
    page = context.new_page()
    page.goto(f"{house.address}/bones/{case.code}")
    expect(page.locator("[data-failure]")).to_contain_text("WebGL 2")
    expect(page.locator("[data-row]").first).to_be_visible(timeout=DRAWN_MS)


def test_a_lost_picture_says_so_and_comes_back(
    page: Page, house: WebHouse, bones: tuple[Case, FakeBones]
):
    case, _ = bones
    show(page, house, case)
    page.evaluate("""() => {
        const gl = document.querySelector("bone-view").scene.renderer.getContext();
        window.lost = gl.getExtension("WEBGL_lose_context");
        window.lost.loseContext();
    }""")
    expect(page.locator("[data-failure]")).to_be_visible()
    page.evaluate("window.lost.restoreContext()")
    expect(page.locator("[data-failure]")).to_be_hidden()


def test_on_a_phone_the_panel_is_a_sheet_under_the_bones(
    open_context: Callable[..., BrowserContext], house: WebHouse, bones: tuple[Case, FakeBones],
    assert_accessible: Callable,
):  # fmt: skip
    case, _ = bones
    context = open_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    house.enter(context)
    page = context.new_page()
    show(page, house, case)
    scene, panel = (
        page.locator(".scene").bounding_box(),
        page.locator("#bones-panel").bounding_box(),
    )
    assert scene is not None
    assert panel is not None
    assert scene["height"] > 220
    assert panel["y"] > scene["y"] + scene["height"] - 1
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert_accessible(page)
    page.locator("[data-sheet]").click()
    expect(page.locator("#bones-panel")).to_be_hidden()


def test_the_film_page_is_accessible_and_names_its_geometry(
    page: Page, house: WebHouse, bones: tuple[Case, FakeBones], assert_accessible: Callable
):
    case, _ = bones
    page.goto(f"{house.address}/bones/{case.code}/film")
    expect(page.locator(".film-notes")).to_contain_text(re.compile("Source 1150 mm"))
    loaded = "() => [...document.images].every((one) => one.complete && one.naturalWidth > 0)"
    page.wait_for_function(loaded)
    assert_accessible(page)
