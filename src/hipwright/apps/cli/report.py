"""``hipwright report``: documents of a case."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hipwright.adapters.wire.documents import CAUTION, SOFTWARE, ReportDocument
from hipwright.apps.cli.showing import JsonFlag, Workspace, print_document, told_plainly
from hipwright.domain.errors import KeepingError

if TYPE_CHECKING:
    from hipwright.workflows.report_case import CaseReport


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("report")(report)


@told_plainly
def report(
    case: Annotated[str, typer.Argument(help="The case's code.")],
    *,
    to: Annotated[Path, typer.Option("--to", help="A .pdf, .html or .txt file to write.")],
    with_identity: Annotated[
        bool,
        typer.Option("--with-identity", help="For the care record: name, number, true dates."),
    ] = False,
    observer: Annotated[
        str | None, typer.Option(help="Whose readings count; by default the newest.")
    ] = None,
    json: JsonFlag = False,
    workspace: Workspace = None,
) -> None:
    """Print the report of a case: films with overlays, values with intervals, sources.

    A .txt file holds the findings in a few sentences for the clinic letter.
    """
    from hipwright.adapters.documents.film_png import PngPrinter
    from hipwright.wiring import bone_files, loading_dock, open_workspace
    from hipwright.workflows.report_case import Sources, report_case
    from hipwright.workflows.show_bones import bones_of_case

    write = _writer(to)
    with open_workspace(workspace) as opened:
        owner = opened.keeper.case(case)
        sources = Sources(
            keeper=opened.keeper,
            dock=loading_dock(opened),
            printer=PngPrinter(),
            identity=opened.identity if with_identity else None,
            bones=lambda hip: bones_of_case(opened.keeper, bone_files(), hip),
        )
        made = report_case(
            sources,
            owner,
            made_on=datetime.now(UTC).astimezone().date(),
            software=SOFTWARE,
            caution=CAUTION,
            observer=observer,
        )
    _put(to, write(made))
    if json:
        print_document(ReportDocument(case=owner.code, file=to.name, films=len(made.pictures)))
    else:
        typer.echo(f"{owner.code}: report written to {to}.")


def _writer(to: Path) -> Callable[[CaseReport], bytes]:
    def pdf(made: CaseReport) -> bytes:
        from hipwright.adapters.documents.typst_pdf import to_pdf

        return to_pdf(made.document, made.pictures)

    def html(made: CaseReport) -> bytes:
        from hipwright.adapters.documents.web_page import to_html

        return to_html(made.document, made.pictures).encode()

    writers = {".pdf": pdf, ".html": html, ".txt": lambda made: made.letter.encode() + b"\n"}
    chosen = writers.get(to.suffix.lower())
    if chosen is None:
        raise KeepingError(
            "cannot write the report",
            found=f"a file name ending in {to.suffix!r}",
            needed=", ".join(writers),
            next_step="Choose one of these endings.",
            field="to",
        )
    return chosen


def _put(to: Path, content: bytes) -> None:
    """Write beside the target first, so a failure leaves no half report."""
    beside = to.with_name(to.name + ".part")
    try:
        beside.write_bytes(content)
        beside.replace(to)
    except OSError as error:
        with suppress(OSError):
            beside.unlink()
        raise KeepingError(
            "cannot write the report",
            found=error.strerror or type(error).__name__,
            needed="a folder that can be written to, with room",
            next_step="Choose another place for --to.",
            field="to",
        ) from error
