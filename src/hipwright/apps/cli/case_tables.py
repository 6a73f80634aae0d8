"""Cases as tables on the terminal."""

from __future__ import annotations

from datetime import date, timedelta

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from hipwright.adapters.wire.keeping_documents import CaseDocument, WireCase


def print_cases(items: list[WireCase], *, with_identity: bool) -> None:
    """Print the list of cases."""
    table = Table(title="Cases", title_justify="left")
    table.add_column("Code", no_wrap=True)
    for heading in ("Name", "Numbers") if with_identity else ():
        table.add_column(heading, overflow="fold")
    for heading in ("Hip", "Sex", "Images", "Opened"):
        table.add_column(heading, no_wrap=True)
    table.add_column("Summary", overflow="fold")
    for item in items:
        who = [_name(item), _numbers(item)] if with_identity else []
        summary = f"{'[invented] ' if item.invented else ''}{item.summary}"
        opened = item.opened_at.date().isoformat()
        table.add_row(
            item.code,
            *who,
            item.side,
            item.sex or "",
            str(item.images),
            opened,
            escape(summary),
        )
    Console().print(table)


def print_case(document: CaseDocument, shift_days: int | None) -> None:
    """Print one case; with its shift, dates are the true ones."""
    console = Console()
    case = document.case
    invented = ", invented" if case.invented else ""
    console.print(f"[bold]{escape(case.code)}[/bold]  {case.side} hip{invented}")
    if case.identity is not None:
        console.print(escape(f"{_name(case)}  {_numbers(case)}"))
    if case.summary:
        console.print(escape(case.summary))
    day = "Date" if shift_days is not None else "Date (shifted)"
    console.print(
        _images(document, day, shift_days) if document.images else "No images of this hip yet."
    )
    console.print(_readings(document) if document.readings else "No readings yet.")
    if document.grades:
        console.print(_grades(document))


def _images(document: CaseDocument, day: str, shift_days: int | None) -> Table:
    images = Table(title="Images", title_justify="left")
    for heading in ("Id", day, "View", "Hips", "Posture", "Size", "Scale", "Phase"):
        images.add_column(heading, overflow="fold")
    for image in document.images:
        images.add_row(
            image.id,
            _date(image.acquired_on_shifted, shift_days),
            f"{image.modality} {image.view}",
            image.laterality,
            image.posture,
            f"{image.columns} × {image.rows}",
            escape(image.spacing_source),
            escape(image.phase),
        )
    return images


def _readings(document: CaseDocument) -> Table:
    readings = Table(title="Readings", title_justify="left")
    for heading in ("Image", "Observer", "Reading", "Version", "Landmarks", "Saved"):
        readings.add_column(heading, overflow="fold")
    for reading in document.readings:
        readings.add_row(
            reading.image,
            escape(reading.observer),
            str(reading.reading),
            str(reading.version),
            str(reading.points + reading.contours),
            f"{reading.saved_at:%Y-%m-%d %H:%M}",
        )
    return readings


def _grades(document: CaseDocument) -> Table:
    grades = Table(title="Graded readings", title_justify="left")
    for heading in ("Grade", "Value", "Observer"):
        grades.add_column(heading, overflow="fold")
    for grade in document.grades:
        grades.add_row(escape(grade.definition), escape(grade.value), escape(grade.observer))
    return grades


def _date(shifted: date | None, shift_days: int | None) -> str:
    if shifted is None:
        return ""
    return (shifted - timedelta(days=shift_days or 0)).isoformat()


def _name(item: WireCase) -> str:
    return item.identity.name if item.identity else ""


def _numbers(item: WireCase) -> str:
    return ", ".join(item.identity.numbers) if item.identity else ""
