"""Taking studies in: read at the dock, settle whose and which hip, keep all or nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from hipwright.domain.errors import NotFoundError, SideError
from hipwright.domain.keeping import (
    Case,
    Identity,
    Image,
    Laterality,
    Person,
    Rejected,
    Study,
)
from hipwright.domain.side import Side
from hipwright.workflows.import_wishes import (
    Wishes,
    agree,
    check_people,
    is_one_sided,
    joined,
    settled,
)
from hipwright.workflows.known_images import Known, known_images
from hipwright.workflows.ports import (
    Arrival,
    ArrivingImage,
    Asked,
    Clock,
    Delivery,
    Dock,
    IdentityKeeper,
    Keeper,
    Progress,
    Question,
)

__all__ = ["ImportReport", "Importer", "Wishes"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportReport:
    """What an import did.

    ``cases`` are all cases of the people that arrived, ``opened`` the codes of
    the new ones; ``completed`` are series that got slices they lacked.
    """

    people: int = 0
    cases: tuple[Case, ...] = ()
    opened: tuple[str, ...] = ()
    images: tuple[Image, ...] = ()
    completed: tuple[Image, ...] = ()
    already_here: int = 0
    rejected: tuple[Rejected, ...] = ()
    questions: tuple[Question, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def took_nothing(self) -> bool:
        """Whether no picture came in and none was here already."""
        return not (self.images or self.completed or self.already_here)


@dataclass(frozen=True, slots=True, kw_only=True)
class Importer:
    """Does imports with the given keepers and dock."""

    keeper: Keeper
    identities: IdentityKeeper
    dock: Dock
    clock: Clock

    def add(self, paths: Iterable[Path], wishes: Wishes, *, progress: Progress) -> ImportReport:
        """Look at the paths and keep what is there.

        Raises
        ------
        ImportRefusedError
            Several people's files, or somebody else's than the case's.
        SideError
            It cannot be told which hip is meant, or left and right contradict each other.
        """
        return self.keep(self.look(paths, wishes, progress=progress), wishes, progress=progress)

    def look(self, paths: Iterable[Path], wishes: Wishes, *, progress: Progress) -> Delivery:
        """Read and de-identify; keep nothing yet."""
        owner = self._owner(wishes)
        return self.dock.read(
            paths,
            progress=progress,
            person=None if owner is None else owner.person,
            person_of_study=self._person_of_study,
            pixels_checked=wishes.pixels_checked,
        )

    def sides_of(self, arrival: Arrival, wishes: Wishes) -> tuple[Side, ...]:
        """Which hips an import is about: the asked ones, else none or the plain one.

        Raises
        ------
        SideError
            Nobody says it, or the films say the opposite of what was asked.
        """
        if wishes.sides:
            if not wishes.side_checked:
                agree(arrival, wishes.sides)
            return wishes.sides
        if self._owner(wishes) is not None or self.keeper.cases_of(arrival.person.id):
            return ()
        named = {Side(i.image.laterality.value) for i in arrival.images if is_one_sided(i.image)}
        found = named or set(arrival.sides_meant)
        if len(found) == 1:
            return (found.pop(),)
        raise SideError(
            "cannot tell which hip this is about",
            found="films of both sides" if found else "films that name no side",
            needed="the side of the case",
            next_step="Say --side left, --side right or --side both.",
            field="side",
        )

    def keep(self, delivery: Delivery, wishes: Wishes, *, progress: Progress) -> ImportReport:
        """Keep what was looked at: files first, then every row in one transaction."""
        arrivals = joined(delivery.arrivals)
        if not arrivals:
            return ImportReport(rejected=delivery.rejected, questions=delivery.questions)
        check_people(arrivals, wishes)
        plans = [self._plan(arrival, wishes) for arrival in arrivals]
        total = sum(len(a.contents) for plan in plans for a in plan.arriving())
        done = 0
        kept: list[tuple[_Plan, dict[str, tuple[str, ...]]]] = []
        for plan in plans:
            files: dict[str, tuple[str, ...]] = {}
            for arriving in plan.arriving():
                digests: list[str] = []
                for content in arriving.contents:
                    progress("keeping", done, total)
                    digests.append(self.keeper.put_file(content))
                    done += 1
                files[arriving.image.id] = tuple(digests)
            kept.append((plan, files))
        with self.keeper.transaction(by=wishes.by):
            reports = [self._write(plan, files, wishes) for plan, files in kept]
        progress("keeping", total, total)
        return _summed(reports, delivery)

    def _owner(self, wishes: Wishes) -> Case | None:
        if wishes.case is None:
            return None
        try:
            return self.keeper.case(wishes.case)
        except NotFoundError:
            return None

    def _person_of_study(self, uid: str) -> str | None:
        study = self.keeper.study_from(uid)
        return None if study is None else study.person

    def _plan(self, arrival: Arrival, wishes: Wishes) -> _Plan:
        sides = self.sides_of(arrival, wishes)
        known = known_images(settled(arrival, wishes), self.keeper, self.dock)
        return _Plan(arrival=arrival, sides=sides, known=known)

    def _write(
        self, plan: _Plan, files: Mapping[str, tuple[str, ...]], wishes: Wishes
    ) -> ImportReport:
        person = self._person(plan.arrival.person, wishes)
        self._identity(plan.arrival.identity)
        studies: dict[str, str] = {}
        images: list[Image] = []
        for arriving in plan.known.new:
            study = studies.get(arriving.study.id) or self._study(arriving.study, person.id)
            studies[arriving.study.id] = study
            image = replace(
                arriving.image, study=study, person=person.id, files=files[arriving.image.id]
            )
            self.keeper.add_image(image)
            images.append(image)
        completed: list[Image] = []
        for old, arriving in plan.known.completing:
            fuller = replace(
                old,
                files=files[arriving.image.id],
                source_uids=arriving.image.source_uids,
                warnings=arriving.image.warnings,
            )
            completed.append(self.keeper.change_image(fuller, expected_version=old.version))
        opened = self._cases(person, plan.sides, wishes)
        return ImportReport(
            people=1,
            cases=tuple(self.keeper.cases_of(person.id)),
            opened=tuple(case.code for case in opened),
            images=tuple(images),
            completed=tuple(completed),
            already_here=plan.known.already_here,
            rejected=plan.known.rejected,
            questions=tuple(q for q in plan.arrival.questions if _open(q, images, wishes)),
            warnings=plan.arrival.warnings,
        )

    def _person(self, arriving: Person, wishes: Wishes) -> Person:
        try:
            here = self.keeper.person(arriving.id)
        except NotFoundError:
            person = replace(arriving, invented=wishes.invented)
            self.keeper.add_person(person)
            return person
        fuller = replace(
            here,
            sex=here.sex or arriving.sex,
            birth_date_shifted=here.birth_date_shifted or arriving.birth_date_shifted,
        )
        if fuller == here:
            return here
        return self.keeper.change_person(fuller, expected_version=here.version)

    def _identity(self, arriving: Identity | None) -> None:
        if arriving is None:
            return
        here = self.identities.of(arriving.person)
        if here is None:
            self.identities.save(arriving)
            return
        fuller = replace(
            here,
            name=here.name or arriving.name,
            numbers=tuple(dict.fromkeys((*here.numbers, *arriving.numbers))),
            birth_date=here.birth_date or arriving.birth_date,
            sex=here.sex or arriving.sex,
        )
        if fuller != here:
            self.identities.save(fuller)

    def _study(self, arriving: Study, person: str) -> str:
        here = self.keeper.study_from(arriving.source_uid) if arriving.source_uid else None
        if here is not None:
            return here.id
        self.keeper.add_study(replace(arriving, person=person))
        return arriving.id

    def _cases(self, person: Person, sides: Sequence[Side], wishes: Wishes) -> list[Case]:
        have = {case.side for case in self.keeper.cases_of(person.id)}
        new = [side for side in sides if side not in have]
        own_code = wishes.case if self._owner(wishes) is None else None
        if own_code is not None and len(new) != 1:
            raise SideError(
                "cannot open one case for the code",
                found="both sides" if new else "a case of that side already",
                needed="one side without a case",
                next_step="Leave out the code: cases get codes of their own.",
                field="case",
            )
        opened: list[Case] = []
        for side in new:
            case = Case(
                id=self.keeper.new_id(),
                code=own_code or self.keeper.new_code(),
                person=person.id,
                side=side,
                summary=wishes.summary,
                opened_at=self.clock.now(),
                invented=wishes.invented or person.invented,
            )
            self.keeper.add_case(case)
            opened.append(case)
        return opened


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """What will be kept for one person."""

    arrival: Arrival
    sides: tuple[Side, ...]
    known: Known

    def arriving(self) -> list[ArrivingImage]:
        return [*self.known.new, *(arriving for _, arriving in self.known.completing)]


def _open(question: Question, images: Sequence[Image], wishes: Wishes) -> bool:
    """Whether a question is still to be answered after the import."""
    image = next((image for image in images if image.id == question.image), None)
    if image is None:
        return question.image is None
    if question.asked is Asked.VIEW:
        return not image.confirmed
    if question.asked is Asked.SIDE:
        return image.laterality is Laterality.UNKNOWN
    return not wishes.pixels_checked


def _summed(reports: Sequence[ImportReport], delivery: Delivery) -> ImportReport:
    return ImportReport(
        people=len(reports),
        cases=tuple(case for report in reports for case in report.cases),
        opened=tuple(code for report in reports for code in report.opened),
        images=tuple(image for report in reports for image in report.images),
        completed=tuple(image for report in reports for image in report.completed),
        already_here=sum(report.already_here for report in reports),
        rejected=(*delivery.rejected, *(r for report in reports for r in report.rejected)),
        questions=(*delivery.questions, *(q for report in reports for q in report.questions)),
        warnings=tuple(warning for report in reports for warning in report.warnings),
    )
