"""What is inside the wheel: the program with its data and browser files, and nothing else."""

import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

from bench.browser_files import VENDOR
from bench.place import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
BROWSER_FILES = PROJECT["tool"]["hatch"]["build"]["hooks"]["custom"]["files"]
# What the program reads at run time lies beside the modules and has to come along.
DATA = {".toml", ".html", ".css", ".js", ".typ", ".svg", ".json", ".mako"}


@pytest.fixture(scope="module")
def wheel_names(tmp_path_factory: pytest.TempPathFactory) -> set[str]:
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "--target", "wheel"]
    subprocess.run(
        [*command, "--directory", str(folder)], cwd=ROOT, check=True, capture_output=True
    )
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        return set(archive.namelist())


def test_the_wheel_holds_every_browser_file(wheel_names: set[str]) -> None:
    inside = VENDOR.relative_to("src").as_posix()
    assert {f"{inside}/{name}" for name in BROWSER_FILES.values()} <= wheel_names


def test_the_wheel_holds_every_module_and_data_file(wheel_names: set[str]) -> None:
    source = ROOT / "src"
    wanted = {
        path.relative_to(source).as_posix()
        for path in source.rglob("*")
        if path.suffix in DATA | {".py"} and "__pycache__" not in path.parts
    }
    assert sorted(wanted - wheel_names) == []


def test_the_wheel_holds_nothing_but_the_package_and_its_papers(wheel_names: set[str]) -> None:
    others = {
        name
        for name in wheel_names
        if not name.startswith("hipwright/") and ".dist-info/" not in name
    }
    assert others == set()


def test_an_editable_install_has_the_browser_files_in_place() -> None:
    absent = [name for name in BROWSER_FILES.values() if not (ROOT / VENDOR / name).is_file()]
    assert absent == [], "python3 bootstrap.py install makes them"


def test_every_taken_package_brings_its_license_along() -> None:
    packages = {Path(source).parts[0] for source in BROWSER_FILES}
    licensed = {
        Path(source).parts[0]
        for source, name in BROWSER_FILES.items()
        if name.startswith("licenses/")
    }
    assert packages == licensed
