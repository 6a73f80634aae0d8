"""Run the accuracy study and put its tables into ``docs/explanation/accuracy.md``.

Run by itself: ``python -m tests.studies.accuracy``. The words of the page stay as they are; what
stands between ``<!-- study: NAME -->`` and ``<!-- end -->`` is replaced.
"""

import os
import platform
import re
import sys
import time
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from bench.place import ROOT
from hipwright import __version__
from tests.studies.study import Study, run_study
from tests.studies.tables import all_tables

PAGE = ROOT / "docs" / "explanation" / "accuracy.md"
MODELED = 12


def main() -> None:
    """Run it all and rewrite the page's tables."""
    bones = Path(os.environ.get("HIPWRIGHT_TEST_BONES", ROOT.parent / "shared" / "data" / "bones"))
    if not bones.is_dir():
        sys.exit("the real bones are not here: set HIPWRIGHT_TEST_BONES to their folder")
    modeled = int(sys.argv[1]) if len(sys.argv) > 1 else MODELED
    begun, busy = time.perf_counter(), time.process_time()
    study = run_study(modeled=modeled, bones=bones)
    took = time.perf_counter() - begun, time.process_time() - busy
    found = all_tables(study) | {"made": _made(study, *took)}
    PAGE.write_text(_filled(PAGE.read_text(encoding="utf-8"), found), encoding="utf-8")


def _made(study: Study, seconds: float, busy: float) -> str:
    kept = ", ".join(f"{name} {version(name)}" for name in ("numpy", "scipy", "scikit-image"))
    return (
        f"Made on {datetime.now(UTC):%d %B %Y} by `python -m tests.studies.accuracy` with "
        f"hipwright {__version__}, Python {platform.python_version()}, {kept}, on "
        f"{platform.system()} {platform.machine()} with {os.cpu_count()} cores: "
        f"{seconds / 60:.0f} minutes, {busy / 60:.0f} of them of processor time. "
        f"{study.people} modeled people, {study.hips} hips, {len(study.readings)} films."
    )


def _filled(page: str, tables: dict[str, str]) -> str:
    for name, words in tables.items():
        pattern = re.compile(f"(<!-- study: {name} -->\n).*?(<!-- end -->)", re.DOTALL)
        page, count = pattern.subn(lambda m, w=words: f"{m[1]}{w}\n{m[2]}", page)
        if count != 1:
            sys.exit(f"the page has {count} places for the table {name}, needed is one")
    return page


if __name__ == "__main__":
    main()
