"""Makes the pictures of the documents anew from the demonstration clinic.

Run from the project's folder: ``.venv/bin/python -m docs.pictures.make``. With
``--workspace FOLDER`` a demonstration that was made before is used.
"""

from __future__ import annotations

import argparse
import socket
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import uvicorn
from PIL import Image as Pillow
from playwright.sync_api import Browser, Page, sync_playwright

from bench.machine import find_browser
from hipwright.apps.web.server import create_app
from hipwright.apps.web.settings import WebSettings
from hipwright.domain.keeping import Case, Image
from hipwright.domain.study import View
from hipwright.wiring import (
    SystemClock,
    Workspace,
    bone_workshop,
    demonstration_clinic,
    open_workspace,
)
from hipwright.workflows.bone_series import series_for_bones
from hipwright.workflows.build_bones import build_bones
from hipwright.workflows.build_demonstration import build_demonstration, is_built

HERE = Path(__file__).parent
DESK = (1280, 800)
PHONE = (390, 844)
FLAGS = [
    "--no-sandbox",
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
]
PATIENCE_MS = 60_000
BELOW_LABEL_PX = 36
NEARER, WHEEL = 3, 200
PAPER = 250
GRAY_STEP = 4
"""Grays of films are told apart in so many steps; brighter ones are the page's own."""


def main() -> None:
    """Make all pictures."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--workspace", type=Path, help="a demonstration that was made before")
    workspace = reader.parse_args().workspace
    with (
        tempfile.TemporaryDirectory() as folder,
        open_workspace(workspace or Path(folder) / "demonstration", create=True) as opened,
    ):
        if not is_built(opened.keeper):
            build_demonstration(demonstration_clinic(opened), lambda *_: None)
        with served(opened, Path(folder)) as (address, link), sync_playwright() as player:
            browser = player.chromium.launch(executable_path=find_browser(), args=FLAGS)
            make(browser, opened, address, link)
            browser.close()


@contextmanager
def served(opened: Workspace, folder: Path) -> Iterator[tuple[str, str]]:
    """Serve the workspace; give its address and a start link."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        settings = WebSettings(port=listener.getsockname()[1], folder=folder / "web")
        app = create_app(opened, settings, clock=SystemClock())
        server = uvicorn.Server(uvicorn.Config(app, log_level="critical"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.02)
        state = app.state.web
        yield settings.address("127.0.0.1"), state.start_address(state.links.make())
        server.should_exit = True
        thread.join(timeout=10)


def make(browser: Browser, opened: Workspace, address: str, link: str) -> None:
    """Visit each screen and keep what it looks like."""
    context = browser.new_context(viewport={"width": DESK[0], "height": DESK[1]}, locale="en-US")
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto(link)
    keeper = opened.keeper
    rower, shallow, operated = (keeper.case(f"DEMO-{number}") for number in (1, 3, 6))
    pelvis = next(i for i in keeper.images_of(shallow.person) if i.view is View.PELVIS_AP)
    film = f"/films/{pelvis.id}?case={shallow.code}"
    for name, size, path in (
        ("cases", DESK, "/cases"),
        ("cases-phone", PHONE, "/cases"),
        ("case", (1280, 1500), f"/cases/{rower.code}"),
        ("change", (1280, 700), f"/cases/{operated.code}#change"),
        ("films", DESK, film),
        ("films-phone", PHONE, film),
        ("agreement", (1280, 900), "/agreement/lateral_center_edge_angle.sourcil"),
        ("catalog", DESK, "/catalog/lateral_center_edge_angle.sourcil"),
        ("workspace", DESK, "/workspace"),
        ("slices", DESK, f"/slices/{scan_with_bones(opened, rower).id}?case={rower.code}"),
        ("bones", DESK, f"/bones/{rower.code}"),
    ):
        take(page, address, HERE / f"{name}.png", size, path)


def scan_with_bones(opened: Workspace, case: Case) -> Image:
    """The CT of a case, whose bones are made where they are not."""
    workshop = bone_workshop(opened)
    series = series_for_bones(opened.keeper, workshop.reader, case)
    if not opened.keeper.bone_builds_of(case.person):
        build_bones(opened.keeper, series, workshop, progress=lambda *_: None)
    return series[0]


def take(page: Page, address: str, target: Path, size: tuple[int, int], path: str) -> None:
    """One picture, once the page has come to rest."""
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.goto(address + path)
    page.wait_for_load_state("networkidle")
    anchor = path.partition("#")[2]
    if anchor:
        page.locator(f"#{anchor}").scroll_into_view_if_needed()
        page.evaluate("name => document.getElementById(name).scrollIntoView()", anchor)
    if path.startswith("/films/"):
        choose_angle(page)
    if path.startswith("/bones/"):
        page.get_by_role("table").first.wait_for()
    page.wait_for_timeout(1500)
    page.screenshot(path=target, animations="disabled")
    if path.startswith("/bones/"):
        blend_colors(target)
    else:
        reduce_colors(target)


def choose_angle(page: Page) -> None:
    """Draw the lateral center-edge angle and come nearer to it."""
    page.get_by_role("table").first.wait_for()  # the numbers come by a socket
    chosen = page.locator("tbody[data-id='lateral_center_edge_angle.sourcil'] .choose").first
    chosen.click()
    value = page.locator(".label.value")
    value.wait_for()
    place = value.bounding_box()
    if place is None:
        raise LookupError("the value is not drawn on the film")
    page.mouse.move(place["x"], place["y"] + place["height"] + BELOW_LABEL_PX)
    for _ in range(NEARER):
        page.mouse.wheel(0, -WHEEL)
        page.wait_for_timeout(80)
    page.mouse.move(0, 0)


def blend_colors(target: Path) -> None:
    """Keep the file small where colors run smoothly: neighboring dots stand for the lost ones."""
    with Pillow.open(target) as shot:
        few = shot.convert("RGB").quantize(256, dither=Pillow.Dither.FLOYDSTEINBERG)
    few.save(target, optimize=True)


def reduce_colors(target: Path) -> None:
    """Keep the file small: fewer grays for the grain of films, the commonest 256 colors."""
    with Pillow.open(target) as shot:
        rgb = np.asarray(shot.convert("RGB")).copy()
    grain = (rgb.max(axis=-1) == rgb.min(axis=-1)) & (rgb[..., 0] < PAPER)
    rgb[grain] = rgb[grain] // GRAY_STEP * GRAY_STEP
    every, which, count = np.unique(
        rgb.reshape(-1, 3), axis=0, return_inverse=True, return_counts=True
    )
    kept = every[np.argsort(-count)[:256]]
    apart = ((every[:, None].astype(int) - kept[None].astype(int)) ** 2).sum(axis=-1)
    indices = apart.argmin(axis=-1)[which].reshape(rgb.shape[:2]).astype(np.uint8)
    few = Pillow.fromarray(indices, "P")
    few.putpalette(kept.ravel().tolist())
    few.save(target, optimize=True)


if __name__ == "__main__":
    main()
