"""The docs step: commands run as shown, links lead somewhere, generated pages are fresh."""

import sys
import time

from bench import doc_commands, doc_links, generated_pages
from bench.console import prepare_output, seconds
from bench.place import ROOT


def main() -> int:
    """Check all pages; print what is wrong; return 1 if anything is."""
    prepare_output()
    problems = [f"link  {text}" for text in doc_links.broken_links(ROOT)]
    problems += [
        f"page  {text}: run python3 bootstrap.py pages"
        for text in generated_pages.differences(ROOT, generated_pages.MAKERS)
    ]
    ran = 0
    for page in doc_links.pages(ROOT):
        name = page.relative_to(ROOT).as_posix()
        count = len(list(doc_commands.examples(page.read_text(encoding="utf-8"))))
        if not count:
            continue
        start = time.monotonic()
        problems += [
            f"run   {name}, {text}" for text in doc_commands.failures(page, ROOT / "docs")
        ]
        print(f"{name}: {count} commands in {seconds(time.monotonic() - start)}")
        ran += count
    for problem in problems:
        print(problem)
    print(
        f"docs: {len(doc_links.pages(ROOT))} pages, {ran} commands run, {len(problems)} problems"
    )
    return 1 if problems else 0


if __name__ == "__main__":
    sys.exit(main())
