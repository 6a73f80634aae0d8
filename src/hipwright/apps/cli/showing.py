"""How commands speak: documents on stdout, progress and refusals on stderr, exit 1."""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, ParamSpec, TypeVar

import typer
from pydantic import BaseModel

from hipwright.adapters.wire.documents import as_json, error_document
from hipwright.domain.errors import HipwrightError

P = ParamSpec("P")
R = TypeVar("R")

JsonFlag = Annotated[
    bool, typer.Option("--json", help="Print one JSON document on stdout and nothing else.")
]
Workspace = Annotated[
    Path | None,
    typer.Option(
        "--workspace",
        envvar="HIPWRIGHT_WORKSPACE",
        help="The workspace folder; by default in the user's data directory.",
        show_default=False,
    ),
]


def told_plainly(command: Callable[P, R]) -> Callable[P, R]:
    """Turn a refusal into words on stderr (with ``--json``: a document) and exit 1."""

    @functools.wraps(command)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> R:
        try:
            return command(*args, **kwargs)
        except HipwrightError as error:
            if kwargs.get("json"):
                print_document(error_document(error))
            else:
                typer.secho(str(error), err=True, fg=typer.colors.RED)
            raise typer.Exit(1) from error

    return wrapped


def print_document(document: BaseModel) -> None:
    """Print one JSON document on stdout, in UTF-8 whatever the terminal speaks (RFC 8259)."""
    sys.stdout.flush()
    sys.stdout.buffer.write(f"{as_json(document)}\n".encode())
    sys.stdout.buffer.flush()
