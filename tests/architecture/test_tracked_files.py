"""House rules for everything that is written into the project."""

import re
from collections.abc import Iterable

import pytest

from bench.place import DEV_LOCK, LOCK, ROOT
from tests.architecture.project_files import project_files, text_lines

THIS_FILE = "test_tracked_files.py"  # it has to spell out what it looks for

MACHINE_PATH = re.compile(r"(?<![\w.~/-])/(?:home|root|tmp|Users|work)/\w|[A-Z]:\\+Users\\")
INDEX_ADDRESS = re.compile(
    r"--(?:extra-)?index-url[ =]|https?://[^\s\"')]*/(?:simple|packages)/|\"resolved\":\s*\"",
    re.IGNORECASE,
)
LEFT_FOR_LATER = re.compile(r"\b(?:TODO|FIXME|XXX|HACK)\b")
SUPPRESSION = re.compile(r"#\s*(?:noqa|pyright:\s*ignore|type:\s*ignore|pragma:\s*no)")
SUPPRESSION_WITH_REASON = re.compile(
    r"# (?:noqa: [A-Z]+\d+(?:, ?[A-Z]+\d+)*|pyright: ignore\[\w+(?:, ?\w+)*\]"
    r"|pragma: no (?:cover|branch))"
    r"(?: - | \(|  # )\S.*"
)
BRITISH = re.compile(
    r"(?:cent(?:re[sd]?|ring)|colou?rs?(?<=olour)|colours|coloured|behaviours?|neighbour\w*|favour\w*"
    r"|grey(?:s|ed|ing)?|(?:milli|centi)?metres?|fibres?|licen[c]es?|catalogues?|judgement"
    r"|(?:label|model|level|travel|cancel|signal)l(?:ed|ing)|orthopaed\w*|anaesth\w*"
    r"|(?:optim|normal|visual|organ|recogn|summar|local|minim|maxim|real|util|standard)is(?:e[sdr]?|ing|ation)"
    r"|analys(?:e[sd]?|ing)|programmes?|practis\w+)",
    re.IGNORECASE,
)
# Titles of papers are quoted as printed; "analyses" is also the plural of "analysis".
QUOTED = {"references.toml"}
GOOD_WORDS = {"analyses"}


def hits(pattern: re.Pattern[str], leave_out: Iterable[str] = ()) -> list[str]:
    skipped = {THIS_FILE, *leave_out}
    return [
        f"{file.as_posix()}:{number}: {line.strip()[:120]}"
        for file, number, line in text_lines()
        if file.name not in skipped and pattern.search(line)
    ]


def test_no_file_names_a_path_of_a_machine() -> None:
    found = hits(MACHINE_PATH)
    assert not found, "\n".join(found)


def test_no_file_names_the_address_of_a_package_index() -> None:
    found = hits(INDEX_ADDRESS)
    assert not found, "\n".join(found)


def test_nothing_is_left_for_later_in_a_comment() -> None:
    found = hits(LEFT_FOR_LATER)
    assert not found, "\n".join(found)


def test_every_suppressed_warning_names_its_rule_and_its_reason() -> None:
    bare = [
        f"{file.as_posix()}:{number}: {line.strip()[:120]}"
        for file, number, line in text_lines()
        if file.suffix == ".py" and file.name != THIS_FILE
        if SUPPRESSION.search(line) and not SUPPRESSION_WITH_REASON.search(line)
    ]
    assert not bare, "\n".join(bare)


def british_words(line: str) -> list[str]:
    whole = re.findall(r"[A-Za-z]+", line)
    return [word for word in whole if BRITISH.fullmatch(word) and word.lower() not in GOOD_WORDS]


def test_spelling_is_american() -> None:
    found = [
        f"{file.as_posix()}:{number}: {', '.join(words)}"
        for file, number, line in text_lines()
        if file.name not in QUOTED | {THIS_FILE} and (words := british_words(line))
    ]
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("the head centre, in grey", ["centre", "grey"]),
        ("its colour and neighbours", ["colour", "neighbours"]),
        ("the head center of two analyses is leveled", []),
        ("normalised, modelled and licence", ["normalised", "modelled", "licence"]),
    ],
)
def test_british_spelling_is_recognized(line: str, words: list[str]) -> None:
    assert british_words(line) == words


@pytest.mark.parametrize("lock", [LOCK, DEV_LOCK, ROOT / "package-lock.json"])
def test_a_lock_holds_no_address(lock: object) -> None:
    text = (ROOT / str(lock)).read_text(encoding="utf-8")
    addresses = [
        line for line in text.splitlines() if "://" in line and '"url": "https' not in line
    ]
    assert addresses == []


def test_no_third_party_browser_file_is_committed() -> None:
    vendored = [file for file in project_files() if "vendor" in file.parts]
    assert vendored == []
