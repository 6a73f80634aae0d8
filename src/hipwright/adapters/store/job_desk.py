"""Long pieces of work: how far they are, how they ended.

A heartbeat is a further row, as everywhere here; whoever works beats about once a second,
which makes some ten kilobytes of rows for the bones of one scan.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime

from sqlalchemy import ColumnElement, func, select

from hipwright.adapters.store.bone_desk import BoneDesk
from hipwright.adapters.store.bone_rows import event_row, job_from
from hipwright.adapters.store.desk import checked_id, hold, known_id, not_found, refuse_taken
from hipwright.adapters.store.models import JobEventRow, JobRow
from hipwright.adapters.store.transactions import Writer
from hipwright.domain.keeping_bones import Job, JobState

_JOB = JobRow.__table__.c
_EVENT = JobEventRow.__table__.c

_OTHER = JobEventRow.__table__.alias("other")
_LAST = select(func.max(_OTHER.c.version)).where(_OTHER.c.job_id == _JOB.id).scalar_subquery()
_NOW = (
    select(_JOB.kind, _JOB.subject, _JOB.started_at, JobEventRow.__table__)
    .join(JobEventRow.__table__, _EVENT.job_id == _JOB.id)
    .where(_EVENT.version == _LAST)
)

_Change = Callable[[Job], Job]

_UNDER_WAY = tuple(state.value for state in JobState if not state.is_over)


class JobDesk(BoneDesk):
    """Keeps how far long work is."""

    def add_job(self, job: Job) -> Job:
        """Keep a new job as it is now."""
        job = replace(job, id=checked_id(job.id, of="job"))
        facts = {
            "id": job.id,
            "kind": job.kind,
            "subject": job.subject,
            "started_at": job.started_at,
        }
        with self.transactions.writing("cannot keep the job") as writer:
            refuse_taken(writer.connection, JobRow, job.id, of="job")
            self.insert(writer, JobRow, [facts])
            self.insert(writer, JobEventRow, [event_row(job, 1)])
        return job

    def job(self, job: str) -> Job:
        """Find a job by id."""
        found = self._jobs(_JOB.id == known_id(job, of="job"))
        if not found:
            raise not_found("job", job)
        return found[0]

    def jobs_on(self, subject: str, kind: str | None = None) -> Sequence[Job]:
        """List the jobs on a subject, newest first."""
        wanted = _JOB.subject == subject
        return self._jobs(wanted if kind is None else wanted & (_JOB.kind == kind))

    def beat(self, job: str, *, done: int, total: int, message: str) -> Job:
        """Say how far a job is; one that is over stays as it ended."""

        def told(kept: Job) -> Job:
            far = replace(kept, state=JobState.RUNNING, done=done, total=total, message=message)
            return replace(far, heartbeat_at=self.now())

        return self._tell(job, told)

    def end_job(
        self, job: str, state: JobState, *, result: str = "", error: dict[str, str] | None = None
    ) -> Job:
        """Say how a job ended; one that is over stays as it ended."""
        return self._tell(job, lambda kept: replace(kept, state=state, result=result, error=error))

    def ask_to_cancel(self, job: str) -> Job:
        """Ask for a job to be given up; its next heartbeat learns of it."""
        return self._tell(job, lambda kept: replace(kept, cancel_asked=True))

    def mark_orphans(self, *, older_than: datetime) -> Sequence[Job]:
        """Mark jobs under way without a heartbeat since then as interrupted; return them."""

        def given_up(kept: Job) -> Job:
            late = kept.heartbeat_at < older_than  # it may have beaten since it was listed
            return replace(kept, state=JobState.INTERRUPTED) if late else kept

        late = _EVENT.state.in_(_UNDER_WAY) & (_EVENT.recorded_at < older_than)
        marked = [self._tell(job.id, given_up) for job in self._jobs(late)]
        return [job for job in marked if job.state is JobState.INTERRUPTED]

    def _tell(self, job: str, changed: _Change) -> Job:
        job_id = known_id(job, of="job")
        with self.transactions.writing("cannot say how far the job is") as writer:
            hold(writer, JobRow, job_id)
            kept = self.job(job_id)
            if kept.state.is_over:
                return kept
            new = changed(kept)
            if new == kept:
                return kept
            if new.state.is_over:
                ended_at = self.now()
                new = replace(new, heartbeat_at=ended_at, ended_at=ended_at)
            version = _versions(writer, job_id) + 1
            self.insert(writer, JobEventRow, [event_row(new, version)])
            return new

    def _jobs(self, condition: ColumnElement[bool]) -> list[Job]:
        query = _NOW.where(condition).order_by(_JOB.started_at.desc(), _JOB.id.desc())
        with self.transactions.reading("cannot read the jobs") as connection:
            return [job_from(row) for row in connection.execute(query).mappings()]


def _versions(writer: Writer, job: str) -> int:
    query = select(func.max(_EVENT.version)).where(_EVENT.job_id == job)
    return writer.connection.execute(query).scalar_one()
