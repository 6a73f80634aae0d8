"""``hipwright measure``: all that a case's films allow, and why the others are not."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from hipwright.adapters.wire.documents import CAUTION, SOFTWARE
from hipwright.adapters.wire.landmark_file import landmarks_from_wire, read_landmark_file
from hipwright.adapters.wire.measurements import measurements_document
from hipwright.apps.cli.finding_tables import print_findings, print_reasons
from hipwright.apps.cli.showing import JsonFlag, Workspace, print_document, told_plainly
from hipwright.domain.errors import LandmarkError, NotFoundError
from hipwright.domain.measurement import Finding
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, Film, SpacingSource, View


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("measure")(measure)


@told_plainly
def measure(
    case: Annotated[str | None, typer.Argument(help="The case's code.")] = None,
    *,
    source: Annotated[
        Path | None,
        typer.Option("--from", help="Measure a landmark file alone, without a workspace."),
    ] = None,
    view: Annotated[View, typer.Option(help="With --from: the film's view.")] = View.PELVIS_AP,
    size: Annotated[
        str, typer.Option(help="With --from: columns x rows of the film.")
    ] = "4096x4096",
    pixel_mm: Annotated[
        float | None, typer.Option(help="With --from: mm in the plane of the hip per pixel.")
    ] = None,
    anterior: Annotated[
        str | None,
        typer.Option(help="With --from, false profile: left or right, where the front is."),
    ] = None,
    observer: Annotated[
        str | None, typer.Option(help="Whose readings count; by default the newest.")
    ] = None,
    both: Annotated[bool, typer.Option("--both", help="Measure the other hip too.")] = False,
    json: JsonFlag = False,
    workspace: Workspace = None,
) -> None:
    """Measure all that a case's images and landmarks allow, and say why the others are not."""
    if source is not None and case is not None:
        raise LandmarkError(
            "cannot measure a case and a landmark file at once",
            found=f"the case {case} and --from",
            needed="one of the two",
            next_step="Load the file into the case with `hipwright landmarks CASE --from FILE`.",
            field="from",
        )
    if source is not None:
        film = _film(view, size, pixel_mm, anterior)
        findings = _from_file(source, film)
        code = None
    elif case is not None:
        code, findings = _from_case(case, workspace, observer=observer, both=both)
    else:
        raise NotFoundError(
            "cannot measure",
            needed="a case, or --from with a landmark file",
            found="neither",
            next_step="`hipwright cases` lists the cases.",
            field="case",
        )
    if json:
        print_document(measurements_document(findings, code))
    else:
        _print_table(findings)


def _from_case(
    code: str, workspace: Path | None, *, observer: str | None, both: bool
) -> tuple[str, tuple[Finding, ...]]:
    from hipwright.wiring import open_workspace
    from hipwright.workflows.measure_hip import measure_case

    with open_workspace(workspace) as opened:
        case = opened.keeper.case(code)
        read = measure_case(
            opened.keeper, case, observer=observer, both_sides=both, software=SOFTWARE
        )
    return case.code, tuple(finding for image in read for finding in image.findings)


def _from_file(source: Path, film: Film) -> tuple[Finding, ...]:
    from hipwright.workflows.measure_hip import measure_landmarks

    landmarks = landmarks_from_wire(read_landmark_file(source), film)
    named = {item.side for item in landmarks if item.side is not None}
    sides = [side for side in Side if side in named] or list(Side)
    return measure_landmarks(film, landmarks, sides, software=SOFTWARE)


def _film(view: View, size: str, pixel_mm: float | None, anterior: str | None) -> Film:
    columns, _, rows = size.lower().partition("x")
    if not (columns.isdecimal() and rows.isdecimal()):
        raise LandmarkError(
            "cannot read --size",
            found=repr(size),
            needed="columns x rows, such as 3000x2500",
            next_step="Correct it.",
            field="size",
        )
    return Film(
        image="file",
        view=view,
        columns=int(columns),
        rows=int(rows),
        calibration=_scale(pixel_mm),
        anterior_at_image_right=None if anterior is None else Side.parse(anterior) is Side.RIGHT,
    )


def _scale(pixel_mm: float | None) -> Calibration:
    if pixel_mm is None:
        return Calibration.uncalibrated()
    return Calibration(column_mm=pixel_mm, row_mm=pixel_mm, source=SpacingSource.BY_HAND)


def _print_table(findings: tuple[Finding, ...]) -> None:
    console = Console(markup=False)  # brackets in a reason are brackets
    print_findings(console, findings, "Measurements")
    print_reasons(console, findings)
    console.print(CAUTION, style="italic")
