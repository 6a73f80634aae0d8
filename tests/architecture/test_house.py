"""The house: its rooms, what they show, how large their modules are."""

import ast
import importlib
import pkgutil

import pytest

import hipwright
from bench.place import ROOT

HOUSE = ROOT / "src" / "hipwright"
ROOMS = {"domain", "catalog", "engines", "phantoms", "workflows", "adapters", "apps"}
NO_ROOMS = {"utils", "helpers", "common", "manager", "misc", "util", "helper", "managers"}
LONGEST_MODULE = 400
TABLES = {".toml"}  # data, read by looking things up
OURS = (".py", ".js", ".css", ".html", ".toml", ".typ")

modules = sorted(
    path for path in HOUSE.rglob("*") if path.suffix in OURS and "vendor" not in path.parts
)
packages = sorted(
    name
    for _, name, is_package in pkgutil.walk_packages([str(HOUSE)], "hipwright.")
    if is_package and not name.startswith("hipwright.apps.web.static")
)


def test_the_house_has_exactly_the_rooms_on_the_plan() -> None:
    rooms = {path.parent.name for path in HOUSE.glob("*/__init__.py")}
    assert rooms == ROOMS
    loose = {path.name for path in HOUSE.glob("*.py")}
    assert loose <= {"__init__.py", "__main__.py", "wiring.py"}


def test_unit_tests_mirror_the_rooms() -> None:
    folders = {path.name for path in (ROOT / "tests" / "unit").iterdir() if path.is_dir()}
    assert folders - {"__pycache__", "bench"} <= ROOMS


def test_no_module_is_named_after_nothing() -> None:
    assert [str(path) for path in modules if path.stem in NO_ROOMS] == []
    assert [
        str(path) for path in HOUSE.rglob("*") if path.is_dir() and path.name in NO_ROOMS
    ] == []


def test_no_module_is_longer_than_anyone_reads() -> None:
    lengths = {
        path.relative_to(ROOT).as_posix(): len(path.read_text(encoding="utf-8").splitlines())
        for path in modules
        if path.suffix not in TABLES
    }
    assert {name: length for name, length in lengths.items() if length > LONGEST_MODULE} == {}


@pytest.mark.parametrize("name", ["hipwright", *packages])
def test_a_package_lists_only_public_names_that_it_has(name: str) -> None:
    package = importlib.import_module(name)
    listed = list(getattr(package, "__all__", []))
    assert len(listed) == len(set(listed))
    assert [item for item in listed if not hasattr(package, item)] == []
    private = [item for item in listed if item.startswith("_") and item != "__version__"]
    assert private == []


def test_the_front_desk_only_imports_and_names() -> None:
    tree = ast.parse((HOUSE / "__init__.py").read_text(encoding="utf-8"))
    statements = {type(node) for node in tree.body}
    assert statements <= {ast.Expr, ast.Import, ast.ImportFrom, ast.Assign}
    assigned = [ast.unparse(node.targets[0]) for node in tree.body if isinstance(node, ast.Assign)]
    assert set(assigned) <= {"__all__", "__version__"}
    assert "__version__" in hipwright.__all__


def test_every_python_module_says_what_it_is() -> None:
    silent = [
        path.relative_to(ROOT).as_posix()
        for path in modules
        if path.suffix == ".py"
        and (text := path.read_text(encoding="utf-8")).strip()
        and ast.get_docstring(ast.parse(text)) is None
    ]
    assert not silent, "\n".join(silent)
