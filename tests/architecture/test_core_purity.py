"""What imports cannot show: the core draws no numbers of its own and reads no clock."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from bench.place import ROOT

CORE = ("domain", "engines", "phantoms")
CLOCKS = {"now", "utcnow", "today", "fromtimestamp"}
OUTSIDE_CALLS = {"open", "print", "input", "exec", "eval", "__import__"}
NUMPY_FILES = {
    "load",
    "save",
    "savez",
    "savez_compressed",
    "loadtxt",
    "savetxt",
    "fromfile",
    "memmap",
}
RANDOM_TYPES = {
    "Generator",
    "PCG64",
    "SeedSequence",
    "default_rng",
}  # pure once they are given a seed


def impurities(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        match node:
            case ast.Attribute(value=ast.Attribute(value=ast.Name("np" | "numpy"), attr="random")):
                if node.attr not in RANDOM_TYPES:
                    yield f"{node.lineno}: np.random.{node.attr} (a Generator comes in instead)"
            case ast.Call(
                func=ast.Attribute(attr="default_rng" | "PCG64" | "SeedSequence")
                | ast.Name("default_rng"),
                args=[],
                keywords=[],
            ):
                yield f"{node.lineno}: a generator without a seed"
            case ast.Call(func=ast.Name(id=name)) if name in OUTSIDE_CALLS:
                yield f"{node.lineno}: {name}()"
            case ast.Call(func=ast.Attribute(attr=name)) if name in CLOCKS:
                yield f"{node.lineno}: .{name}() (time comes in as a value)"
            case ast.Call(func=ast.Attribute(value=ast.Name("np" | "numpy"), attr=name)) if (
                name in NUMPY_FILES
            ):
                yield f"{node.lineno}: np.{name}()"
            case _:
                pass


def core_modules() -> list[Path]:
    return sorted(p for room in CORE for p in (ROOT / "src/hipwright" / room).rglob("*.py"))


def test_the_core_draws_no_random_numbers_of_its_own_and_reads_no_clock_or_file() -> None:
    found = [
        f"{path.relative_to(ROOT).as_posix()}:{what}"
        for path in core_modules()
        for what in impurities(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    "code",
    [
        "rng = np.random.default_rng()",
        "np.random.seed(3)",
        "x = np.random.normal()",
        "when = datetime.now(tz)",
        "open('x')",
        "np.load('x')",
        "rng = default_rng()",
    ],
)
def test_an_impurity_is_recognized(code: str) -> None:
    assert list(impurities(ast.parse(code)))


@pytest.mark.parametrize(
    "code",
    [
        "def f(generator: np.random.Generator) -> float:\n    return generator.normal()",
        "generator = np.random.default_rng(np.random.SeedSequence([1, 2]))",
    ],
)
def test_a_generator_that_comes_in_or_has_a_seed_is_welcome(code: str) -> None:
    assert list(impurities(ast.parse(code))) == []
