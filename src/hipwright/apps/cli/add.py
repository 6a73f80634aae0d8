"""``hipwright add``: take folders, archives, discs and pictures in."""

from __future__ import annotations

import sys
from dataclasses import replace
from enum import Enum
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from hipwright.adapters.wire.bones_document import meshes_document
from hipwright.adapters.wire.import_report import import_document
from hipwright.apps.cli.add_meshes import Declared, add_meshes, are_meshes, tell_build
from hipwright.apps.cli.showing import JsonFlag, Workspace, print_document, told_plainly
from hipwright.domain.anatomy import Bone
from hipwright.domain.errors import SideError
from hipwright.domain.keeping import ImageKind
from hipwright.domain.side import Side
from hipwright.domain.study import VIEW_NAMES, View
from hipwright.workflows.import_meshes import MeshAxes, MeshUnit
from hipwright.workflows.ports import Asked, Delivery
from hipwright.workflows.read_study import Importer, ImportReport, Wishes

MOST_LISTED = 20
"""Turned-away files beyond this many are counted, unless --json asks for all."""


class Sides(Enum):
    """Which hips an import is about."""

    LEFT = "left"
    RIGHT = "right"
    BOTH = "both"

    def named(self) -> tuple[Side, ...]:
        """The sides meant."""
        return (Side.RIGHT, Side.LEFT) if self is Sides.BOTH else (Side(self.value),)


class FilmView(Enum):
    """Views a film can have."""

    PELVIS_AP = View.PELVIS_AP.value
    DUNN_45 = View.DUNN_45.value
    FALSE_PROFILE = View.FALSE_PROFILE.value
    LATERAL_OTHER = View.LATERAL_OTHER.value
    OTHER = View.OTHER.value


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("add")(add)


@told_plainly
def add(
    paths: Annotated[
        list[Path],
        typer.Argument(help="Folders, zip files, DICOMDIR, DICOM files, pictures; meshes."),
    ],
    *,
    case: Annotated[
        str | None, typer.Option(help="An existing case's code, or the code of a new case.")
    ] = None,
    side: Annotated[Sides | None, typer.Option(help="Which hip it is about.")] = None,
    view: Annotated[
        FilmView | None, typer.Option(help="The view of films whose header does not say.")
    ] = None,
    mm_per_pixel: Annotated[
        float | None, typer.Option(help="The scale of pictures that have none, at the hip.")
    ] = None,
    summary: Annotated[str, typer.Option(help="A line about the new case; no name.")] = "",
    each_patient: Annotated[
        bool, typer.Option("--each-patient", help="Several people's files are meant.")
    ] = False,
    pixels_checked: Annotated[
        bool, typer.Option("--pixels-checked", help="I looked: no name stands in the pictures.")
    ] = False,
    side_checked: Annotated[
        bool, typer.Option("--side-checked", help="--side is right where the films contradict it.")
    ] = False,
    bone: Annotated[
        list[Bone] | None,
        typer.Option(help="Meshes: which bone each file is, in the order of the files."),
    ] = None,
    unit: Annotated[
        MeshUnit | None, typer.Option(help="Meshes: the unit of their numbers.")
    ] = None,
    axes: Annotated[
        MeshAxes | None,
        typer.Option(help="Meshes: lps (+left, +back, +up) or ras (+right, +front, +up)."),
    ] = None,
    turn_outside_out: Annotated[
        bool, typer.Option("--turn-outside-out", help="Meshes: turn those that are inside out.")
    ] = False,
    json: JsonFlag = False,
    workspace: Workspace = None,
) -> None:
    """Import studies, or closed meshes of bones (STL, PLY, OBJ, VTP) into a case.

    Who studies are of stays in the encrypted identity store.
    """
    from hipwright.wiring import importer, open_workspace

    if are_meshes(paths):
        declared = Declared(
            bones=bone or (), unit=unit, axes=axes, turn_outside_out=turn_outside_out
        )
        code, build = add_meshes(paths, case, declared, workspace)
        if json:
            print_document(meshes_document(build, code))
        else:
            tell_build(code, build)
        return

    wishes = Wishes(
        case=case,
        sides=() if side is None else side.named(),
        view=None if view is None else View(view.value),
        each_patient=each_patient,
        pixels_checked=pixels_checked,
        side_checked=side_checked,
        millimeters_per_pixel=mm_per_pixel,
        summary=summary,
    )
    with open_workspace(workspace, create=True) as opened:
        report = _imported(importer(opened), paths, wishes, asking=not json and _on_terminal())
    if json:
        print_document(import_document(report))
    else:
        _tell(report)
    if report.took_nothing:
        raise typer.Exit(1)


def _on_terminal() -> bool:
    return sys.stdin.isatty() and sys.stderr.isatty()


def _imported(
    importing: Importer, paths: list[Path], wishes: Wishes, *, asking: bool
) -> ImportReport:
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, TimeRemainingColumn(), console=console, transient=True) as bar:
        task = bar.add_task("", total=None)

        def show(what: str, done: int, of: int) -> None:
            bar.update(task, description=what, completed=done, total=of or None)

        delivery = importing.look(paths, wishes, progress=show)
        if asking:
            bar.stop()
            wishes = _asked(importing, delivery, wishes)
            bar.start()
        return importing.keep(delivery, wishes, progress=show)


def _asked(importing: Importer, delivery: Delivery, wishes: Wishes) -> Wishes:
    """Ask on the terminal what the headers leave open."""
    for arrival in delivery.arrivals:
        views = dict(wishes.views)
        for question in arrival.questions:
            if question.asked is not Asked.VIEW or question.image is None or wishes.view:
                continue
            image = next(i.image for i in arrival.images if i.image.id == question.image)
            what = f"{image.modality} of {image.columns} × {image.rows} pixels"
            typer.echo(f"{what}. {question.text}", err=True)
            choice = typer.prompt(
                f"{', '.join(v.value for v in VIEW_NAMES if v.is_film)}",
                default=image.view.value,
                err=True,
            )
            views[image.id] = View(choice) if choice in {v.value for v in View} else image.view
        wishes = replace(wishes, views=views)
    if len(delivery.arrivals) == 1:
        try:
            importing.sides_of(delivery.arrivals[0], wishes)
        except SideError as problem:
            if wishes.sides:
                raise
            typer.echo(str(problem.found), err=True)
            choice = typer.prompt("Which hip is this about: left, right, both", err=True)
            chosen = choice.strip().lower()
            side = Sides.BOTH if chosen == Sides.BOTH.value else Sides(Side.parse(choice).value)
            wishes = replace(wishes, sides=side.named())
    return wishes


def _counted(count: int, thing: str) -> str:
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def _tell(report: ImportReport) -> None:
    for image in (*report.images, *report.completed):
        count = _counted(len(image.files), "slice" if image.kind is ImageKind.SERIES else "film")
        where = "" if image.view in {View.CT, View.MR} else f", {image.laterality.value}"
        typer.echo(f"  {VIEW_NAMES[image.view]}{where}: {count}. {image.calibration.note}")
        for warning in image.warnings:
            typer.echo(f"    {warning}", err=True)
    if report.already_here:
        typer.echo(f"  {_counted(report.already_here, 'image')} here already.")
    for case in report.cases:
        new = " (new)" if case.code in report.opened else ""
        typer.echo(f"Case {case.code}, {case.side.value} hip{new}")
    for text in dict.fromkeys((*report.warnings, *(q.text for q in report.questions))):
        typer.echo(text, err=True)
    for rejected in report.rejected[:MOST_LISTED]:
        typer.echo(f"Not taken: {rejected.file}: {rejected.reason}", err=True)
    more = len(report.rejected) - MOST_LISTED
    if more > 0:
        typer.echo(f"Not taken: {more} more files; --json lists them all.", err=True)
