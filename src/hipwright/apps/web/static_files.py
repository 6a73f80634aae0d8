"""Our own CSS, JavaScript and fonts, under an address that changes when they do."""

from __future__ import annotations

import hashlib
from pathlib import Path

from starlette.staticfiles import StaticFiles
from starlette.types import Message, Receive, Scope, Send

FOLDER = Path(__file__).parent / "static"
FOREVER = "public, max-age=31536000, immutable"


def stamp_of(folder: Path) -> str:
    """A short digest of all files' names, sizes and times."""
    digest = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            facts = path.stat()
            digest.update(
                f"{path.relative_to(folder)} {facts.st_size} {facts.st_mtime_ns}\n".encode()
            )
    return digest.hexdigest()[:12]


class StampedFiles(StaticFiles):
    """Serves ``/<stamp>/<path>``; modules that import each other by relative paths keep it."""

    def __init__(self, folder: Path = FOLDER) -> None:
        super().__init__(directory=folder)
        self.stamp = stamp_of(folder)

    def get_path(self, scope: Scope) -> str:
        """Leave the stamp out."""
        parts = Path(super().get_path(scope)).parts
        return str(Path(*parts[1:])) if len(parts) > 1 else ""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve a file, kept by the browser as long as it likes."""
        current = f"/{self.stamp}/" in scope["path"]

        async def kept(message: Message) -> None:
            if message["type"] == "http.response.start" and message["status"] in {200, 304}:
                value = FOREVER if current else "no-cache"
                message["headers"] = [*message["headers"], (b"cache-control", value.encode())]
            await send(message)

        await super().__call__(scope, receive, kept)

    def address(self, path: str) -> str:
        """Where a file is served."""
        return f"/static/{self.stamp}/{path}"
