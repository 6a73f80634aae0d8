"""Run the commands that the documents show, and compare with what they show.

A fenced block that opens with ``console`` is run when all its commands are ``hipwright``; another
one (``python3 bootstrap.py``) is only shown. Each page has a fresh workspace and a fresh folder
with a copy of ``docs/``, which its blocks share from top to bottom. Output is compared like a
doctest's: ``...`` stands for anything, and differences in white space do not count. A block whose
commands are meant to fail says so in its opening line: ``console exit=1``.
"""

import doctest
import os
import re
import shlex
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from bench.place import program
from bench.sandbox import private_environment

BLOCK = re.compile(
    r"^(?P<indent> *)```console(?P<options>[^\n]*)\n(?P<body>.*?)^(?P=indent)```",
    re.MULTILINE | re.DOTALL,
)
PROMPT = "$ "
OPTIONS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
LONGEST_S = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """One command of a page with the output shown below it."""

    line: int
    command: str
    shown: str
    exit_code: int


def examples(text: str) -> Iterator[Example]:
    """Yield the commands of a page that are to be run."""
    for block in BLOCK.finditer(text):
        indent = len(block["indent"])
        first_line = text.count("\n", 0, block.start("body")) + 1
        exit_code = int(found[1]) if (found := re.search(r"exit=(\d+)", block["options"])) else 0
        inside = list(split([line[indent:] for line in block["body"].splitlines()]))
        if all(command.startswith("hipwright ") for _, command, _ in inside):
            for offset, command, shown in inside:
                yield Example(
                    line=first_line + offset, command=command, shown=shown, exit_code=exit_code
                )


def split(lines: list[str]) -> Iterator[tuple[int, str, str]]:
    r"""Yield ``(line offset, command, output)``; a line ending in ``\`` goes on in the next."""
    starts = [i for i, line in enumerate(lines) if line.startswith(PROMPT)]
    for start, end in zip(starts, [*starts[1:], len(lines)], strict=True):
        command = lines[start][len(PROMPT) :]
        at = start
        while command.endswith("\\") and at + 1 < end:
            at += 1
            command = command[:-1].rstrip() + " " + lines[at].lstrip("> ").strip()
        output = lines[at + 1 : end]
        yield start, command, "".join(f"{line}\n" for line in output)


def failures(page: Path, documents: Path) -> Iterator[str]:
    """Run the commands of one page beside a copy of ``documents``; yield what differs."""
    found = list(examples(page.read_text(encoding="utf-8")))
    if not found:
        return
    with tempfile.TemporaryDirectory(prefix="hipwright-docs-") as folder:
        environment = (
            os.environ
            | private_environment(Path(folder))
            | {
                "COLUMNS": "100",
                "NO_COLOR": "1",
                "TERM": "dumb",
            }
        )
        work = Path(folder) / "work"
        shutil.copytree(documents, work / documents.name)
        for example in found:
            yield from compare(example, work, environment)


def compare(example: Example, folder: Path, environment: dict[str, str]) -> Iterator[str]:
    """Run one command; yield what is wrong with it."""
    place = f"line {example.line}: $ {example.command}"
    _, *arguments = shlex.split(example.command)
    try:
        done = subprocess.run(
            [program("hipwright"), *arguments],
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=LONGEST_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        yield f"{place}\n  did not end within {LONGEST_S} s"
        return
    if done.returncode != example.exit_code:
        ended = f"ended with {done.returncode}, not {example.exit_code}"
        yield f"{place}\n  {ended}; it said:\n{done.stdout}"
    elif not doctest.OutputChecker().check_output(example.shown, done.stdout, OPTIONS):
        yield f"{place}\nShown:\n{example.shown}\nNow:\n{done.stdout}"
