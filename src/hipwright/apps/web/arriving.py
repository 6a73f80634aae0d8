"""One import on its way in, and the table of them all.

An import runs in a thread of the server: what it found waits in memory for somebody to
confirm it, and nothing is kept before. A trace of each is written to the disk, so that after
a stop of the server people are told what became of it.
"""

from __future__ import annotations

import json
import secrets
import shutil
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from enum import Enum
from pathlib import Path

from hipwright.domain.errors import HipwrightError
from hipwright.workflows.ports import Clock, Delivery
from hipwright.workflows.read_study import ImportReport


class Stage(Enum):
    """How far an import is."""

    BRINGING = "bringing"
    LOOKING = "looking"
    ASKING = "asking"
    KEEPING = "keeping"
    DONE = "done"
    FAILED = "failed"
    CANCELED = "canceled"
    INTERRUPTED = "interrupted"

    @property
    def is_working(self) -> bool:
        """Whether it goes on by itself."""
        return self in {Stage.LOOKING, Stage.KEEPING}

    @property
    def is_over(self) -> bool:
        """Whether nothing more will happen."""
        return self in {Stage.DONE, Stage.FAILED, Stage.CANCELED, Stage.INTERRUPTED}


class CanceledError(Exception):
    """Somebody has stopped the import."""


@dataclass(slots=True, kw_only=True, eq=False)
class Arriving:
    """One import."""

    id: str
    folder: Path
    into: str
    stage: Stage = Stage.BRINGING
    said: str = ""
    done: int = 0
    total: int = 0
    files: int = 0
    size: int = 0
    heartbeat: datetime | None = None
    pixels_checked: bool = False
    delivery: Delivery | None = field(default=None, repr=False)
    report: ImportReport | None = None
    problem: HipwrightError | None = None
    next: str = ""
    stop: threading.Event = field(default_factory=threading.Event)
    lock: threading.Lock = field(default_factory=threading.Lock)
    thumbnails: dict[str, bytes] = field(default_factory=dict[str, bytes], repr=False)


class ArrivalTable:
    """All imports of this server, and what is left of those before it."""

    def __init__(self, folder: Path, clock: Clock) -> None:
        self._folder = folder
        self._clock = clock
        self._lock = threading.Lock()
        self._known: dict[str, Arriving] = {}
        self._take_over()

    def begin(self, into: str) -> Arriving:
        """Make room for the files of a new import."""
        name = secrets.token_hex(8)
        made = Arriving(id=name, folder=self._folder / name / "files", into=into)
        made.folder.mkdir(mode=0o700, parents=True)
        with self._lock:
            self._known[name] = made
        self.note(made)
        return made

    def find(self, name: str) -> Arriving | None:
        """The import of that id."""
        return self._known.get(name)

    def run(self, arriving: Arriving, stage: Stage, work: Callable[[], Stage]) -> None:
        """Do one stage in a thread of its own."""
        arriving.stage = stage
        arriving.problem = None
        arriving.done = arriving.total = 0
        self.note(arriving)

        def do() -> None:
            try:
                after = work()
            except CanceledError:
                after = Stage.CANCELED
            except HipwrightError as error:
                arriving.problem = error
                after = Stage.ASKING if stage is Stage.KEEPING else Stage.FAILED
            except Exception as error:
                arriving.problem = _unexpected(error)
                after = Stage.FAILED
            self.settle(arriving, after)

        threading.Thread(target=do, name=f"import {arriving.id}", daemon=True).start()

    def settle(self, arriving: Arriving, stage: Stage) -> None:
        """Reach a stage; when it is over, everything that was brought is deleted."""
        arriving.stage = stage
        if stage.is_over:
            arriving.delivery = None
            arriving.thumbnails.clear()
            shutil.rmtree(arriving.folder, ignore_errors=True)
        self.note(arriving)

    def progress(self, arriving: Arriving) -> Callable[[str, int, int], None]:
        """What a workflow tells its progress to; stops the workflow if somebody asked for it."""

        def tell(what: str, done: int, total: int) -> None:
            if arriving.stop.is_set():
                raise CanceledError
            arriving.said, arriving.done, arriving.total = what, done, total
            arriving.heartbeat = self._clock.now()

        return tell

    def note(self, arriving: Arriving) -> None:
        """Leave a trace of where an import stands; it names no file and nobody."""
        place = arriving.folder.parent
        if not place.is_dir():
            return
        part = place / "state.part"
        with arriving.lock:  # its thread and the page can both be here
            now = self._clock.now().isoformat()
            part.write_text(json.dumps({"stage": arriving.stage.value, "at": now}), "utf-8")
            part.replace(place / "state.json")

    def _take_over(self) -> None:
        """Mark what an earlier server left behind, and delete its files."""
        if not self._folder.is_dir():
            return
        for place in self._folder.iterdir():
            shutil.rmtree(place / "files", ignore_errors=True)
            stage = _stage_in(place / "state.json")
            if stage is None:
                shutil.rmtree(place, ignore_errors=True)
                continue
            left = Arriving(id=place.name, folder=place / "files", into="")
            left.stage = stage if stage.is_over else Stage.INTERRUPTED
            self._known[left.id] = left
            self.note(left)


def _stage_in(path: Path) -> Stage | None:
    try:
        return Stage(json.loads(path.read_text("utf-8"))["stage"])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _unexpected(error: Exception) -> HipwrightError:
    full = isinstance(error, OSError)
    return HipwrightError(
        "cannot take the images in",
        found=(error.strerror or "a disk that does not answer")
        if full
        else f"a defect of hipwright ({type(error).__name__})",
        needed="room on the disk and leave to write there" if full else "",
        next_step="Nothing was kept. Try again; `hipwright doctor` checks the workspace.",
    )
