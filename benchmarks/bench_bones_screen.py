"""How long the Bones screen takes until bones of 400,000 triangles are drawn, in a real browser.

Run by ``python -m benchmarks.bench_bones_screen``. The plain baseline is the time that the
same browser takes to fetch the same bytes and do nothing with them.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import Page, sync_playwright

from bench.machine import find_browser
from hipwright.apps.web.bones.desk import BONES
from hipwright.domain.anatomy import Surface
from hipwright.domain.keeping_bones import BoneBuild, KeptBone
from tests.bones_house import FakeBones, add_ct, build_of, surface_named
from tests.e2e.conftest import FLAGS, node_program
from tests.web_house import add_person, open_house

TRIANGLES = 400_000
LOADS = 5
GOAL_S = 2.0
FRAMES = 30


def finer(surface: Surface, triangles: int) -> Surface:
    """The same surface in at least so many triangles: each is cut into four."""
    vertices, faces = surface.vertices, surface.faces
    while len(faces) < triangles:
        edges = np.sort(
            np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1
        )
        known, back = np.unique(edges, axis=0, return_inverse=True)
        middle = len(vertices) + back.reshape(3, -1).T
        vertices = np.concatenate([vertices, vertices[known].mean(axis=1)])
        a, b, c = faces.T
        ab, bc, ca = middle.T
        parts = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
        faces = np.concatenate([np.column_stack(p) for p in parts]).astype(np.int32)
    return Surface(vertices=vertices, faces=faces[:triangles], frame=surface.frame)


def tell(line: str) -> None:
    """Say a result."""
    sys.stdout.write(f"{line}\n")


class FineBones(FakeBones):
    """The modeled person's bones in as many triangles as a CT gives."""

    def __init__(self, **given: Any) -> None:
        super().__init__(**given)
        share = TRIANGLES // 4
        names = ("hip_bone_left", "hip_bone_right", "femur_left", "femur_right")
        self.fine = {name: finer(surface_named(name), share) for name in names}

    def surface(self, build: BoneBuild, bone: KeptBone) -> Surface:  # noqa: ARG002 (as asked)
        return self.fine[bone.surface_file]

    def mesh(self, bone: KeptBone) -> bytes:
        from hipwright.apps.web.bones.packing import mesh_bytes

        return mesh_bytes(self.fine[bone.surface_file])


def main() -> None:
    """Print seconds to the first drawing, and what a drawing takes after that."""
    os.environ.setdefault("PLAYWRIGHT_NODEJS_PATH", str(node_program()))
    with tempfile.TemporaryDirectory() as folder, open_house(Path(folder)) as house:
        (case,) = add_person(house.opened)
        ct = add_ct(house.opened, case)
        bones = FineBones(images=[ct])
        build = build_of(case.person, ct.id)
        kept = tuple(replace(b, triangles=TRIANGLES // 4) for b in build.bones if b.bone.side)
        bones.builds_kept.append(replace(build, bones=kept))
        house.state.rooms[BONES] = bones
        with sync_playwright() as playwright:
            path = find_browser()
            browser = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
            drawn: list[float] = []
            fetched = turn = 0.0
            for _ in range(LOADS):
                context = browser.new_context(viewport={"width": 1280, "height": 800})
                house.enter(context)
                page = context.new_page()
                page.goto(f"{house.address}/bones/{case.code}", wait_until="commit")
                page.wait_for_selector("[data-bones].shown", timeout=60_000)
                drawn.append(
                    page.evaluate("performance.getEntriesByName('bones-drawn')[0].startTime")
                    / 1000
                )
                if len(drawn) == LOADS:
                    fetched, turn = (
                        _fetched(page, case.code, [b.surface_file for b in kept]),
                        _turn(page),
                    )
                context.close()
            browser.close()
    middle = statistics.median(drawn)
    tell(f"{TRIANGLES:,} triangles first drawn: median {middle:.2f} s of {LOADS} loads "
          f"({min(drawn):.2f} to {max(drawn):.2f}), goal {GOAL_S} s")  # fmt: skip
    tell(f"fetching the same bytes alone: {fetched:.2f} s; ratio {middle / fetched:.1f}")
    tell(f"one drawing while turning: {1000 * turn:.0f} ms")


def _fetched(page: Page, code: str, names: list[str]) -> float:
    started = time.perf_counter()
    page.evaluate(
        """async ([code, names]) => {
            await Promise.all(names.map(async (name) => {
                const address = `/bones/${code}/mesh/${name}?again=1`;
                const answer = await fetch(address, { cache: "no-store" });
                await answer.arrayBuffer();
            }));
        }""",
        [code, names],
    )
    return time.perf_counter() - started


def _turn(page: Page) -> float:
    return page.evaluate(
        """(frames) => {
            const view = document.querySelector("bone-view");
            const gl = view.scene.renderer.getContext();
            const pixel = new Uint8Array(4);
            const started = performance.now();
            for (let n = 0; n < frames; n += 1) {
                view.orbit = { ...view.orbit, yaw: 3 * n };
                view.drawNow();
                gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, pixel);
            }
            return (performance.now() - started) / frames / 1000;
        }""",
        FRAMES,
    )


if __name__ == "__main__":
    main()
