"""The Slices screen in a real browser: linked views, edits, planes, findings."""

import io
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import BrowserContext, Page, expect

from hipwright.adapters.bone_files.labeling import edits_from
from hipwright.apps.web.slices.desk import SlicesDesk, desk_of
from hipwright.domain.anatomy import Bone
from hipwright.domain.keeping_bones import JobState
from hipwright.domain.side import Side
from tests.slices_room import HEADS, NECK, PretendWork, SlicesRoom, add_build, furnish
from tests.web_house import WebHouse, open_house

PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "device_scale_factor": 2}
LAPTOP = {"viewport": {"width": 1280, "height": 800}}
FEMUR = Bone.FEMUR_LEFT.code


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WebHouse]:
    with open_house(tmp_path_factory.mktemp("slices")) as opened:
        yield opened


@pytest.fixture(scope="module")
def room(house: WebHouse, tmp_path_factory: pytest.TempPathFactory) -> SlicesRoom:
    return furnish(house.opened, Path(tmp_path_factory.mktemp("series")))


@pytest.fixture(scope="module")
def signed_in(module_context: BrowserContext, house: WebHouse) -> BrowserContext:
    house.enter(module_context)
    return module_context


@pytest.fixture
def page(signed_in: BrowserContext) -> Iterator[Page]:
    opened = signed_in.new_page()
    yield opened
    opened.close()


def show(page: Page, house: WebHouse, image: str) -> None:
    page.goto(f"{house.address}/slices/{image}")
    expect(page.locator("[data-slices].shown.drawn")).to_be_visible(timeout=20_000)


def view(page: Page, name: str) -> str:
    return f"[data-figure={name}] slice-view"


def slice_of(page: Page, name: str) -> int:
    return int(page.locator(f"[data-figure={name}] [data-slider]").input_value())


def on_screen(page: Page, name: str, pixel: tuple[float, float]) -> tuple[float, float]:
    x, y = page.evaluate(
        """([selector, pixel]) => {
            const view = document.querySelector(selector);
            const box = view.getBoundingClientRect();
            const [x, y] = view.screenOf(pixel);
            return [x + box.left, y + box.top];
        }""",
        [view(page, name), list(pixel)],
    )
    return x, y


def drag(page: Page, name: str, *pixels: tuple[float, float]) -> None:
    places = [on_screen(page, name, pixel) for pixel in pixels]
    page.mouse.move(*places[0])
    page.mouse.down()
    for place in places[1:]:
        page.mouse.move(*place, steps=6)
    page.mouse.up()


def shade_at(page: Page, name: str, pixel: tuple[float, float]) -> tuple[int, ...]:
    """What color is seen at a pixel of a view, as a person would see it."""
    x, y = on_screen(page, name, pixel)
    shot = page.screenshot(clip={"x": round(x) - 1, "y": round(y) - 1, "width": 3, "height": 3})
    return tuple(np.array(Image.open(io.BytesIO(shot)).convert("RGB"))[1, 1].tolist())


def test_three_views_are_linked_and_can_be_used_by_keys(
    page: Page, house: WebHouse, room: SlicesRoom, assert_accessible: Callable[[Page], None]
) -> None:
    show(page, house, room.ct.id)
    # It opens on the left head, as the bone models have it: x 55, y 0, z 0 mm.
    assert [slice_of(page, name) for name in ("sagittal", "coronal")] == [96, 45]
    expect(page.locator("[data-readout]")).to_contain_text("Left femur")
    assert_accessible(page)
    page.locator(view(page, "axial")).focus()
    before = slice_of(page, "axial")
    page.keyboard.press("PageDown")
    page.keyboard.press("Shift+PageDown")
    assert slice_of(page, "axial") == before + 11
    page.keyboard.press("Shift+ArrowRight")
    assert slice_of(page, "sagittal") == 106
    page.keyboard.press("Home")
    assert slice_of(page, "axial") == 0
    page.mouse.move(*on_screen(page, "axial", (30, 30)))
    page.mouse.wheel(0, 120)
    expect(page.locator("[data-figure=axial] [data-where]")).to_contain_text("4 of 40, 9.0 mm")
    page.mouse.click(*on_screen(page, "coronal", (23, 19)))
    assert (slice_of(page, "sagittal"), slice_of(page, "axial")) == (23, 20)
    expect(page.locator("[data-readout]")).to_contain_text("Right femur")
    page.keyboard.press("?")
    expect(page.locator("#slices-keys")).to_be_visible()
    assert_accessible(page)


def test_patients_right_is_at_the_left_and_windows_change_the_grays(
    page: Page, house: WebHouse, room: SlicesRoom
) -> None:
    show(page, house, room.ct.id)
    letters = page.locator("[data-figure=axial] .letter").all_inner_texts()
    assert letters == ["R", "L", "A", "P"]
    page.locator("[data-labels-on]").uncheck()
    page.locator("[data-do=crosshair]").click()
    muscle = (60.0, 20.0)
    bone_window = shade_at(page, "axial", muscle)
    page.get_by_role("button", name="Soft tissue").click()
    page.wait_for_timeout(100)
    soft = shade_at(page, "axial", muscle)
    # 50 HU: 33 % of the bone window (400 ± 1000), 52 % of the soft one (40 ± 200).
    assert bone_window[0] == pytest.approx(0.325 * 255, abs=12)
    assert soft[0] == pytest.approx(0.525 * 255, abs=35)  # noise of 20 HU is 13 grays here
    page.locator("[data-use=gray]").click()
    drag(page, "axial", (40, 40), (60, 40))
    expect(page.locator("[data-window='1']")).to_have_attribute("aria-pressed", "false")


SEEMS_A_CARD = "WebGL2RenderingContext.prototype.getExtension = () => null;"
"""Hides that the processor plays the graphics card here, so that the shader draws."""


@pytest.mark.parametrize("by", ["processor", "shader"])
def test_labels_are_drawn_in_their_colors_and_hidden_one_by_one(
    by: str, page: Page, house: WebHouse, room: SlicesRoom
) -> None:
    if by == "shader":
        page.add_init_script(SEEMS_A_CARD)
    show(page, house, room.ct.id)
    kind = page.evaluate("document.querySelector('slice-view').picture.constructor.name")
    assert kind == ("GlSlice" if by == "shader" else "CanvasSlice")
    page.locator("[data-do=crosshair]").click()
    page.locator("[data-opacity]").fill("100")
    page.wait_for_timeout(150)
    head = (96.0, 45.0)
    assert shade_at(page, "axial", head) == pytest.approx((0xF0, 0xE4, 0x42), abs=6)
    page.get_by_role("checkbox", name="Left femur").uncheck()
    page.wait_for_timeout(150)
    red, green, blue = shade_at(page, "axial", head)
    assert red == green == blue


def kept(house: WebHouse, room: SlicesRoom) -> tuple[set[int], int, int]:
    found = house.opened.keeper.label_edits_of(room.ct.id)
    if found is None:
        return set(), 0, 0
    edits = edits_from(house.opened.keeper.get_file(found.edits_file))
    return set(edits.codes.tolist()), len(edits.voxels), len(edits.cuts) + len(edits.seeds)


def open_tools(page: Page, tool: str, bone: int) -> None:
    if not page.locator("[data-editing]").evaluate("(fold) => fold.open"):
        page.locator("[data-editing] summary").click()
    page.locator("[data-bone]").select_option(str(bone))
    page.locator(f"[data-tool={tool}]").click()


def saved(page: Page) -> None:
    expect(page.locator("[data-saving]")).to_contain_text("Edits saved, version", timeout=10_000)


def test_painting_by_mouse_and_by_keys_is_kept_undone_and_seen(
    page: Page, house: WebHouse, room: SlicesRoom, assert_accessible: Callable[[Page], None]
) -> None:
    show(page, house, room.ct.id)
    open_tools(page, "brush", Bone.SACRUM.code)
    drag(page, "axial", (50, 20), (60, 20), (66, 24))
    saved(page)
    codes, voxels, _ = kept(house, room)
    assert codes == {Bone.SACRUM.code}
    assert voxels > 40
    page.locator("[data-opacity]").fill("100")
    page.wait_for_timeout(200)
    assert shade_at(page, "axial", (55, 20)) == pytest.approx((0xCC, 0x79, 0xA7), abs=12)
    page.locator(view(page, "axial")).focus()
    page.keyboard.press("Control+z")
    expect(page.locator("[data-edit=redo]")).to_be_enabled()
    page.wait_for_timeout(400)
    assert shade_at(page, "axial", (55, 20)) != pytest.approx((0xCC, 0x79, 0xA7), abs=12)
    page.keyboard.press("Control+Shift+z")
    # By keys: the brush at the crosshair, a cut from key to key, a seed.
    page.keyboard.press("b")
    page.keyboard.press("Enter")
    page.keyboard.press("x")
    page.keyboard.press("Enter")
    for _ in range(3):
        page.keyboard.press("Shift+ArrowLeft")
    page.keyboard.press("Enter")
    expect(page.locator("[data-marks]")).to_contain_text("Cut 1")
    page.keyboard.press("s")
    page.keyboard.press("Enter")
    expect(page.locator("[data-marks]")).to_contain_text("Seed 1: Sacrum")
    assert_accessible(page)
    saved(page)
    page.wait_for_timeout(1500)
    assert kept(house, room)[2] == 2
    page.get_by_label("Remove Cut 1").click()
    expect(page.locator("[data-marks]")).not_to_contain_text("Cut 1")
    page.keyboard.press("Escape")


def test_an_outline_is_filled_and_a_gap_closed(
    page: Page, house: WebHouse, room: SlicesRoom
) -> None:
    show(page, house, room.ct.id)
    open_tools(page, "outline", Bone.OTHER.code)
    drag(page, "axial", (52, 60), (68, 60), (68, 74), (52, 74), (52, 61))
    saved(page)
    assert Bone.OTHER.code in kept(house, room)[0]
    page.locator("[data-tool=eraser]").click()
    page.mouse.click(*on_screen(page, "axial", (60, 67)))
    page.wait_for_timeout(1800)
    assert 0 in kept(house, room)[0]
    before = kept(house, room)
    page.locator("[data-tool=region]").click()
    page.mouse.click(*on_screen(page, "axial", (60, 67)))
    page.wait_for_timeout(2500)
    after = kept(house, room)
    assert 0 in before[0]
    assert 0 not in after[0]
    page.mouse.click(*on_screen(page, "axial", (60, 10)))
    expect(page.locator("[data-saving]")).to_contain_text("border of the picture")


def test_two_pages_that_edit_are_settled_and_nothing_is_lost(
    open_context: Callable[..., BrowserContext],
    house: WebHouse,
    room: SlicesRoom,
    assert_accessible: Callable[[Page], None],
) -> None:
    pages: list[Page] = []
    for _ in range(2):
        context = open_context(**LAPTOP)
        house.enter(context)
        pages.append(context.new_page())
    for page in pages:
        show(page, house, room.ct.id)
        open_tools(page, "brush", Bone.TIBIA_LEFT.code)
    drag(pages[0], "axial", (50, 30), (56, 30))
    saved(pages[0])
    pages[1].locator("[data-bone]").select_option(str(Bone.TIBIA_RIGHT.code))
    drag(pages[1], "axial", (50, 50), (56, 50))
    dialog = pages[1].locator("#slices-stale")
    expect(dialog).to_be_visible(timeout=10_000)
    expect(dialog.locator("[data-theirs]")).to_contain_text("painted voxels")
    assert_accessible(pages[1])
    dialog.locator("[value=kept]").check()
    dialog.get_by_role("button", name="Decide later").click()
    pages[1].get_by_role("button", name="Settle it").click()
    dialog.get_by_role("button", name="Put both together").click()
    saved(pages[1])
    assert {Bone.TIBIA_LEFT.code, Bone.TIBIA_RIGHT.code} <= kept(house, room)[0]


@pytest.fixture
def work(house: WebHouse) -> Iterator[PretendWork]:
    class AsIfAsked:
        app = house.app

    desk: SlicesDesk = desk_of(AsIfAsked())  # pyright: ignore[reportArgumentType] (it asks for no more)
    real, desk.work = desk.work, PretendWork(house.opened)
    yield desk.work
    desk.work = real


def test_models_are_made_again_with_a_progress_bar_and_their_labels_shown(
    page: Page, house: WebHouse, room: SlicesRoom, work: PretendWork
) -> None:
    keeper = house.opened.keeper
    show(page, house, room.ct.id)
    open_tools(page, "seed", FEMUR)
    page.mouse.click(*on_screen(page, "axial", (96, 44)))
    expect(page.locator("[data-marks]")).to_contain_text("Seed")
    page.locator("#making button[type=submit]").click()
    # The edit was kept before the work began.
    expect(page.locator("#making progress")).to_be_visible()
    assert work.started == [room.ct.id]
    newest = keeper.label_edits_of(room.ct.id)
    assert newest is not None
    job = keeper.jobs_on(room.ct.id)[0]
    keeper.beat(job.id, done=60, total=100, message="closing the surfaces")
    expect(page.locator("#making")).to_contain_text("Closing the surfaces, 60 %")
    build = add_build(house.opened, room.ct, newest.edits_file)
    keeper.end_job(job.id, JobState.DONE, result=build.id)
    expect(page.locator("#making")).to_contain_text(f"Models {build.number},")
    expect(page.locator("[data-saving]")).to_contain_text("The bone models are made")


def test_planes_around_the_neck_are_stepped_by_keys_with_the_hour_large(
    page: Page, house: WebHouse, room: SlicesRoom, assert_accessible: Callable[[Page], None]
) -> None:
    show(page, house, room.ct.id)
    page.locator("[data-radial] summary").click()
    page.get_by_role("button", name="Show planes around the neck").click()
    expect(page.locator("[data-figure=radial]")).to_be_visible()
    expect(page.locator("[data-hour]")).to_have_text("12:00")
    expect(page.locator("[data-strip] button")).to_have_count(12)
    assert_accessible(page)
    page.locator(view(page, "radial")).focus()
    page.keyboard.press("PageDown")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    expect(page.locator("[data-hour]")).to_have_text("1:30")
    expect(page.locator("[data-opposite]")).to_have_text("7:30")
    page.locator("[data-planes]").select_option("24")
    expect(page.locator("[data-strip] button")).to_have_count(24)
    page.get_by_role("button", name="2:15 up", exact=True).click()
    expect(page.locator("[data-hour]")).to_have_text("2:15")
    page.locator(view(page, "radial")).focus()
    page.keyboard.press("Escape")
    expect(page.locator("[data-figure=radial]")).to_be_hidden()


def test_an_axis_is_placed_on_mr_with_two_clicks_and_kept(
    page: Page, house: WebHouse, room: SlicesRoom
) -> None:
    show(page, house, room.mr.id)
    page.request.post(
        f"{house.address}/films/reader",
        data={"code": "EF"},
        headers={
            "X-CSRF-Token": page.locator("meta[name=csrf-token]").get_attribute("content") or "",
            "Origin": house.address,
        },
    )
    page.locator("[data-axis=place]").click()
    # The left head at x 55, z 0; the MR series begins at x 0.75 with 1.5 mm a pixel.
    head, neck = HEADS[Side.LEFT], NECK[Side.LEFT]
    pixel = [((p[0] - 0.75) / 1.5, (58.5 - p[2]) / 3.0) for p in (head, neck)]
    page.mouse.click(*on_screen(page, "coronal", pixel[0]))
    expect(page.locator("[data-axis-how]")).to_contain_text("middle of the neck")
    page.mouse.click(*on_screen(page, "coronal", pixel[1]))
    expect(page.locator("[data-hour]")).to_have_text("12:00")
    page.get_by_role("button", name="Keep this axis").click()
    expect(page.locator("[data-saving]")).to_contain_text("The axis is kept")
    (grade,) = [
        g for g in house.opened.keeper.grades_of(room.mr_case.id) if g.definition == "radial_axis"
    ]
    kept_head = [float(x) for x in str(grade.details["head"]).split()]
    # Within a screen pixel, which is less than half a millimeter here.
    assert np.hypot(kept_head[0] - head[0], kept_head[2] - head[2]) < 1.0


def test_a_finding_is_dragged_on_the_clock_and_saved(
    page: Page, house: WebHouse, room: SlicesRoom, assert_accessible: Callable[[Page], None]
) -> None:
    show(page, house, room.mr.id)
    page.locator("summary", has_text="Labral lesion").click()
    form = page.locator("details[data-finding][open] form")
    form.get_by_text("IIIA", exact=True).click()
    face = page.locator("svg[data-face]")
    face.scroll_into_view_if_needed()
    box = face.bounding_box()
    assert box is not None
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)

    def at(hour: float) -> tuple[float, float]:
        # The left hip's face is mirrored: its front, 3, is at the left.
        turn, reach = np.radians(30 * hour), 0.35 * box["width"]
        return float(middle[0] - reach * np.sin(turn)), float(middle[1] - reach * np.cos(turn))

    page.mouse.move(*at(12))
    page.mouse.down()
    for hour in (0.5, 1, 1.5, 2):
        page.mouse.move(*at(hour))
    page.mouse.up()
    expect(page.locator("[data-face-words]")).to_have_text("12:00 to 2:00")
    form.locator("[data-hour-to]").select_option("2.5")  # the twin by keyboard
    expect(page.locator("[data-face-words]")).to_have_text("12:00 to 2:30")
    assert_accessible(page)
    reader = form.get_by_label("Your reader's code")
    if reader.count():
        reader.fill("AB")
    form.get_by_role("button", name="Save the finding").click()
    expect(page.locator("[data-findings]")).to_contain_text("Labral lesion, Czerny stage: kept.")
    expect(page.locator(".found-list")).to_contain_text("12:00 to 2:30")
    (grade,) = [
        g
        for g in house.opened.keeper.grades_of(room.mr_case.id)
        if g.definition == "labral_lesion.czerny"
    ]
    assert (grade.value, grade.details) == ("IIIA", {"clock_from": 12.0, "clock_to": 2.5})


def test_on_a_phone_one_view_is_shown_at_a_time(
    open_context: Callable[..., BrowserContext],
    house: WebHouse,
    room: SlicesRoom,
    assert_accessible: Callable[[Page], None],
) -> None:
    context = open_context(**PHONE)
    house.enter(context)
    page = context.new_page()
    show(page, house, room.ct.id)
    assert page.locator("slice-view:visible").count() == 1
    page.locator("[data-enlarge=axial]").tap()
    expect(page.locator(view(page, "axial"))).to_be_visible()
    expect(page.locator(view(page, "coronal"))).to_be_hidden()
    box = page.locator(view(page, "axial")).bounding_box()
    assert box is not None
    assert box["height"] > 240
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.locator("[data-sheet]").tap()
    expect(page.locator("#slices-panel")).to_be_visible()
    assert_accessible(page)


def test_slices_that_make_no_volume_are_told_and_can_be_tried_again(
    page: Page, house: WebHouse, room: SlicesRoom
) -> None:
    keeper = house.opened.keeper
    from dataclasses import replace

    lame = replace(
        room.ct,
        id=keeper.new_id(),
        files=(*room.ct.files[:9], *room.ct.files[14:20], *room.ct.files[21:]),
        source_uids=(),
    )
    keeper.add_image(lame)
    page.goto(f"{house.address}/slices/{lame.id}")
    failure = page.locator("[data-failure]")
    expect(failure).to_be_visible(timeout=15_000)
    expect(failure).to_contain_text("slices")
    page.locator("[data-try-again]").click()
    expect(failure).to_be_visible(timeout=15_000)
