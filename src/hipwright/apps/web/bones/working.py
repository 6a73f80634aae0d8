"""How far the making of bone models is, in words."""

from __future__ import annotations

import re
from dataclasses import dataclass

from hipwright.apps.web.bones.at_hand import BonesAtHand
from hipwright.domain.keeping import Image
from hipwright.domain.keeping_bones import Job, JobState

ENDED = {
    JobState.FAILED: "The bone models could not be made",
    JobState.CANCELED: "Stopped",
    JobState.INTERRUPTED: "Interrupted: hipwright was closed, or the machine went off",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkFacts:
    """A series and the newest work on it."""

    image: Image
    job: Job | None
    made_before: bool = False

    @property
    def is_at_work(self) -> bool:
        """Whether it goes on by itself."""
        return self.job is not None and not self.job.state.is_over

    @property
    def share(self) -> int | None:
        """Percent done, ``None`` where nobody can tell yet."""
        if self.job is None or self.job.total <= 0:
            return None
        return min(100, round(100 * self.job.done / self.job.total))

    @property
    def ended(self) -> str:
        """How it ended, where that is not a success."""
        return "" if self.job is None else ENDED.get(self.job.state, "")

    @property
    def can_go_on(self) -> bool:
        """Whether the next run begins where this one was broken off."""
        return self.job is not None and self.job.state in {
            JobState.CANCELED,
            JobState.INTERRUPTED,
        }

    @property
    def fault(self) -> dict[str, str]:
        """The four parts of an error (what, found, needed, help), empty where there is none."""
        error = None if self.job is None else self.job.error
        if error is None:
            return {}
        whole = error.get("message", "")
        what = re.split(r": needs |: found |\. ", whole, maxsplit=1)[0].removesuffix(".")
        return {**error, "what": f"{what[:1].upper()}{what[1:]}."}


def work_facts(at_hand: BonesAtHand, image: Image) -> WorkFacts:
    """What the page says of the work on one series."""
    made = any(image.id in build.images for build in at_hand.builds(image.person))
    return WorkFacts(image=image, job=at_hand.newest_job(image), made_before=made)
