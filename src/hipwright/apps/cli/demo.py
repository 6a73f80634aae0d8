"""``hipwright demo``: the demonstration clinic, made if absent, in the browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from hipwright.apps.cli.serve import Listening, run
from hipwright.apps.cli.showing import JsonFlag, told_plainly


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("demo")(demo)


@told_plainly
def demo(
    *,
    workspace: Annotated[
        Path | None,
        typer.Option(
            "--workspace",
            help="Where the demonstration lies; by default beside the user's own workspace.",
            show_default=False,
        ),
    ] = None,
    port: Annotated[
        int | None, typer.Option(help="Port; by default 8734, or a free one if it is taken.")
    ] = None,
    browser: Annotated[bool, typer.Option(help="Open the browser.")] = True,
    serve: Annotated[bool, typer.Option(help="Serve it once it is made.")] = True,
    json: JsonFlag = False,
) -> None:
    """Make the demonstration clinic if it is absent, and open it in the browser."""
    from hipwright.apps.cli.progress import progress_on_stderr
    from hipwright.wiring import demonstration_clinic, open_workspace, places
    from hipwright.workflows.build_demonstration import build_demonstration, is_built

    folder = workspace or places().workspace.parent / "demonstration"
    with open_workspace(folder, create=True) as opened:
        if not is_built(opened.keeper):
            typer.echo("Making the demonstration clinic: six invented hips.", err=True)
            with progress_on_stderr() as progress:
                build_demonstration(demonstration_clinic(opened), progress)
        if serve:
            run(opened, Listening(port=port, browser=browser, json=json))
