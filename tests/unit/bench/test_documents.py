"""Checking the documents: links, shown commands, generated pages."""

import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from bench import doc_commands, doc_links, generated_pages


def pages(folder: Path, **texts: str) -> Path:
    (folder / "docs").mkdir()
    for name, text in texts.items():
        place = folder / ("README.md" if name == "README" else f"docs/{name}.md")
        place.write_text(text, encoding="utf-8")
    return folder


def test_links_to_files_and_headings_that_are_there_pass(tmp_path: Path) -> None:
    root = pages(
        tmp_path,
        README="[a](docs/a.md#two-words-alpha-60) [same](#top) <https://x.example>\n# Top\n",
        a="# Two words: `alpha` > 60°\n[back](../README.md) [out](https://x.example/y)\n",
    )
    slug = doc_links.slugify("Two words: `alpha` > 60°")
    assert slug == "two-words-alpha--60"
    assert doc_links.broken_links(root) == [
        "README.md: docs/a.md#two-words-alpha-60 (no such heading)"
    ]


def test_links_that_lead_nowhere_are_told(tmp_path: Path) -> None:
    root = pages(
        tmp_path,
        README='![x](docs/x.png) <img src="docs/y.png">\n',
        a="[gone](b.md)\n```\n[in code](c.md)\n```\n`[in code](d.md)`\n",
    )
    assert doc_links.broken_links(root) == [
        "README.md: docs/x.png (no such file)",
        "README.md: docs/y.png (no such file)",
        "docs/a.md: b.md (no such file)",
    ]


def test_repeated_headings_have_numbered_anchors(tmp_path: Path) -> None:
    page = tmp_path / "a.md"
    page.write_text("# One\n## Two\n## Two\n", encoding="utf-8")
    assert doc_links.anchors(page) == {"one", "two", "two-1"}


TEXT = """
```console
$ python3 bootstrap.py
```

```console
$ hipwright catalog \\
>   --json
{...}
$ hipwright cases
No cases yet.
```

```console exit=1
$ hipwright show nobody
```
"""


def test_only_blocks_of_hipwright_commands_are_run() -> None:
    found = list(doc_commands.examples(TEXT))
    assert [(example.command, example.exit_code) for example in found] == [
        ("hipwright catalog --json", 0),
        ("hipwright cases", 0),
        ("hipwright show nobody", 1),
    ]
    assert [example.shown for example in found] == ["{...}\n", "No cases yet.\n", ""]
    assert [example.line for example in found] == [7, 10, 15]


@pytest.fixture
def echo(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the shown commands run this Python in place of hipwright."""
    monkeypatch.setattr(doc_commands, "program", lambda _: sys.executable)


def block(command: str, shown: str, options: str = "") -> str:
    return f"```console{options}\n$ hipwright {command}\n{shown}```\n"


@pytest.mark.usefixtures("echo")
@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (block("-c 'print(1.25)'", "1.25\n"), None),
        (block("-c 'print(1.25)'", "1...\n"), None),
        (block("-c 'print(1.25)'", "2\n"), "Shown:"),
        (block("-c 'exit(3)'", ""), "ended with 3, not 0"),
        (block("-c 'exit(3)'", "", " exit=3"), None),
        (
            block(
                "-c 'import os; print(os.listdir(), os.listdir(\"docs\"))'", "['docs'] ['a.txt']\n"
            ),
            None,
        ),
        (block("-c 'import os; os.environ[\"HIPWRIGHT_WORKSPACE\"]'", ""), None),
    ],
)
def test_a_shown_command_is_compared_with_what_it_says_now(
    tmp_path: Path, text: str, problem: str | None
) -> None:
    documents = tmp_path / "docs"
    documents.mkdir()
    (documents / "a.txt").write_text("a")
    page = tmp_path / "page.md"
    page.write_text(text, encoding="utf-8")
    found = list(doc_commands.failures(page, documents))
    if problem is None:
        assert found == []
    else:
        assert len(found) == 1
        assert problem in found[0]


def make_two() -> Mapping[str, str]:
    return {"a.md": "A\n", "b.md": "B\n"}


def test_generated_pages_are_written_compared_and_cleared(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(generated_pages, "make", lambda _: make_two())
    makers = (("any:maker", "docs"),)
    assert generated_pages.differences(tmp_path, makers) == [
        "docs/a.md is missing",
        "docs/b.md is missing",
    ]
    assert generated_pages.write(tmp_path, makers) == 2
    assert generated_pages.differences(tmp_path, makers) == []
    (tmp_path / "docs/a.md").write_text("by hand\n")
    (tmp_path / "docs/old.md").write_text("old\n")
    assert generated_pages.differences(tmp_path, makers) == [
        "docs/a.md is not what any:maker makes",
        "docs/old.md is left over",
    ]
    generated_pages.write(tmp_path, makers)
    assert generated_pages.differences(tmp_path, makers) == []
