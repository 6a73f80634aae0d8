"""A keeper and an identity keeper in memory: what the real ones must agree with, in plain words.

Workflows are tested with these where a database would add nothing.
"""

from __future__ import annotations

import hashlib
import random
import uuid
from collections.abc import Generator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, fields, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any, TypeVar

from uuid_utils.compat import uuid7

from hipwright.adapters.store.case_codes import check_code, code_key, make_code
from hipwright.domain.errors import (
    IdentityError,
    KeepingError,
    NotFoundError,
    StaleWriteError,
)
from hipwright.domain.keeping import (
    Case,
    Change,
    GradedReading,
    Identity,
    Image,
    Person,
    Reading,
    Study,
)
from hipwright.domain.keeping_bones import BoneBuild, BoneReading, Job, JobState, KeptEdits
from hipwright.domain.landmarks import LandmarkSet

T = TypeVar("T", Person, Case, Image)

FIXED: dict[type, tuple[str, ...]] = {
    Person: ("invented",),
    Case: ("code", "person", "side", "opened_at", "invented"),
    Image: ("study", "person", "kind", "modality", "columns", "rows", "acquired_on"),
}


@dataclass
class _State:
    """Everything kept: versions by id, first to last."""

    people: dict[str, list[Person]] = field(default_factory=dict)
    cases: dict[str, list[Case]] = field(default_factory=dict)
    studies: dict[str, Study] = field(default_factory=dict)
    images: dict[str, list[Image]] = field(default_factory=dict)
    readings: dict[tuple[str, str, int], list[Reading]] = field(default_factory=dict)
    grades: list[GradedReading] = field(default_factory=list)
    papers: dict[tuple[str, int], tuple[datetime, str]] = field(default_factory=dict)
    builds: dict[str, BoneBuild] = field(default_factory=dict)
    bone_readings: dict[tuple[str, str], list[BoneReading]] = field(default_factory=dict)
    edits: dict[str, list[KeptEdits]] = field(default_factory=dict)
    jobs: dict[str, Job] = field(default_factory=dict)

    def copy(self) -> _State:
        copied: dict[str, Any] = {}
        for one in fields(self):
            kept = getattr(self, one.name)
            if isinstance(kept, dict):
                kept = {k: list(v) if isinstance(v, list) else v for k, v in kept.items()}
            else:
                kept = list(kept)
            copied[one.name] = kept
        return _State(**copied)


def _refuse(text: str) -> KeepingError:
    return KeepingError(f"cannot keep it: {text}")


def _missing(text: str) -> NotFoundError:
    return NotFoundError(f"cannot find {text}")


class MemoryKeeper:
    """``workflows.ports.WorkspaceKeeper`` without a disk."""

    device = "memory"

    def __init__(self) -> None:
        self._state = _State()
        self._files: dict[str, bytes] = {}
        self._by = ["human:local"]
        self._random = random.Random(5)  # noqa: S311 - a fake

    def new_id(self) -> str:
        return str(uuid7())

    def new_code(self) -> str:
        while True:
            code = make_code(self._random.choice)
            if not self._with_key(code_key(code), exact=True):
                return code

    @contextmanager
    def transaction(self, *, by: str | None = None) -> Generator[None]:
        before = self._state.copy()
        self._by.append(by or self._by[-1])
        try:
            yield
        except BaseException:
            self._state = before
            raise
        finally:
            self._by.pop()

    def add_person(self, person: Person) -> None:
        self._add(self._state.people, replace(person, version=1))

    def person(self, person: str) -> Person:
        return self._newest(self._state.people, person)

    def persons(self) -> Sequence[Person]:
        return sorted((v[-1] for v in self._state.people.values()), key=lambda p: p.id)

    def change_person(self, person: Person, *, expected_version: int) -> Person:
        return self._change(self._state.people, person, expected_version)

    def add_case(self, case: Case) -> None:
        case = replace(case, code=check_code(case.code), version=1)
        self.person(case.person)
        if self._with_key(code_key(case.code), exact=True):
            raise _refuse("the code is taken")
        if any(c.side is case.side for c in self.cases_of(case.person)):
            raise _refuse("the hip has a case")
        self._add(self._state.cases, case)

    def case(self, code: str) -> Case:
        if _is_id(code):
            return self._newest(self._state.cases, code)
        key = code_key(code)
        found = self._with_key(key, exact=True) or (
            self._with_key(key, exact=False) if key else []
        )
        if len(found) != 1:
            raise _missing(code)
        return found[0]

    def cases(self) -> Sequence[Case]:
        newest = (versions[-1] for versions in self._state.cases.values())
        return sorted(newest, key=lambda c: (c.opened_at, c.id))

    def cases_of(self, person: str) -> Sequence[Case]:
        return [case for case in self.cases() if case.person == person]

    def change_case(self, case: Case, *, expected_version: int) -> Case:
        return self._change(self._state.cases, case, expected_version)

    def add_study(self, study: Study) -> None:
        _check_id(study.id)
        self.person(study.person)
        if study.id in self._state.studies:
            raise _refuse("the id is taken")
        if study.source_uid and self.study_from(study.source_uid):
            raise _refuse("the study is here")
        self._state.studies[study.id] = study

    def study(self, study: str) -> Study:
        if study not in self._state.studies:
            raise _missing(study)
        return self._state.studies[study]

    def studies_of(self, person: str) -> Sequence[Study]:
        own = [s for s in self._state.studies.values() if s.person == person]
        return sorted(own, key=lambda s: (s.acquired_on is None, s.acquired_on or date.max, s.id))

    def study_from(self, source_uid: str) -> Study | None:
        found = (s for s in self._state.studies.values() if s.source_uid == source_uid)
        return next(found, None)

    def add_image(self, image: Image) -> None:
        if self.study(image.study).person != image.person:
            raise _refuse("study and image of two people")
        self._check_files(image)
        self._add(self._state.images, replace(image, version=1))

    def image(self, image: str) -> Image:
        return self._newest(self._state.images, image)

    def images_of(self, person: str) -> Sequence[Image]:
        return [i for i in self._images() if i.person == person]

    def images_from(self, source_uid: str) -> Sequence[Image]:
        return [i for i in self._images() if source_uid in i.source_uids]

    def images_with_file(self, sha256: str) -> Sequence[Image]:
        return [i for i in self._images() if sha256 in i.files]

    def change_image(self, image: Image, *, expected_version: int) -> Image:
        self._check_files(image)
        return self._change(self._state.images, image, expected_version)

    def save_reading(self, case: str, landmarks: LandmarkSet, *, expected_version: int) -> Reading:
        found = self.case(case)
        self._check_same_person(found, landmarks.image)
        key = (landmarks.image, landmarks.observer, landmarks.reading)
        versions = self._state.readings.get(key, [])
        kept = versions[-1] if versions else None
        if kept and (kept.landmarks.points, kept.landmarks.contours) == (
            landmarks.points,
            landmarks.contours,
        ):
            return kept
        if len(versions) != expected_version:
            raise StaleWriteError("cannot save the reading", kept=kept, offered=landmarks)
        new = Reading(
            id=self.new_id(),
            case=found.id,
            landmarks=landmarks,
            version=expected_version + 1,
            saved_at=datetime.now(UTC),
        )
        self._state.readings[key] = [*versions, new]
        return new

    def readings_of(self, image: str) -> Sequence[Reading]:
        return [v[-1] for key, v in self._state.readings.items() if key[0] == image]

    def reading_history(self, image: str, observer: str, reading: int) -> Sequence[Reading]:
        return list(self._state.readings.get((image, observer, reading), []))

    def repeat_readings_by(self, observer: str) -> Sequence[Reading]:
        mine = [v[-1] for key, v in self._state.readings.items() if key[1] == observer]
        films = [reading.landmarks.image for reading in mine]
        return [reading for reading in mine if films.count(reading.landmarks.image) > 1]

    def save_grade(self, grade: GradedReading) -> None:
        _check_id(grade.id)
        case = self.case(grade.case)
        if grade.image is not None:
            self._check_same_person(case, grade.image)
        if any(g.id == grade.id for g in self._state.grades):
            raise _refuse("the id is taken")
        self._state.grades.append(replace(grade, case=case.id))

    def grades_of(self, case: str) -> Sequence[GradedReading]:
        own = [g for g in self._state.grades if g.case == self.case(case).id]
        own.sort(key=lambda g: (g.saved_at, g.id))
        return list({(g.definition, g.image, g.observer): g for g in own}.values())

    def history_of(self, thing: str) -> Sequence[Change]:
        state, changes = self._state, []
        versions: Sequence[Person | Case | Image] = (
            state.people.get(thing) or state.cases.get(thing) or state.images.get(thing) or []
        )
        before: dict[str, object] = {}
        for one in versions:
            now = _changeable(one)
            names = [name for name in now if name not in before or before[name] != now[name]]
            at, by = state.papers[thing, one.version]
            changes.append(
                Change(
                    thing=thing,
                    version=one.version,
                    at=at,
                    by=by,
                    device=self.device,
                    before={name: before[name] for name in names if name in before},
                    after={name: now[name] for name in names},
                )
            )
            before = now
        return changes

    def put_file(self, content: bytes) -> str:
        digest = hashlib.sha256(content).hexdigest()
        self._files[digest] = content
        return digest

    def get_file(self, sha256: str) -> bytes:
        if sha256 not in self._files:
            raise _missing("the file")
        return self._files[sha256]

    def has_file(self, sha256: str) -> bool:
        return sha256 in self._files

    def add_bone_build(self, build: BoneBuild) -> BoneBuild:
        _check_id(build.id)
        if build.id in self._state.builds:
            raise _refuse("the id is taken")
        self.person(build.person)
        if any(self.image(image).person != build.person for image in build.images):
            raise _refuse("an image of another person")
        if not build.bones:
            raise _refuse("no bone")
        files = [*(b.surface_file for b in build.bones), build.labels_file, build.edits_file]
        if not all(self.has_file(digest) for digest in files if digest):
            raise _refuse("a file is not here")
        kept = replace(build, number=len(self.bone_builds_of(build.person)) + 1)
        self._state.builds[kept.id] = kept
        return kept

    def bone_build(self, build: str) -> BoneBuild:
        if build not in self._state.builds:
            raise _missing(build)
        return self._state.builds[build]

    def bone_builds_of(self, person: str) -> Sequence[BoneBuild]:
        own = [b for b in self._state.builds.values() if b.person == person]
        return sorted(own, key=lambda b: -b.number)

    def save_bone_reading(self, reading: BoneReading, *, expected_version: int) -> BoneReading:
        self.bone_build(reading.build)
        key = (reading.build, reading.observer)
        versions = self._state.bone_readings.get(key, [])
        kept = versions[-1] if versions else None
        if kept and reading == replace(
            kept, id=reading.id, version=reading.version, saved_at=reading.saved_at
        ):
            return kept
        if len(versions) != expected_version:
            raise StaleWriteError("cannot save the landmarks", kept=kept, offered=reading)
        _check_id(reading.id)
        new = replace(
            reading,
            id=kept.id if kept else reading.id,
            version=expected_version + 1,
            saved_at=datetime.now(UTC),
        )
        self._state.bone_readings[key] = [*versions, new]
        return new

    def bone_readings_of(self, build: str) -> Sequence[BoneReading]:
        own = [v[-1] for key, v in self._state.bone_readings.items() if key[0] == build]
        return sorted(own, key=lambda r: r.saved_at, reverse=True)

    def save_label_edits(self, edits: KeptEdits, *, expected_version: int) -> KeptEdits:
        self.image(edits.image)
        versions = self._state.edits.get(edits.image, [])
        kept = versions[-1] if versions else None
        if kept and kept.edits_file == edits.edits_file:
            return kept
        if len(versions) != expected_version:
            raise StaleWriteError("cannot save the edits", kept=kept, offered=edits)
        if not self.has_file(edits.edits_file):
            raise _refuse("a file is not here")
        new = replace(edits, version=expected_version + 1, saved_at=datetime.now(UTC))
        self._state.edits[edits.image] = [*versions, new]
        return new

    def label_edits_of(self, image: str) -> KeptEdits | None:
        versions = self._state.edits.get(image)
        return versions[-1] if versions else None

    def add_job(self, job: Job) -> Job:
        _check_id(job.id)
        if job.id in self._state.jobs:
            raise _refuse("the id is taken")
        self._state.jobs[job.id] = job
        return job

    def job(self, job: str) -> Job:
        if job not in self._state.jobs:
            raise _missing(job)
        return self._state.jobs[job]

    def jobs_on(self, subject: str, kind: str | None = None) -> Sequence[Job]:
        own = [j for j in self._state.jobs.values() if j.subject == subject]
        wanted = [j for j in own if kind in {None, j.kind}]
        return sorted(wanted, key=lambda j: (j.started_at, j.id), reverse=True)

    def beat(self, job: str, *, done: int, total: int, message: str) -> Job:
        return self._tell(
            job,
            state=JobState.RUNNING,
            done=done,
            total=total,
            message=message,
            heartbeat_at=datetime.now(UTC),
        )

    def end_job(
        self, job: str, state: JobState, *, result: str = "", error: dict[str, str] | None = None
    ) -> Job:
        now = datetime.now(UTC)
        return self._tell(
            job, state=state, result=result, error=error, heartbeat_at=now, ended_at=now
        )

    def ask_to_cancel(self, job: str) -> Job:
        return self._tell(job, cancel_asked=True)

    def mark_orphans(self, *, older_than: datetime) -> Sequence[Job]:
        late = [
            j
            for j in self._state.jobs.values()
            if not j.state.is_over and j.heartbeat_at < older_than
        ]
        return [self.end_job(job.id, JobState.INTERRUPTED) for job in late]

    def _tell(self, job: str, **changes: Any) -> Job:
        kept = self.job(job)
        if not kept.state.is_over:
            self._state.jobs[job] = kept = replace(kept, **changes)
        return kept

    def _images(self) -> list[Image]:
        return sorted((v[-1] for v in self._state.images.values()), key=lambda i: i.id)

    def _with_key(self, key: str, *, exact: bool) -> list[Case]:
        keys = [(code_key(case.code), case) for case in self.cases()]
        return [case for own, case in keys if own == key or (not exact and own.startswith(key))]

    def _add(self, kept: dict[str, list[T]], thing: T) -> None:
        _check_id(thing.id)
        if thing.id in kept:
            raise _refuse("the id is taken")
        kept[thing.id] = [thing]
        self._state.papers[thing.id, 1] = (datetime.now(UTC), self._by[-1])

    def _newest(self, kept: dict[str, list[T]], thing: str) -> T:
        if thing not in kept:
            raise _missing(thing)
        return kept[thing][-1]

    def _change(self, kept: dict[str, list[T]], thing: T, expected: int) -> T:
        newest = self._newest(kept, thing.id)
        if replace(thing, version=newest.version) == newest:
            return newest
        if newest.version != expected:
            raise StaleWriteError("cannot save it", kept=newest, offered=thing)
        if any(getattr(newest, n) != getattr(thing, n) for n in FIXED[type(thing)]):
            raise _refuse("what is fixed has changed")
        new = replace(thing, version=expected + 1)
        kept[thing.id].append(new)
        self._state.papers[thing.id, new.version] = (datetime.now(UTC), self._by[-1])
        return new

    def _check_files(self, image: Image) -> None:
        uids = len(image.source_uids)
        if not image.files or uids not in {0, len(image.files)}:
            raise _refuse("files and UIDs do not match")
        if not all(self.has_file(digest) for digest in image.files):
            raise _refuse("a file is not here")

    def _check_same_person(self, case: Case, image: str) -> None:
        if self.image(image).person != case.person:
            raise _refuse("an image of another person")


class MemoryIdentity:
    """``workflows.ports.IdentityKeeper`` without a disk and without a key."""

    def __init__(self) -> None:
        self._people: dict[str, Identity] = {}
        self._shifts: dict[str, int] = {}
        self._random = random.Random(7)  # noqa: S311 - a fake

    def save(self, identity: Identity) -> None:
        for number in identity.numbers:
            if self.find(number=number) not in {None, identity.person}:
                raise IdentityError("cannot keep the identity: another person has the number")
        self._people[identity.person] = identity

    def of(self, person: str) -> Identity | None:
        return self._people.get(person)

    def find(self, *, number: str) -> str | None:
        wanted = "".join(number.casefold().split())
        for person, identity in self._people.items():
            if wanted in {"".join(n.casefold().split()) for n in identity.numbers}:
                return person
        return None

    def date_shift_days(self, person: str) -> int:
        return self._shifts.setdefault(person, self._random.randint(-3650, -30))

    def remapped_uid(self, original: str) -> str:
        return f"2.25.{uuid.UUID(bytes=hashlib.sha256(original.encode()).digest()[:16]).int}"

    def true_date(self, person: str, shifted: date) -> date:
        return shifted - timedelta(days=self.date_shift_days(person))


def _is_id(text: str) -> bool:
    try:
        uuid.UUID(text)
    except ValueError:
        return False
    return True


def _check_id(text: str) -> None:
    if not _is_id(text) or uuid.UUID(text).version != 7:
        raise _refuse("not a UUIDv7")


def _changeable(thing: Person | Case | Image) -> dict[str, object]:
    fixed = {"id", "version", "source_uids", *FIXED[type(thing)]}
    now = {f.name: getattr(thing, f.name) for f in fields(thing) if f.name not in fixed}
    if isinstance(thing, Image):
        now["files"] = len(thing.files)
    return now
