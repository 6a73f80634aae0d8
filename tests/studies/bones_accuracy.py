"""Run the bone study and put its tables into ``docs/explanation/accuracy.md``.

Run by itself: ``python -m tests.studies.bones_accuracy``; with ``--few`` three crops in a few
minutes, printed only. ``--people 50`` draws so many people, ``--keep FOLDER`` keeps each
case's result there and goes on from them after a break. Every case is run in a process of
its own kind of memory: one volume at a time.
"""

from __future__ import annotations

import argparse
import os
import pickle
import platform
import sys
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from hipwright import __version__
from tests.studies.accuracy import PAGE, _filled
from tests.studies.bones_breaking import Broken, broken_results
from tests.studies.bones_cases import FEW, Case, Found, people_cases, run, subject_a_cases
from tests.studies.bones_heads import of_heads
from tests.studies.bones_tables import of_people, of_variants, of_wrong, on_broken

PEOPLE = 50


def kept(case: Case, folder: Path | None) -> Found:
    """Run a case, or take its result from the folder."""
    if folder is None:
        return run(case)
    place = folder / f"{case.group}-{case.name.replace(' ', '_').replace(':', '')}.pkl"
    if place.is_file():
        return pickle.loads(place.read_bytes())  # noqa: S301 (written by this very program)
    found = run(case)
    place.write_bytes(pickle.dumps(found))
    return found


def _told(cases: Sequence[Case], folder: Path | None) -> list[Found]:
    found: list[Found] = []
    for number, case in enumerate(cases, start=1):
        begun = time.perf_counter()
        one = kept(case, folder)
        found.append(one)
        silent = ", ".join(b.value for b in one.silent()) or "none"
        wrong = ", ".join(b.value for b in one.wrong()) or "none"
        sys.stdout.write(
            f"{number}/{len(cases)} {case.group} {case.name}: wrong {wrong}; silent {silent}; "
            f"{time.perf_counter() - begun:.0f} s\n"
        )
        sys.stdout.flush()
    return found


def main() -> None:
    """Run it and rewrite the page's tables."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--few", action="store_true")
    asked.add_argument("--only", nargs="*", default=None)
    asked.add_argument("--people", type=int, default=PEOPLE)
    asked.add_argument("--keep", type=Path, default=None)
    asked.add_argument("--print", action="store_true", dest="only_print")
    args = asked.parse_args()
    if args.keep is not None:
        args.keep.mkdir(parents=True, exist_ok=True)
    begun, busy = time.perf_counter(), time.process_time()
    few = args.few or args.only is not None
    variants = _told(subject_a_cases(args.only or (FEW if args.few else None)), args.keep)
    people = [] if few else _told(people_cases(args.people), args.keep)
    tables = {"bones_variants": of_variants(variants)}
    if not few:
        broken: list[Broken] = broken_results()
        tables |= {
            "bones_people": of_people(people),
            "bones_wrong": of_wrong([*variants, *people]),
            "bones_broken": on_broken(broken),
            "bones_heads": of_heads(),
        }
    minutes = (time.perf_counter() - begun) / 60, (time.process_time() - busy) / 60
    tables["bones_made"] = (
        f"Made on {datetime.now(UTC):%d %B %Y} by `python -m tests.studies.bones_accuracy` with "
        f"hipwright {__version__}, Python {platform.python_version()}, on {platform.system()} "
        f"{platform.machine()} with {os.cpu_count()} cores: {minutes[0]:.0f} minutes, "
        f"{minutes[1]:.0f} of them of processor time. {len(variants)} scans of one real "
        f"skeleton, {len(people)} of modeled people."
    )
    if few or args.only_print:
        for name, words in tables.items():
            sys.stdout.write(f"\n{name}\n{words}\n")
        return
    PAGE.write_text(_filled(PAGE.read_text(encoding="utf-8"), tables), encoding="utf-8")


if __name__ == "__main__":
    main()
