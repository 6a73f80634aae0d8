"""``hipwright bones``: from a CT to bone models and measurements in space."""

from __future__ import annotations

from enum import Enum
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from hipwright.adapters.wire.documents import CAUTION
from hipwright.apps.cli.finding_tables import print_findings, print_hours, print_reasons
from hipwright.apps.cli.progress import progress_on_stderr
from hipwright.apps.cli.showing import JsonFlag, Workspace, print_document, told_plainly

if TYPE_CHECKING:
    from hipwright.domain.keeping import Case
    from hipwright.domain.keeping_bones import BoneBuild
    from hipwright.wiring import Workspace as OpenWorkspace
    from hipwright.workflows.measure_bones import BonesMeasured

STOPPED = 130
"""Exit status after Ctrl-C (common practice)."""


class WhichSides(Enum):
    """Which hips are measured."""

    OWN = "own"
    BOTH = "both"


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("bones")(bones)


@told_plainly
def bones(
    case: Annotated[str, typer.Argument(help="The case's code.")],
    *,
    image: Annotated[
        str | None, typer.Option(help="The CT series to use; by default the newest of the hips.")
    ] = None,
    again: Annotated[
        bool, typer.Option("--again", help="Make the models again, with the newest hand edits.")
    ] = False,
    sides: Annotated[WhichSides, typer.Option(help="Which hips to measure.")] = WhichSides.OWN,
    observer: Annotated[
        str | None, typer.Option(help="Whose moved landmarks count; by default the newest.")
    ] = None,
    tilt_standing: Annotated[
        float | None,
        typer.Option(help="Tilt of the standing pelvis, degrees, forward positive."),
    ] = None,
    tilt_supine: Annotated[
        float | None, typer.Option(help="Tilt of the lying pelvis, degrees, forward positive.")
    ] = None,
    json: JsonFlag = False,
    workspace: Workspace = None,
) -> None:
    """Make bone models of a case's CT if there are none, and measure its hips on them.

    Ctrl-C stops; the next run goes on from the last finished stage.
    """
    from hipwright.wiring import open_workspace

    tilts = {"standing": tilt_standing, "supine": tilt_supine}
    with open_workspace(workspace) as opened:
        owner = opened.keeper.case(case)
        try:
            build = _build(opened, owner, image, again=again)
        except KeyboardInterrupt as stopped:
            typer.echo(
                "Stopped. Nothing was changed; run it again to go on from the last stage.",
                err=True,
            )
            raise typer.Exit(STOPPED) from stopped
        measured = _measured(opened, owner, build, observer, sides, tilts)
    if json:
        from hipwright.adapters.wire.bones_document import bones_document

        print_document(bones_document(measured, owner.code))
    else:
        _print(measured, owner)


def _build(opened: OpenWorkspace, case: Case, image: str | None, *, again: bool) -> BoneBuild:
    from hipwright.wiring import bone_workshop
    from hipwright.workflows.bone_series import series_for_bones
    from hipwright.workflows.build_bones import build_bones

    keeper = opened.keeper
    made = [
        build
        for build in keeper.bone_builds_of(case.person)
        if image is None or image in build.images
    ]
    if made and not again:
        return made[0]
    workshop = bone_workshop(opened)
    images = series_for_bones(keeper, workshop.reader, case, image)
    with progress_on_stderr() as progress:
        return build_bones(keeper, images, workshop, progress=progress)


def _measured(
    opened: OpenWorkspace,
    case: Case,
    build: BoneBuild,
    observer: str | None,
    sides: WhichSides,
    tilts: dict[str, float | None],
) -> BonesMeasured:
    from hipwright.domain.side import Side
    from hipwright.wiring import bone_files
    from hipwright.workflows.measure_bones import measure_bones
    from hipwright.workflows.move_bone_landmarks import checked_tilt, reading_by

    own = {
        posture: checked_tilt(posture, degrees)
        for posture, degrees in tilts.items()
        if degrees is not None
    }
    return measure_bones(
        opened.keeper,
        bone_files(),
        build,
        reading=reading_by(opened.keeper, build, observer),
        sides=tuple(Side) if sides is WhichSides.BOTH else (case.side,),
        tilts_deg=own,
    )


def _print(measured: BonesMeasured, case: Case) -> None:
    console = Console(markup=False)  # brackets in a remark are brackets
    build = measured.build
    where = "a CT" if build.images else "meshes made elsewhere"
    console.print(
        f"{case.code}: bone models {build.number}, made from {where} on {build.made_at:%Y-%m-%d}",
        highlight=False,
    )
    for kept in build.bones:
        part = f", {kept.part}" if kept.part else ""
        console.print(
            f"  {kept.bone.words}{part}: {kept.triangles} triangles, edge good to "
            f"{kept.quality.edge_sd_mm:.2f} mm (one standard deviation)",
            highlight=False,
        )
    for remark in measured.remarks:
        about = f"{remark.bone.words}: " if remark.bone else ""
        console.print(f"  {remark.severity.value.upper()} {about}{remark.told}", highlight=False)
    print_findings(console, measured.findings, "Measured on the bones, pelvic plane upright")
    for posture, degrees in measured.tilts_deg.items():
        changed = [f for hip in measured.hips.values() for f in hip.tilted.get(posture, ())]
        print_findings(console, changed, f"What changes {posture}, tilted by {degrees:+.1f}°")
    print_hours(console, measured.findings)
    print_reasons(console, measured.findings)
    console.print(CAUTION, style="italic")
