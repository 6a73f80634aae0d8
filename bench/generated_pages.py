"""Documentation pages that are made from the program, so that they cannot go stale.

A maker is a function without arguments that returns ``{file name: text}`` for one folder.
The check compares; ``python3 bootstrap.py pages`` writes. The folder belongs to its maker:
any other file in it is reported, and removed when the pages are written. To add a maker,
add a line to ``MAKERS``.
"""

import importlib
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

from bench.place import ROOT

# ("module:function", "folder below the root")
MAKERS: tuple[tuple[str, str], ...] = (
    ("hipwright.catalog.pages:pages", "docs/reference/catalog"),
    ("hipwright.adapters.wire.schemas:schema_files", "docs/reference/json"),
)


def make(maker: str) -> Mapping[str, str]:
    """Call a maker named as ``module:function``."""
    module, _, function = maker.partition(":")
    pages: Callable[[], Mapping[str, str]] = getattr(importlib.import_module(module), function)
    return pages()


def differences(root: Path, makers: tuple[tuple[str, str], ...]) -> list[str]:
    """Tell which pages are missing, changed by hand or left over."""
    found: list[str] = []
    for maker, folder in makers:
        place = root / folder
        pages = make(maker)
        for name, text in sorted(pages.items()):
            page = place / name
            if not page.is_file():
                found.append(f"{folder}/{name} is missing")
            elif page.read_text(encoding="utf-8") != text:
                found.append(f"{folder}/{name} is not what {maker} makes")
        found += [f"{folder}/{path.name} is left over" for path in left_over(place, pages)]
    return found


def left_over(place: Path, pages: Mapping[str, str]) -> list[Path]:
    """Files of a folder that its maker does not make."""
    return sorted(path for path in place.glob("*") if path.is_file() and path.name not in pages)


def write(root: Path, makers: tuple[tuple[str, str], ...]) -> int:
    """Write every page and remove what is left over; return how many pages there are."""
    count = 0
    for maker, folder in makers:
        place = root / folder
        pages = make(maker)
        place.mkdir(parents=True, exist_ok=True)
        for path in left_over(place, pages):
            path.unlink()
        for name, text in pages.items():
            (place / name).write_text(text, encoding="utf-8", newline="\n")
        count += len(pages)
    return count


if __name__ == "__main__":
    if sys.argv[1:] == ["--write"]:
        print(f"{write(ROOT, MAKERS)} pages written.")
    else:
        print("\n".join(differences(ROOT, MAKERS)) or "All generated pages are up to date.")
