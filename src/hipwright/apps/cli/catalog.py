"""``hipwright catalog``: landmarks and measurements with their definitions."""

from __future__ import annotations

import typer
from rich.console import Console
from rich.table import Table

from hipwright.adapters.wire.catalog_document import catalog_document
from hipwright.apps.cli.showing import JsonFlag, print_document, told_plainly
from hipwright.catalog import Catalog, load
from hipwright.domain.study import VIEW_NAMES


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("catalog")(catalog)


@told_plainly
def catalog(*, json: JsonFlag = False) -> None:
    """List landmarks, measurements and references with how they were seen."""
    shelf = load()
    if json:
        print_document(catalog_document(shelf))
        return
    console = Console(markup=False)  # brackets in a definition are brackets
    console.print(_landmarks(shelf))
    console.print(_measurements(shelf))


def _landmarks(shelf: Catalog) -> Table:
    table = Table(title="Landmarks", title_justify="left", show_lines=False)
    for heading in ("Id", "Placed as", "Views", "Definition"):
        table.add_column(heading, overflow="fold")
    for entry in shelf.landmarks.values():
        views = ", ".join(VIEW_NAMES[view] for view in entry.views)
        table.add_row(entry.id, entry.kind.value, views, entry.definition)
    return table


def _measurements(shelf: Catalog) -> Table:
    table = Table(title="Measurements and graded readings", title_justify="left")
    for heading in ("Id", "Name", "Kind", "Views", "Construction", "Seen"):
        table.add_column(heading, overflow="fold")
    for entry in shelf.measurements.values():
        views = ", ".join(VIEW_NAMES[view] for view in entry.views)
        seen = ", ".join(sorted({shelf.reference(r).seen.value for r in entry.defined_by}))
        table.add_row(entry.id, entry.name, entry.kind.value, views, entry.construction, seen)
    return table
