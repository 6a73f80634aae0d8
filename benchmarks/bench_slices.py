"""How fast slices follow the wheel, in a real browser over loopback.

Run by itself: ``python -m benchmarks.bench_slices``. In each view of 512 × 512 × 300 voxels
with labels over them, the wheel is turned one slice further as soon as the last one is drawn:
first through slices that nobody has asked for yet, then through the same ones again. At least
25 images a second are the goal. The browser draws no more than its screen shows, usually 60,
and on a machine without a graphics card every picture is drawn by the processor: the browser
is started as it is, without the graphics card that the tests let it play. What the server
takes to cut a picture is told apart.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from playwright.sync_api import Browser, Page, sync_playwright

from bench.machine import find_browser
from hipwright.apps.web.slices.desk import LabelShelf, SlicesDesk
from hipwright.apps.web.slices.volume_shelf import Block, VolumeShelf
from hipwright.domain.volume import LabelEdits, LabelVolume, Volume, VolumeGrid
from hipwright.engines.imaging.painting import painted, shown_codes
from hipwright.engines.imaging.reformat import cut_values, neck_clock, radial_plane
from tests.e2e.conftest import FLAGS
from tests.slices_room import PretendWork, furnish
from tests.web_house import open_house

SHAPE = (300, 512, 512)
SLICES = 100
GOAL_PER_S = 25.0
AS_IT_IS = [flag for flag in FLAGS if "gl" not in flag and "swiftshader" not in flag]

SCROLL = """([direction, slices]) => new Promise((done) => {
    const view = document.querySelector(`[data-figure=${direction}] slice-view`);
    const further = { deltaY: 40, cancelable: true };
    const turn = () => view.dispatchEvent(new WheelEvent("wheel", further));
    const begun = performance.now();
    let drawn = 0;
    const next = () => {
        drawn += 1;
        if (drawn === slices) {
            view.removeEventListener("slice-drawn", next);
            done(performance.now() - begun);
        } else turn();
    };
    view.addEventListener("slice-drawn", next);
    turn();
})"""


def large_volume() -> Volume:
    """Two heads in domes in a body, with grain: as large as a CT of both hips."""
    steps = np.array([[0, 0, 1.0], [0, 0.7, 0], [0.7, 0, 0]])
    grid = VolumeGrid(shape=SHAPE, origin_mm=np.zeros(3), steps_mm=steps, fixed_to="bench")
    rng = np.random.default_rng(11)
    grain = rng.normal(0, 25, SHAPE[1:]).astype(np.int16)
    values = np.empty(SHAPE, np.int16)
    y, x = np.mgrid[0 : SHAPE[1], 0 : SHAPE[2]].astype(np.float32)
    for k in range(SHAPE[0]):
        near = np.minimum(np.hypot(x - 150, y - 256), np.hypot(x - 362, y - 256))
        ring = np.sqrt(near**2 + (1.4 * (k - 150)) ** 2)
        values[k] = np.where(ring < 33, 500, np.where((ring > 37) & (ring < 50), 700, 40))
        values[k] += np.roll(grain, 17 * k, axis=1)
    return Volume(values=values, grid=grid)


def labels_of(volume: Volume) -> LabelVolume:
    """What is bright is bone, left and right apart."""
    codes = (volume.values > 300).astype(np.uint8)
    codes[:, :, 256:] *= 2
    return LabelVolume(codes=codes, grid=volume.grid)


def serve() -> None:
    """Serve the volume in place of a small series; ``link`` gives a start link."""
    with tempfile.TemporaryDirectory() as folder, open_house(Path(folder)) as house:
        room = furnish(house.opened, Path(folder) / "in")
        volume = large_volume()
        labels = labels_of(volume)
        shelf = LabelShelf(house.opened.keeper.get_file)
        shelf.get = lambda _sha256: labels  # pyright: ignore[reportAttributeAccessIssue] (for timing)
        house.app.state.slices = SlicesDesk(
            volumes=VolumeShelf(lambda _image, _progress: (volume,)),
            labels=shelf,
            work=PretendWork(house.opened),
        )
        sys.stdout.write(f"{house.address}/slices/{room.ct.id}\n")
        sys.stdout.flush()
        for _order in sys.stdin:
            sys.stdout.write(f"{house.address}/start/{house.state.links.make()}\n")
            sys.stdout.flush()


def processor_s() -> float:
    """Processor time of all programs begun from here: the server and the browser."""
    mine, parents = {os.getpid()}, dict[int, tuple[int, float]]()
    for entry in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = entry.read_text(encoding="utf-8").rpartition(")")[2].split()
        except OSError:
            continue  # it has ended meanwhile
        ticks = int(fields[11]) + int(fields[12])
        parents[int(entry.parent.name)] = int(fields[1]), ticks / os.sysconf("SC_CLK_TCK")
    grown = True
    while grown:
        more = {pid for pid, (parent, _) in parents.items() if parent in mine} - mine
        mine |= more
        grown = bool(more)
    return sum(parents[pid][1] for pid in mine if pid in parents)


Rates = tuple[float, float, float]


def images_per_s(browser: Browser, address: str, link: str) -> dict[str, Rates]:
    """By view: through slices never asked for, through them again, and processor ms an image."""
    found: dict[str, Rates] = {}
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    page.goto(link)
    for direction in ("axial", "coronal", "sagittal"):
        page.goto(address)
        page.locator("[data-slices].shown.drawn").wait_for(timeout=60_000)
        page.locator(f"[data-enlarge={direction}]").click()
        begun = processor_s()
        rates = _scrolled(page, direction), _scrolled(page, direction)
        spent = 1000 * (processor_s() - begun) / (2 * SLICES)
        found[direction] = *rates, spent
    context.close()
    return found


def _scrolled(page: Page, direction: str) -> float:
    page.locator(f"[data-figure={direction}] [data-slider]").fill("60")
    page.wait_for_timeout(1500)
    return 1000 * SLICES / page.evaluate(SCROLL, [direction, SLICES])


def server_ms() -> dict[str, float]:
    """What the server takes for one picture, without the way to the browser."""
    block = Block(large_volume())
    labels = labels_of(block.volume)
    edits = painted(LabelEdits.none(SHAPE), np.arange(0, 40_000_000, 400), 3)
    clock = neck_clock(np.array([105.0, 180, 150]), np.array([85.0, 180, 130]))
    plane = radial_plane(clock, 1.5, half_mm=46, step_mm=0.4)
    cut_values(block.volume, plane)
    works: dict[str, Callable[[], object]] = {
        f"{v.direction.value} cut": lambda v=v: v.values(block.volume, 77) for v in block.views
    }
    works |= {
        f"{v.direction.value} labels with 100,000 edited voxels": lambda v=v: shown_codes(
            labels, edits, v, 77
        )
        for v in block.views
    }
    works["plane around the neck"] = lambda: cut_values(block.volume, plane)
    taken: dict[str, float] = {}
    for name, work in works.items():
        begun = time.process_time()
        for _ in range(10):
            work()
        taken[name] = 100 * (time.process_time() - begun)
    return taken


def main() -> None:
    """Print the figures."""
    order = [sys.executable, "-m", "benchmarks.bench_slices", "serve"]
    server = subprocess.Popen(order, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)  # noqa: S603 (this very file)
    assert server.stdin is not None
    assert server.stdout is not None
    address = server.stdout.readline().strip()
    server.stdin.write("link\n")
    server.stdin.flush()
    link = server.stdout.readline().strip()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=find_browser(), args=AS_IT_IS)
        rates = images_per_s(browser, address, link)
        browser.close()
    server.stdin.close()
    server.wait(timeout=30)
    for direction, (fresh, again, spent) in rates.items():
        sys.stdout.write(
            f"{direction}: {fresh:.1f} images/s through new slices, {again:.1f} again "
            f"(goal {GOAL_PER_S:g}, {fresh / GOAL_PER_S:.2f} of it); "
            f"{spent:.0f} ms of processor time an image, server and browser together\n"
        )
    for name, ms in server_ms().items():
        sys.stdout.write(f"{name}: {ms:.2f} ms of processor time\n")
    load = " ".join(f"{x:.1f}" for x in os.getloadavg())
    sys.stdout.write(f"load of the machine {load} on {os.cpu_count()} cores\n")


if __name__ == "__main__":
    serve() if sys.argv[1:] == ["serve"] else main()
