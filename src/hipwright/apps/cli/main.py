"""``hipwright``: one command per step."""

from __future__ import annotations

from importlib import import_module
from typing import Annotated

import typer

from hipwright import __version__

COMMAND_MODULES = (
    "demo",
    "serve",
    "add",
    "cases",
    "landmarks",
    "measure",
    "bones",
    "report",
    "export",
    "catalog",
    "keeping",
)
"""Modules of this package that register commands, in the order ``--help`` lists them."""

app = typer.Typer(
    name="hipwright",
    help="A workbench for hip-preservation surgery, for licensed clinicians. No medical device.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
)


def _show_version(*, wanted: bool) -> None:
    if wanted:
        typer.echo(f"hipwright {__version__}")
        raise typer.Exit


@app.callback()
def options(
    *,
    version: Annotated[
        bool,
        typer.Option(
            "--version",
            callback=lambda wanted: _show_version(wanted=bool(wanted)),
            is_eager=True,
            help="Show the version.",
        ),
    ] = False,
) -> None:
    """A workbench for hip-preservation surgery."""
    del version


for _name in COMMAND_MODULES:
    import_module(f"hipwright.apps.cli.{_name}").register(app)
