"""Watching a browser for what must never happen in hipwright."""

from urllib.parse import urlsplit

from playwright.sync_api import BrowserContext, ConsoleMessage, Page

LOOPBACK = {"127.0.0.1", "localhost", "::1"}
INSIDE_SCHEMES = {"about", "blob", "data", "chrome-error", "chrome-extension", "chrome"}
"""The last two are the browser's own viewer of PDF files; contexts here hold no extension."""


class Watch:
    """Everything that happened in a context and must not happen in hipwright."""

    def __init__(self) -> None:
        self.requests: list[str] = []
        self.complaints: list[str] = []

    def follow(self, context: BrowserContext) -> None:
        """Listen to a context and all its pages, those that it opens later as well."""
        context.on("request", lambda request: self.requests.append(request.url))
        context.on("weberror", lambda error: self.complaints.append(f"uncaught: {error.error}"))
        context.on("console", self.hear)
        context.on("page", self.follow_page)

    def follow_page(self, page: Page) -> None:
        """Listen to the sockets of a page."""
        page.on("websocket", lambda socket: self.requests.append(socket.url))

    def hear(self, message: ConsoleMessage) -> None:
        """Keep what the browser says about the content security policy."""
        if message.type == "error" and "Content Security Policy" in message.text:
            self.complaints.append(message.text)

    def left_loopback(self) -> list[str]:
        """Requests that were meant for another machine."""
        return [url for url in self.requests if not stays_inside(url)]


def stays_inside(url: str) -> bool:
    """Tell whether a request stays on this machine."""
    parts = urlsplit(url)
    return parts.scheme in INSIDE_SCHEMES or parts.hostname in LOOPBACK
