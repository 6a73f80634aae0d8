"""``hipwright cases`` and ``hipwright show``: what is kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from hipwright.apps.cli.showing import JsonFlag, Workspace, print_document, told_plainly

if TYPE_CHECKING:
    from hipwright.adapters.wire.keeping_documents import WireCase
    from hipwright.domain.keeping import Case
    from hipwright.wiring import Workspace as OpenWorkspace

WithIdentity = Annotated[
    bool,
    typer.Option(
        "--with-identity",
        help="Show names, numbers and true dates, for the care record only.",
    ),
]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("cases")(cases)
    app.command("show")(show)


@told_plainly
def cases(
    *, with_identity: WithIdentity = False, json: JsonFlag = False, workspace: Workspace = None
) -> None:
    """List all cases: one hip each."""
    from hipwright.adapters.wire.keeping_documents import CasesDocument
    from hipwright.wiring import open_workspace

    with open_workspace(workspace) as opened:
        items = [
            _case(opened, case, with_identity=with_identity) for case in opened.keeper.cases()
        ]
    if json:
        print_document(CasesDocument(items=items))
    elif not items:
        typer.echo("No cases yet. Take images in with `hipwright add`.")
    else:
        from hipwright.apps.cli.case_tables import print_cases

        print_cases(items, with_identity=with_identity)


@told_plainly
def show(
    case: Annotated[str, typer.Argument(help="The case's code, or as much of it as is unique.")],
    *,
    with_identity: WithIdentity = False,
    json: JsonFlag = False,
    workspace: Workspace = None,
) -> None:
    """Print one case: images, readings, grades and history."""
    from hipwright.adapters.wire.keeping_documents import case_document
    from hipwright.wiring import open_workspace

    with open_workspace(workspace) as opened:
        keeper = opened.keeper
        found = keeper.case(case)
        images = [i for i in keeper.images_of(found.person) if i.laterality.shows(found.side)]
        document = case_document(
            _case(opened, found, with_identity=with_identity),
            studies=keeper.studies_of(found.person),
            images=images,
            readings=[r for image in images for r in keeper.readings_of(image.id)],
            grades=keeper.grades_of(found.id),
            history=keeper.history_of(found.id),
        )
        shift = opened.identity.date_shift_days(found.person) if with_identity else None
    if json:
        print_document(document)
    else:
        from hipwright.apps.cli.case_tables import print_case

        print_case(document, shift)


def _case(opened: OpenWorkspace, case: Case, *, with_identity: bool) -> WireCase:
    from hipwright.adapters.wire.keeping_documents import case_to_wire

    images = opened.keeper.images_of(case.person)
    return case_to_wire(
        case,
        opened.keeper.person(case.person),
        images=sum(image.laterality.shows(case.side) for image in images),
        identity=opened.identity.of(case.person) if with_identity else None,
    )
