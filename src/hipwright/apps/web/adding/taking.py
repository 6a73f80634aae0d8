"""The two stages of an import that take time: looking and keeping."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from hipwright.apps.web.adding.answers import Answered, answered
from hipwright.apps.web.arriving import Arriving, Stage
from hipwright.apps.web.state import WebState
from hipwright.domain.errors import HipwrightError, ImportRefusedError
from hipwright.domain.keeping import ImageKind
from hipwright.domain.side import Side
from hipwright.wiring import importer
from hipwright.workflows.ports import Arrival, Delivery
from hipwright.workflows.read_study import Importer, ImportReport, Wishes


def look(state: WebState, arriving: Arriving) -> None:
    """Read everything that was brought; then ask."""
    table = state.arrivals

    def work() -> Stage:
        paths = sorted(arriving.folder.iterdir(), key=lambda path: path.name)
        arriving.delivery = importer(state.opened).look(
            paths, wishes_of(arriving), progress=table.progress(arriving)
        )
        return Stage.ASKING

    arriving.thumbnails.clear()
    table.run(arriving, Stage.LOOKING, work)


def keep(state: WebState, arriving: Arriving, form: Mapping[str, str], *, by: str) -> None:
    """Keep what was confirmed: all or nothing."""
    table = state.arrivals
    delivery = arriving.delivery
    if delivery is None:
        raise ImportRefusedError(
            "cannot keep the images",
            found="an import that is over",
            needed="one that waits to be confirmed",
            next_step="Bring the files in again.",
        )
    wishes = replace(wishes_of(arriving), each_patient="each_patient" in form, by=by)
    identity = state.opened.identity
    people = [
        answered(arrival, number, form, wishes, identity)
        for number, arrival in enumerate(delivery.arrivals)
    ]
    read_now = form.get("then") == "read"

    def work() -> Stage:
        report = _keep(state, arriving, delivery, people, wishes)
        arriving.report = report
        arriving.next = _film_to_read(report) if read_now else ""
        return Stage.DONE

    table.run(arriving, Stage.KEEPING, work)


def _keep(
    state: WebState,
    arriving: Arriving,
    delivery: Delivery,
    people: Sequence[Answered],
    wishes: Wishes,
) -> ImportReport:
    takes = importer(state.opened)
    tell = state.arrivals.progress(arriving)
    if len(people) <= 1 or not wishes.each_patient:
        whole = replace(delivery, arrivals=tuple(one.arrival for one in people))
        own = people[0].wishes if people else wishes
        return takes.keep(whole, own, progress=tell)
    # Files are kept one by one whatever happens, so they go first; then the rows of
    # everybody in one transaction.
    for one in people:
        for image in one.arrival.images:
            for content in image.contents:
                tell("keeping", 0, 0)
                state.opened.keeper.put_file(content)
    reports: list[ImportReport] = []
    with state.opened.keeper.transaction(by=wishes.by):
        for number, one in enumerate(people):
            own = Delivery(
                arrivals=(one.arrival,), rejected=delivery.rejected if number == 0 else ()
            )
            reports.append(takes.keep(own, one.wishes, progress=tell))
    return _together(reports)


def _together(reports: Sequence[ImportReport]) -> ImportReport:
    return ImportReport(
        people=sum(report.people for report in reports),
        cases=tuple(case for report in reports for case in report.cases),
        opened=tuple(code for report in reports for code in report.opened),
        images=tuple(image for report in reports for image in report.images),
        completed=tuple(image for report in reports for image in report.completed),
        already_here=sum(report.already_here for report in reports),
        rejected=tuple(one for report in reports for one in report.rejected),
        questions=tuple(question for report in reports for question in report.questions),
        warnings=tuple(warning for report in reports for warning in report.warnings),
    )


def _film_to_read(report: ImportReport) -> str:
    films = [image for image in report.images if image.kind is not ImageKind.SERIES]
    if not films:
        return ""
    film = films[0]
    codes = [c.code for c in report.cases if film.laterality.shows(c.side)]
    return f"/films/{film.id}" + (f"?case={codes[0]}" if codes else "")


def wishes_of(arriving: Arriving) -> Wishes:
    """What is known before anybody is asked."""
    return Wishes(case=arriving.into or None, pixels_checked=arriving.pixels_checked)


def proposed_sides(takes: Importer, arrival: Arrival, wishes: Wishes) -> tuple[str, str]:
    """The sides an import would open by itself, and why it cannot tell, if so."""
    try:
        sides = takes.sides_of(arrival, wishes)
    except HipwrightError as error:
        return "", str(error)
    if len(sides) > 1:
        return "both", ""
    return "".join(side.value for side in sides), ""


def sides_with_cases(takes: Importer, arrival: Arrival) -> dict[Side, str]:
    """Codes of the cases that the person has already."""
    return {case.side: case.code for case in takes.keeper.cases_of(arrival.person.id)}
