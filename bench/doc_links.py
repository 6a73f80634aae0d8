"""Links between our own documents: the file is there, and so is the heading."""

import re
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import unquote

LINK = re.compile(
    r"!?\[[^\]]*\]\(\s*<?([^)\s>]+)>?[^)]*\)|^\[[^\]]+\]:\s*(\S+)|(?:src|href)=\"([^\"]+)\"",
    re.MULTILINE,
)
FENCE = re.compile(r"^(```|~~~).*?^\1", re.MULTILINE | re.DOTALL)
CODE = re.compile(r"`[^`\n]+`")
HEADING = re.compile(r"^#{1,6}\s+(.+?)\s*#*$", re.MULTILINE)
ANCHOR = re.compile(r"<a\s+(?:id|name)=\"([^\"]+)\"")
OUTSIDE = re.compile(r"[a-z][a-z0-9+.-]*:", re.IGNORECASE)


def pages(root: Path) -> list[Path]:
    """Every page of the documentation: those at the root and all below ``docs/``."""
    return sorted(
        [*root.glob("*.md"), *(root / "docs").rglob("*.md"), *(root / "benchmarks").glob("*.md")]
    )


def broken_links(root: Path) -> list[str]:
    """Tell each link that leads nowhere, as ``page: link (why)``."""
    return [
        f"{page.relative_to(root).as_posix()}: {link} ({why})"
        for page in pages(root)
        for link, why in broken(page)
    ]


def broken(page: Path) -> Iterator[tuple[str, str]]:
    """Yield the broken links of one page."""
    text = CODE.sub("", FENCE.sub("", page.read_text(encoding="utf-8")))
    for match in LINK.finditer(text):
        link = next(group for group in match.groups() if group)
        if OUTSIDE.match(link):
            continue
        path, _, anchor = unquote(link).partition("#")
        target = page if not path else page.parent / path
        if not target.exists():
            yield link, "no such file"
        elif anchor and target.suffix == ".md" and anchor not in anchors(target):
            yield link, "no such heading"


def anchors(page: Path) -> set[str]:
    """Anchors of a page: one for each heading, as the usual readers of Markdown make them."""
    text = FENCE.sub("", page.read_text(encoding="utf-8"))
    found: set[str] = set(ANCHOR.findall(text))
    for heading in HEADING.findall(text):
        slug = slugify(heading)
        name, count = slug, 0
        while name in found:
            count += 1
            name = f"{slug}-{count}"
        found.add(name)
    return found


def slugify(heading: str) -> str:
    """Anchor of a heading: lower case, punctuation dropped, spaces to hyphens."""
    plain = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", heading).replace("`", "").lower()
    kept = (c for c in plain if c in " -_" or unicodedata.category(c)[0] in "LNM")
    return "".join(kept).strip().replace(" ", "-")
