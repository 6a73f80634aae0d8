"""``hipwright landmarks``: load a landmark file into a case."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from hipwright.adapters.wire.documents import SOFTWARE
from hipwright.adapters.wire.landmark_file import (
    landmarks_from_wire,
    read_landmark_file,
)
from hipwright.apps.cli.showing import JsonFlag, Workspace, print_document, told_plainly
from hipwright.domain.errors import NotFoundError
from hipwright.domain.keeping import Case, Image, ImageKind
from hipwright.workflows.ports import Keeper


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("landmarks")(landmarks)


@told_plainly
def landmarks(
    case: Annotated[str, typer.Argument(help="The case's code.")],
    *,
    source: Annotated[Path, typer.Option("--from", help="A landmark file (JSON).")],
    image: Annotated[
        str | None, typer.Option(help="Id of the film, where the file does not name it.")
    ] = None,
    json: JsonFlag = False,
    workspace: Workspace = None,
) -> None:
    """Load landmarks into a case: a new version of that observer's reading."""
    from hipwright.adapters.wire.measurements import measurements_document
    from hipwright.wiring import open_workspace
    from hipwright.workflows.save_reading import save_reading

    file = read_landmark_file(source)
    with open_workspace(workspace) as opened:
        owner = opened.keeper.case(case)
        chosen = _image(opened.keeper, owner, image or file.image)
        placed = landmarks_from_wire(file, chosen.film())
        saved = save_reading(opened.keeper, owner, chosen, placed, software=SOFTWARE)
    if json:
        print_document(measurements_document(saved.findings, owner.code))
    else:
        version = 0 if saved.reading is None else saved.reading.version
        typer.echo(f"{owner.code}: reading saved as version {version} by {placed.observer}.")


def _image(keeper: Keeper, case: Case, wanted: str) -> Image:
    films = [
        image
        for image in keeper.images_of(case.person)
        if image.kind is not ImageKind.SERIES
        and image.view.is_film
        and image.laterality.shows(case.side)
    ]
    if wanted:
        found = [image for image in films if image.id == wanted]
    else:
        found = films if len(films) == 1 else []
    if len(found) != 1:
        listed = ", ".join(f"{i.id} ({i.view.value})" for i in films) or "no films"
        raise NotFoundError(
            "cannot tell which film the landmarks belong to",
            found=f"{wanted or 'no image id'}; of the {case.side} hip there are {listed}",
            needed="the id of one of its films",
            next_step='Name it with --image or as "image" in the file.',
            field="image",
        )
    return found[0]
