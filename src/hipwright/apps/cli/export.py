"""``hipwright export``: bone models and tables for other programs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from hipwright.adapters.wire.documents import CAUTION, SOFTWARE
from hipwright.apps.cli.showing import JsonFlag, Workspace, print_document, told_plainly
from hipwright.domain.errors import KeepingError, NotFoundError
from hipwright.workflows.export_bones import FRAME, ExportKind


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("export")(export)


@told_plainly
def export(
    case: Annotated[str, typer.Argument(help="The case's code.")],
    *,
    to: Annotated[Path, typer.Option("--to", help="A folder to write into; made if absent.")],
    kind: Annotated[ExportKind, typer.Option("--as", help="What to write.")] = ExportKind.STL,
    observer: Annotated[
        str | None, typer.Option(help="Whose moved landmarks count; by default the newest.")
    ] = None,
    json: JsonFlag = False,
    workspace: Workspace = None,
) -> None:
    """Export a case's bone models in mm (stl, ply, glb) or their measurements (csv).

    Files say unit and frame; they hold no name.
    """
    from hipwright.wiring import bone_files, mesh_writers, open_workspace
    from hipwright.workflows.export_bones import ExportOrder, export_bones
    from hipwright.workflows.measure_bones import measure_bones
    from hipwright.workflows.move_bone_landmarks import reading_by

    with open_workspace(workspace) as opened:
        keeper = opened.keeper
        owner = keeper.case(case)
        build = next(iter(keeper.bone_builds_of(owner.person)), None)
        if build is None:
            raise NotFoundError(
                "cannot export the bones",
                found=f"no bone models of case {owner.code}",
                needed="models made from a CT, or imported",
                next_step=f"Make them with `hipwright bones {owner.code}`.",
                field="case",
            )
        measured = measure_bones(
            keeper, bone_files(), build, reading=reading_by(keeper, build, observer)
        )
        order = ExportOrder(case=owner, kind=kind, caution=CAUTION, software=SOFTWARE)
        made = export_bones(keeper, bone_files(), measured, order, mesh_writers())
    _write(to, made)
    if json:
        from hipwright.adapters.wire.bones_document import BonesExportDocument

        print_document(
            BonesExportDocument(case=owner.code, kind=kind.value, frame=FRAME, files=sorted(made))
        )
    else:
        typer.echo(f"{owner.code}: {len(made)} files written to {to} (mm, {FRAME}).")
        typer.echo(CAUTION)


def _write(folder: Path, made: dict[str, bytes]) -> None:
    """Write the files; one that is there already is left alone, and nothing is written then."""
    there = [name for name in made if (folder / name).exists()]
    if there:
        raise KeepingError(
            "cannot export",
            found=f"{there[0]} in the folder already",
            needed="a folder without files of these names",
            next_step="Name another folder with --to.",
            field="to",
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in made.items():
            (folder / name).write_bytes(content)
    except OSError as error:
        raise KeepingError(
            "cannot export",
            found=error.strerror or type(error).__name__,
            needed="a folder that can be written to, with room",
            next_step="Choose another place for --to.",
            field="to",
        ) from error
