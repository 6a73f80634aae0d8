"""The demonstration as a surgeon meets it: open a hip, read its films, print the report.

The clinic is the real one, built by the real studio with coarse pixels, of one person so
that it is quick; it is served as ``hipwright serve`` serves it, by a process of its own.
"""

from __future__ import annotations

import math
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import BrowserContext, Page, expect

from hipwright.adapters.dicom.demonstration_studio import ProcessStudio
from hipwright.adapters.shape_model_files import read_shape_model
from hipwright.catalog.demonstration import stories
from hipwright.domain.keeping import Image, Reading
from hipwright.domain.landmarks import LandmarkSet, PlacedPoint
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.engines.reporting.numbers import value_with_unit
from hipwright.wiring import Workspace, demonstration_clinic, open_workspace
from hipwright.workflows import build_demonstration as building
from hipwright.workflows.measure_hip import measure_landmarks
from hipwright.workflows.reading_doubt import circumstances_of

CODE = "DEMO-1"
COARSER = 4
READER = "human:demo-a"
LINK = re.compile(r"(http://\S+)/start/\S+")
LCEA = "lateral_center_edge_angle.sourcil"
MOST_CLICKS = 3
APART_PX = 14.0

Place = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Clinic:
    """The served demonstration."""

    address: str
    link: str
    opened: Workspace

    def film(self, view: View) -> Image:
        """The person's film of that view."""
        person = self.opened.keeper.case(CODE).person
        return next(i for i in self.opened.keeper.images_of(person) if i.view is view)

    def kept(self, image: Image, number: int) -> Reading:
        """The newest version of the reader's reading of that number."""
        return self.opened.keeper.reading_history(image.id, READER, number)[-1]

    def numbers(self, image: Image, landmarks: LandmarkSet, side: Side) -> dict[str, str]:
        """What those landmarks measure on that hip, as it is written."""
        given = circumstances_of(self.opened.keeper, image, landmarks.observer)
        found = measure_landmarks(image.film(), landmarks, [side], circumstances=given)
        return {
            f.definition: value_with_unit(f)
            for f in found
            if isinstance(f, Measurement) and f.side is side
        }


@pytest.fixture(scope="module")
def clinic(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Clinic]:
    folder = tmp_path_factory.mktemp("demonstration") / "workspace"
    chosen = tuple(story for story in stories() if story.code == CODE)
    with pytest.MonkeyPatch.context() as patch, open_workspace(folder, create=True) as opened:
        patch.setattr(building, "stories", lambda: chosen)
        studio = ProcessStudio(read_shape_model, thinned=COARSER)
        building.build_demonstration(
            replace(demonstration_clinic(opened), studio=studio), lambda *_: None
        )
    start = "from hipwright.apps.cli.main import app; app()"
    words = ("serve", "--no-browser", "--port", "0", "--workspace", str(folder))
    command = [sys.executable, "-c", start, *words]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        try:
            said = ""
            while (found := LINK.search(said)) is None:
                line = process.stderr.readline()
                assert line, said
                said += line
            with open_workspace(folder) as opened:
                yield Clinic(address=found.group(1), link=found.group(0), opened=opened)
        finally:
            process.terminate()
            process.wait(timeout=30)


@pytest.fixture(scope="module")
def cookies() -> list[dict[str, object]]:
    """The signed-in browser's cookies: the start link works once for all tests here."""
    return []


@pytest.fixture
def inside(
    open_context: Callable[..., BrowserContext], clinic: Clinic, cookies: list[dict[str, object]]
) -> Page:
    context = open_context(viewport={"width": 1360, "height": 860})
    page = context.new_page()
    if cookies:
        context.add_cookies(cookies)  # pyright: ignore[reportArgumentType] - as it gave them
        page.goto(f"{clinic.address}/cases")
        return page
    page.goto(clinic.link)
    cookies.extend(dict(cookie) for cookie in context.cookies())
    return page


def open_film(page: Page, address: str) -> None:
    page.goto(address)
    expect(page.locator("[data-films].shown")).to_be_visible(timeout=20_000)


def on_screen(page: Page, place: Place) -> Place:
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


def shown_numbers(page: Page) -> dict[str, str]:
    return page.evaluate(
        """() => {
            const bodies = document.querySelectorAll("[data-numbers] tbody:not([hidden])");
            const value = (body) => body.querySelector("b")?.textContent ?? "";
            return Object.fromEntries([...bodies].map((body) => [body.dataset.id, value(body)]));
        }"""
    )


def places_of(landmarks: LandmarkSet, key: str) -> list[Place]:
    """Where a kept reading has a landmark; of an outline a few places that are apart.

    On a film shown whole, a click nearer to the last one would take hold of its handle.
    """
    name, _, side = key.partition("@")
    for item in landmarks:
        if item.id != name or (item.side.value if item.side else "") != side:
            continue
        if isinstance(item, PlacedPoint):
            return [(round(item.x_px), round(item.y_px))]
        chosen: list[Place] = []
        for x, y in item.xy_px.round().tolist():
            if all(math.dist(other, (x, y)) > APART_PX for other in chosen):
                chosen.append((x, y))
        spread = np.linspace(0, len(chosen) - 1, min(len(chosen), MOST_CLICKS)).round()
        few = [chosen[int(index)] for index in spread]
        return few if len(few) >= (3 if name == "femoral_head" else 2) else []
    return []


def begin_pass(page: Page, side: Side) -> None:
    """Ask for the landmarks of one hip, placed where the pointer is."""
    page.locator("summary", has_text="All landmarks").click()
    page.locator("[data-pass]").select_option(side.value)
    page.locator("[data-do=snap]").click()
    page.locator("[data-act=next]").click()


def settle(page: Page) -> None:
    """Wait until everything is saved and told."""
    expect(page.locator("[data-saving]")).to_contain_text("Saved, version", timeout=15_000)
    page.wait_for_timeout(700)


def test_a_hip_is_opened_from_the_cases_and_its_film_shows_a_reading_ready_to_drag(
    inside: Page, clinic: Clinic, assert_accessible: Callable[[Page], None]
) -> None:
    expect(inside.get_by_text(CODE).first).to_be_visible()
    assert_accessible(inside)
    inside.locator(f"a[href='/cases/{CODE}']").first.click()
    film = clinic.film(View.PELVIS_AP)
    link = inside.locator(f"a[href='/films/{film.id}?case={CODE}']").first
    expect(link).to_be_visible()
    expect(inside.locator("#measurements, [hx-get$=measurements], table").first).to_be_visible()
    assert_accessible(inside)
    link.click()
    expect(inside.locator("[data-films].shown")).to_be_visible(timeout=20_000)
    expect(inside.locator("[data-reader]")).to_have_text("demo-a")
    number = inside.locator(f"tbody[data-id='{LCEA}'] b")
    expect(number).to_contain_text("°")
    assert_accessible(inside)
    side = clinic.opened.keeper.case(CODE).side
    before = clinic.kept(film, 1)
    edge = before.landmarks.point("sourcil_lateral_edge", side)
    assert edge is not None
    told = number.inner_text()
    assert told == clinic.numbers(film, before.landmarks, side)[LCEA]
    x, y = on_screen(inside, (edge.x_px, edge.y_px))
    inside.mouse.move(x, y)
    inside.mouse.down()
    inside.mouse.move(x + 9, y - 6, steps=3)
    inside.mouse.up()
    expect(number).not_to_have_text(told)
    expect(inside.locator("[data-saving]")).to_contain_text(
        f"Saved, version {before.version + 1}", timeout=15_000
    )
    moved = clinic.kept(film, 1)
    assert number.inner_text() == clinic.numbers(film, moved.landmarks, side)[LCEA]


def test_one_hip_is_read_by_mouse_from_an_empty_reading(inside: Page, clinic: Clinic) -> None:
    film = clinic.film(View.PELVIS_AP)
    side = clinic.opened.keeper.case(CODE).side
    guide = clinic.kept(film, 1).landmarks
    open_film(inside, f"{clinic.address}/films/{film.id}?case={CODE}&reading=7")
    expect(inside.locator(".handle")).to_have_count(0)
    begin_pass(inside, side)
    placed = 0
    while (key := asked(inside)) is not None:
        places = places_of(guide, key)
        if not places:
            inside.locator("[data-act=skip]").click()
            continue
        for place in places:
            inside.mouse.click(*on_screen(inside, place))
        if len(places) > 1:
            inside.locator("[data-act=finish]").click()
        placed += 1
    settle(inside)
    read = clinic.kept(film, 7).landmarks
    assert len(list(read)) == placed > 15
    wanted = clinic.numbers(film, read, side)
    assert {LCEA, "sharp_angle", "extrusion_index", "neck_shaft_angle"} <= set(wanted)
    shown = shown_numbers(inside)
    assert {name: shown.get(name) for name in wanted} == wanted
    # The same film read at the same places: within what a click on a coarse pixel moves.
    first = clinic.numbers(film, guide, side)[LCEA]
    assert abs(float(wanted[LCEA].rstrip("°")) - float(first.rstrip("°"))) < 3


def test_one_hip_is_read_by_keys_alone_from_an_empty_reading(
    inside: Page, clinic: Clinic, assert_accessible: Callable[[Page], None]
) -> None:
    film = clinic.film(View.DUNN_45)
    side = clinic.opened.keeper.case(CODE).side
    guide = clinic.kept(film, 1).landmarks
    open_film(inside, f"{clinic.address}/films/{film.id}?case={CODE}&reading=7")
    inside.locator("film-view").focus()
    inside.keyboard.press("m")  # without the magnifier, so that software draws it quickly
    inside.keyboard.press("g")
    while (key := asked(inside)) is not None:
        places = places_of(guide, key)
        if not places:
            inside.keyboard.press("k")
            continue
        for place in places:
            press_to(inside, place)
            inside.keyboard.press("Enter")
        if len(places) > 1:
            inside.keyboard.press("Enter")
    settle(inside)
    read = clinic.kept(film, 7).landmarks
    for item in read:
        if isinstance(item, PlacedPoint):
            (meant,) = places_of(guide, f"{item.id}@{side.value}")
            assert math.dist((item.x_px, item.y_px), meant) < 0.2
    wanted = clinic.numbers(film, read, side)
    assert "alpha_angle.three_point" in wanted
    shown = shown_numbers(inside)
    assert {name: shown.get(name) for name in wanted} == wanted
    assert_accessible(inside)


def press_to(page: Page, place: Place) -> None:
    """Move the crosshair to a film place by arrow keys, to a tenth of a pixel."""
    page.keyboard.press("ArrowRight")  # brings the crosshair where there is none yet
    from_x, from_y = page.evaluate(
        """async () => {
            for (let frame = 0; frame < 3; frame += 1) await new Promise(requestAnimationFrame);
            const view = document.querySelector("film-view");
            const cross = view.querySelector(".overlay .cross .crosshair");
            const [, x, y] = cross.getAttribute("transform").match(/([-.\\d]+),([-.\\d]+)/);
            return view.placeAt([Number(x), Number(y)]);
        }"""
    )
    for distance, keys in (
        (place[0] - from_x, ("ArrowRight", "ArrowLeft")),
        (place[1] - from_y, ("ArrowDown", "ArrowUp")),
    ):
        key = keys[0] if distance > 0 else keys[1]
        tenths = round(10 * abs(distance))
        for modifier, step in (("Control+", 1000), ("Shift+", 100), ("", 10), ("Alt+", 1)):
            for _ in range(tenths // step):
                page.keyboard.press(f"{modifier}{key}")
            tenths %= step


def test_the_report_is_printed_from_the_case_and_holds_the_value(
    inside: Page, clinic: Clinic, program: Callable[[str], Path], tmp_path: Path
) -> None:
    inside.goto(f"{clinic.address}/cases/{CODE}")
    button = inside.locator("a[href*='report.pdf']", has_text="PDF").first
    if not button.is_visible():
        inside.get_by_role("button", name=re.compile("report", re.IGNORECASE)).first.click()
    expect(button).to_be_visible()
    with inside.context.expect_event("response", lambda answer: "report.pdf" in answer.url) as got:
        button.click()
    assert got.value.status == 200
    pdf = inside.request.get(got.value.url).body()
    assert pdf.startswith(b"%PDF-")
    assert pdf.rstrip().endswith(b"%%EOF")
    printed = tmp_path / "report.pdf"
    printed.write_bytes(pdf)
    tools = program("pdftotext").parent

    def told(tool: str, *words: str) -> str:
        return subprocess.run(
            [tools / tool, *words], capture_output=True, text=True, check=True
        ).stdout

    pages = re.search(r"Pages:\s+(\d+)", told("pdfinfo", str(printed)))
    assert pages is not None
    assert 2 <= int(pages.group(1)) <= 12
    text = told("pdftotext", "-layout", str(printed), "-")
    film = clinic.film(View.PELVIS_AP)
    side = clinic.opened.keeper.case(CODE).side
    newest = max(clinic.opened.keeper.readings_of(film.id), key=lambda r: r.saved_at)
    assert clinic.numbers(film, newest.landmarks, side)[LCEA] in text
    assert "Not a medical device" in " ".join(text.split())


@pytest.mark.parametrize("path", [f"/agreement/{LCEA}", f"/catalog/{LCEA}", "/workspace"])
def test_what_else_the_demonstration_shows_can_be_read_by_everybody(
    inside: Page, clinic: Clinic, path: str, assert_accessible: Callable[[Page], None]
) -> None:
    inside.goto(clinic.address + path)
    expect(inside.locator("h1")).to_be_visible()
    assert_accessible(inside)
