"""A progress bar on stderr, where somebody is watching."""

from __future__ import annotations

import sys
from collections.abc import Generator
from contextlib import contextmanager

from hipwright.workflows.ports import Progress


@contextmanager
def progress_on_stderr() -> Generator[Progress]:
    """Show what is being done, and how much of it; nothing where stderr is no terminal."""
    if not sys.stderr.isatty():
        yield lambda what, done, total: None  # noqa: ARG005 - nobody is watching
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn
    from rich.progress import Progress as Bar

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=None)

        def show(what: str, done: int, total: int) -> None:
            bar.update(task, description=what, completed=done, total=total or None)

        yield show
