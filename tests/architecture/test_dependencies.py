"""Dependencies: pinned with hashes, complete, and under licenses that the project may use."""

import importlib.metadata
import re
import tomllib
from pathlib import Path

import pytest
from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from bench.place import DEV_LOCK, LOCK, ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PIN = re.compile(r"^(?P<requirement>[a-z0-9._-]+==[^\\]+?) \\$")
STRONG_COPYLEFT = re.compile(r"(?<![LA-Z])A?GPL|GNU (?:Affero )?General Public", re.IGNORECASE)
LESSER = re.compile(r"\bLGPL|Lesser General Public", re.IGNORECASE)


def pins(lock: Path) -> dict[str, list[Requirement]]:
    found: dict[str, list[Requirement]] = {}
    for line in lock.read_text(encoding="utf-8").splitlines():
        if match := PIN.match(line):
            requirement = Requirement(match["requirement"])
            found.setdefault(canonicalize_name(requirement.name), []).append(requirement)
    return found


def wanted(lock: Path) -> list[Requirement]:
    groups = PROJECT["dependency-groups"]
    texts = [*PROJECT["project"]["dependencies"], *groups["build"]]
    if lock == DEV_LOCK:
        texts += [*groups["dev"], *PROJECT["project"]["optional-dependencies"]["postgresql"]]
    return [Requirement(text) for text in texts]


@pytest.mark.parametrize("lock", [LOCK, DEV_LOCK], ids=lambda lock: lock.name)
def test_a_lock_pins_every_declared_dependency_to_a_version_that_fits(lock: Path) -> None:
    pinned = pins(lock)
    misfits = [
        str(requirement)
        for requirement in wanted(lock)
        if not (versions := pinned.get(canonicalize_name(requirement.name)))
        or not all(
            requirement.specifier.contains(next(iter(version.specifier)).version, prereleases=True)
            for version in versions
        )
    ]
    assert misfits == [], "run python3 bootstrap.py lock"


@pytest.mark.parametrize("lock", [LOCK, DEV_LOCK], ids=lambda lock: lock.name)
def test_every_pin_has_hashes(lock: Path) -> None:
    blocks = re.split(r"\n(?=[a-z0-9])", lock.read_text(encoding="utf-8"))
    assert [
        block[:60] for block in blocks if "==" in block and "--hash=sha256:" not in block
    ] == []


def test_both_locks_agree() -> None:
    small, large = pins(LOCK), pins(DEV_LOCK)
    assert {
        name for name in small if {*map(str, small[name])} != {*map(str, large[name])}
    } == set()


def test_the_build_requirements_are_the_pinned_ones() -> None:
    assert PROJECT["build-system"]["requires"] == PROJECT["dependency-groups"]["build"]


def license_words(name: str) -> str:
    """What a distribution says of its license, without the full text that some put there."""
    facts = importlib.metadata.metadata(name)
    said = [text[:80] for text in facts.get_all("License-Expression") or []]
    said += [text[:80] for text in facts.get_all("License") or []]
    said += [text for text in facts.get_all("Classifier") or [] if text.startswith("License")]
    return "; ".join(part for part in said if part)


def test_nothing_that_is_shipped_or_run_is_under_the_gpl() -> None:
    environment = {key: str(value) for key, value in default_environment().items()}
    here = [
        requirement.name
        for versions in pins(LOCK).values()
        for requirement in versions
        if requirement.marker is None or requirement.marker.evaluate(environment)
    ]
    said = {name: license_words(name) for name in here}
    assert {
        name: words
        for name, words in said.items()
        if STRONG_COPYLEFT.search(LESSER.sub("", words)) and " OR " not in words
    } == {}
    assert [name for name, words in said.items() if not words] == []
