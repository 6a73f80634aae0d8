"""First page, memory, pages of a large workspace, and a drag's way without a browser.

Run by itself: ``python -m benchmarks.bench_server [FOLDER]``; FOLDER is where
``bench_demonstration`` left its workspace, else one is built first. Goals: first page 3 s after
the start; 600 MiB after the whole demonstration has been clicked through; pages of 5,000 cases
in 150 ms; a dragged landmark's number within 30 ms in 95 of 100 moves.
"""

from __future__ import annotations

import html
import json
import re
import statistics
import sys
import tempfile
import time
from collections import deque
from pathlib import Path
from typing import Any
from urllib.parse import urldefrag

import numpy as np
from websockets.sync.client import ClientConnection, connect

from benchmarks.bench_demonstration import build
from benchmarks.large_workspace import CASES, fill
from benchmarks.serving import Serving, serving, told

FIRST_PAGE_GOAL_S, MEMORY_GOAL_MIB, PAGE_GOAL_MS, DRAG_GOAL_MS = 3.0, 600.0, 150.0, 30.0
STARTS, VISITS, MOVES = 3, 15, 300
ADDRESS = re.compile(r"""(?:href|src|hx-get|data-preview|data-pixels)=["'](/[^"']*)["']""")
NOT_ASKED = ("/start/", "/access/", "/locked")
EDGE = "sourcil_lateral_edge"


def click_through(server: Serving) -> tuple[int, int]:
    """Ask for every page, picture and document that a page of the server names, once."""
    waiting, seen, octets = deque(["/cases"]), {"/cases"}, 0
    while waiting:
        answer = server.client.get(waiting.popleft(), follow_redirects=True)
        octets += len(answer.content)
        if answer.is_error or "html" not in answer.headers.get("content-type", ""):
            continue
        for found in ADDRESS.findall(answer.text):
            address, _ = urldefrag(html.unescape(found))
            if address not in seen and not address.startswith(NOT_ASKED):
                seen.add(address)
                waiting.append(address)
    return len(seen), octets


def page_ms(server: Serving, address: str) -> list[float]:
    """Times of one page, the first, cold one left out."""
    taken: list[float] = []
    for _ in range(VISITS + 1):
        begun = time.perf_counter()
        server.client.get(address).raise_for_status()
        taken.append(1000 * (time.perf_counter() - begun))
    return taken[1:]


def p95(times: list[float]) -> float:
    """The 95th percentile."""
    return statistics.quantiles(times, n=20, method="inclusive")[-1]


def a_read_film(server: Serving) -> tuple[str, list[dict[str, Any]]]:
    """The address of an AP film with a reading, and the landmarks that its page shows."""
    case = next(a for a in ADDRESS.findall(server.client.get("/cases").text) if "/cases/" in a)
    page = server.client.get(case.split("?")[0]).text
    for film in dict.fromkeys(a for a in ADDRESS.findall(page) if a.startswith("/films/")):
        address = html.unescape(film)
        shown = server.client.get(address).text
        told_of = re.search(r'id="film-facts">(.*?)</script>', shown, re.DOTALL)
        items = _items(json.loads(told_of[1])) if told_of is not None else []
        if any(item["id"] == EDGE for item in items):
            return address.split("?")[0], items
    raise RuntimeError("no film of the first case is read")


def drag_ms(server: Serving) -> list[float]:
    """From a moved landmark on the way to its numbers, over a socket, on a read AP film."""
    film, items = a_read_film(server)
    moving = next(item for item in items if item["id"] == EDGE)
    cookie = "; ".join(f"{name}={value}" for name, value in server.client.cookies.items())
    socket_address = server.address.replace("http", "ws", 1) + film + "/live"
    origin = {"Origin": server.address, "Cookie": cookie}
    taken: list[float] = []
    with connect(socket_address, additional_headers=origin, max_size=None) as socket:
        _ask(socket, {"seq": 0, "items": items, "all": True})
        (x, y) = moving["xy"][0]
        for step in range(1, MOVES + 1):
            place = [x + 8 * np.sin(step / 7), y + 5 * np.cos(step / 5)]
            moved = {"id": EDGE, "side": moving["side"], "xy": [place]}
            begun = time.perf_counter()
            _ask(socket, {"seq": step, "items": [moved]})
            taken.append(1000 * (time.perf_counter() - begun))
            time.sleep(0.016)
    return taken


def _ask(socket: ClientConnection, message: dict[str, Any]) -> None:
    socket.send(json.dumps(message))
    while json.loads(socket.recv()).get("seq") != message["seq"]:
        pass


def _items(facts: dict[str, Any]) -> list[dict[str, Any]]:
    """The landmarks of the reading that a page shows, as the screen sends them."""
    shown = facts["current"] or facts["lookedAt"] or {}
    return list(shown.get("items", []))


def say(line: str) -> None:
    """Print one figure."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def demonstration(folder: Path) -> None:
    """First page, memory and drag on the demonstration."""
    workspace = folder / "demonstration"
    if not workspace.exists():
        build(folder)
    firsts: list[float] = []
    for _ in range(STARTS):
        with serving(workspace, folder) as server:
            firsts.append(server.first_page_s)
    say(
        told(f"first page (median of {STARTS})", statistics.median(firsts), FIRST_PAGE_GOAL_S, "s")
    )
    with serving(workspace, folder) as server:
        before = server.memory_mib()
        begun = time.perf_counter()
        asked, octets = click_through(server)
        drags = drag_ms(server)
        more = (
            f"at most {server.memory_mib('VmHWM'):.0f} MiB, {before:.0f} at the start; "
            f"{asked} addresses, {octets / 1e6:.0f} MB in {time.perf_counter() - begun:.0f} s"
        )
        say(told("memory after all pages", server.memory_mib(), MEMORY_GOAL_MIB, "MiB", more=more))
    more = f"median {statistics.median(drags):.1f} ms of {len(drags)} moves"
    say(told("drag to number over the socket, p95", p95(drags), DRAG_GOAL_MS, "ms", more=more))


def large(folder: Path) -> None:
    """Pages of a workspace with 5,000 cases."""
    workspace = folder / "large"
    code = fill(workspace, folder)
    with serving(workspace, folder) as server:
        pages = {
            "first page of cases": "/cases",
            "fiftieth page of cases": "/cases?page=50",
            "one side": "/cases?side=left",
            "one case": f"/cases/{code}",
        }
        for words, address in pages.items():
            taken = page_ms(server, address)
            more = f"p95 {p95(taken):.0f} ms"
            what = f"{words} of {CASES:,}, median"
            say(told(what, statistics.median(taken), PAGE_GOAL_MS, "ms", more=more))


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as name:
        demonstration(Path(sys.argv[1] if len(sys.argv) > 1 else name))
        large(Path(name))


if __name__ == "__main__":
    main()
