"""The build hook: the listed files, made from the lock, and made only when needed."""

from pathlib import Path

import pytest

from bench import browser_files

FILES = {"pkg/dist/a.js": "a.js", "pkg/LICENSE": "licenses/pkg.txt"}


@pytest.fixture
def root(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in browser_files.NPM_INPUTS:
        (tmp_path / name).write_text(f"{name}\n")

    def install(*arguments: str, cwd: Path) -> None:
        assert arguments[:2] == ("ci", "--omit=dev")
        assert (cwd / "package-lock.json").read_text() == "package-lock.json\n"
        for source in FILES:
            place = cwd / "node_modules" / source
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_text(source)

    monkeypatch.setattr(browser_files, "run_npm", install)
    return tmp_path


def test_the_listed_files_are_made_under_their_names(root: Path) -> None:
    vendor = root / "vendor"
    wanted = browser_files.stamp_of(root, FILES)
    browser_files.make_vendor(root, vendor, FILES, wanted)
    assert (vendor / "a.js").read_text() == "pkg/dist/a.js"
    assert (vendor / "licenses/pkg.txt").read_text() == "pkg/LICENSE"
    assert browser_files.is_current(vendor, FILES, wanted)


def test_a_missing_file_a_changed_lock_and_a_longer_list_are_made_again(root: Path) -> None:
    vendor = root / "vendor"
    wanted = browser_files.stamp_of(root, FILES)
    assert not browser_files.is_current(vendor, FILES, wanted)
    browser_files.make_vendor(root, vendor, FILES, wanted)
    (vendor / "a.js").unlink()
    assert not browser_files.is_current(vendor, FILES, wanted)
    (root / "package-lock.json").write_text("another\n")
    assert browser_files.stamp_of(root, FILES) != wanted
    assert browser_files.stamp_of(root, FILES | {"pkg/b.js": "b.js"}) != wanted


def test_nothing_old_stays_in_the_folder(root: Path) -> None:
    vendor = root / "vendor"
    vendor.mkdir()
    (vendor / "old.js").write_text("old")
    browser_files.make_vendor(root, vendor, FILES, "stamp")
    assert not (vendor / "old.js").exists()
