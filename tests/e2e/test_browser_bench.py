"""The fixtures of the browser tests themselves, on a small page served here."""

import threading
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from playwright.sync_api import Browser, Page

from tests.e2e.watch import Watch, stays_inside

POLICY = "default-src 'none'; script-src 'self'; img-src *"
GOOD = '<!doctype html><html lang="en"><title>Good</title><main><h1>A page</h1></main></html>'
BAD = "<!doctype html><html><title>Bad</title><main><h1>A page</h1><img src='/x'></main></html>"


class Pages(BaseHTTPRequestHandler):
    """Serves the two pages under a strict policy."""

    def do_GET(self) -> None:
        body = {"/good": GOOD, "/bad": BAD}.get(self.path, "").encode()
        self.send_response(200 if body else 404)
        self.send_header("Content-Type", "text/html; charset=utf-8")
        self.send_header("Content-Security-Policy", POLICY)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 (the library's name)
        """Say nothing."""


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with ThreadingHTTPServer(("127.0.0.1", 0), Pages) as server:
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()
        thread.join()


def test_an_accessible_page_under_a_strict_policy_passes(
    page: Page, address: str, assert_accessible: Callable[[Page], None]
) -> None:
    page.goto(f"{address}/good")
    assert_accessible(page)


def test_a_page_without_language_and_alternative_text_is_found(
    page: Page, address: str, find_accessibility_violations: Callable[[Page], list[str]]
) -> None:
    page.goto(f"{address}/bad")
    found = [line.split(":")[0] for line in find_accessibility_violations(page)]
    assert sorted(found) == ["html-has-lang", "image-alt"]


def test_the_browser_draws_webgl2(page: Page, address: str) -> None:
    page.goto(f"{address}/good")
    pixel = page.evaluate(
        """() => {
            const gl = document.createElement("canvas").getContext("webgl2");
            gl.clearColor(1, 0, 0, 1);
            gl.clear(gl.COLOR_BUFFER_BIT);
            const out = new Uint8Array(4);
            gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, out);
            return [...out];
        }"""
    )
    assert pixel == [255, 0, 0, 255]


def test_a_request_that_leaves_the_machine_is_noticed(browser: Browser, address: str) -> None:
    context = browser.new_context()
    watch = Watch()
    watch.follow(context)
    page = context.new_page()
    page.goto(f"{address}/good")
    page.evaluate(
        """() => new Promise((done) => {
            const image = new Image();
            image.onerror = image.onload = done;
            image.src = "https://outside.example/x.png";
            document.body.append(image);
        })"""
    )
    context.close()
    assert watch.left_loopback() == ["https://outside.example/x.png"]


def test_an_uncaught_error_and_a_broken_policy_are_noticed(browser: Browser, address: str) -> None:
    context = browser.new_context()
    watch = Watch()
    watch.follow(context)
    page = context.new_page()
    page.goto(f"{address}/good")
    page.evaluate("() => { setTimeout(() => { throw new Error('lost'); }, 0); }")
    page.evaluate(
        """() => {
            const script = document.createElement("script");
            script.textContent = "window.inlined = true;";
            document.body.append(script);
        }"""
    )
    page.wait_for_timeout(200)
    inlined = page.evaluate("() => window.inlined === true")
    context.close()
    assert not inlined
    assert any("lost" in complaint for complaint in watch.complaints)
    assert any("Content Security Policy" in complaint for complaint in watch.complaints)


@pytest.mark.parametrize(
    ("url", "inside"),
    [
        ("http://127.0.0.1:8000/cases", True),
        ("ws://localhost:8000/socket", True),
        ("data:image/png;base64,AA", True),
        ("https://outside.example/", False),
        ("http://127.0.0.1.outside.example/", False),
    ],
)
def test_only_loopback_and_the_page_itself_count_as_inside(url: str, *, inside: bool) -> None:
    assert stays_inside(url) == inside
