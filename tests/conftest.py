"""What all tests share: seeds that are printed, programs of the machine, real bones."""

import os
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import hypothesis
import numpy as np
import pytest

from bench.machine import TOOLS
from bench.place import ROOT
from bench.sandbox import private_environment
from tests.needs import skip_unless_ci
from tests.postgresql import find_programs, temporary_server

SEED = int(os.environ.get("HIPWRIGHT_TEST_SEED", "20260914"))

# Compiling and loading take their time at the first example, so no deadline per example.
hypothesis.settings.register_profile("hipwright", deadline=None, print_blob=True)
hypothesis.settings.load_profile("hipwright")


def pytest_report_header() -> str:
    """Print the seed that the generator fixture starts from."""
    return f"hipwright: HIPWRIGHT_TEST_SEED={SEED}"


@pytest.fixture(scope="session", autouse=True)
def private_machine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep every test away from the workspace, settings and keys of the person who runs it."""
    with pytest.MonkeyPatch.context() as patch:
        for name, value in private_environment(tmp_path_factory.mktemp("machine")).items():
            patch.setenv(name, value)
        for name in ("HIPWRIGHT_DATABASE_URL", "HIPWRIGHT_CONFIG", "HIPWRIGHT_KEY_FILE"):
            patch.delenv(name, raising=False)
        yield


@pytest.fixture
def generator() -> np.random.Generator:
    """Random numbers from the printed seed, the same for each test however they are ordered."""
    return np.random.default_rng(SEED)


@pytest.fixture(scope="session")
def program() -> Callable[[str], Path]:
    """Find a program of the machine, such as ``dciodvfy``; skip loudly where it is missing."""

    def find(name: str) -> Path:
        (tool,) = (tool for tool in TOOLS if name in tool.programs)
        found = tool.find()
        if found is None:
            skip_unless_ci(f"{tool} is missing: {tool.unchecked} goes unchecked")
        return Path(str(found))

    return find


@pytest.fixture(scope="session")
def bones_folder() -> Path:
    """Folder with the real bones (``HIPWRIGHT_TEST_BONES``); skip where it is absent.

    Their license keeps them out of the project, so their absence is never a failure.
    """
    named = os.environ.get("HIPWRIGHT_TEST_BONES")
    folder = Path(named) if named else ROOT.parent / "shared" / "data" / "bones"
    if not folder.is_dir():
        pytest.skip("the real bones are not here: set HIPWRIGHT_TEST_BONES to their folder")
    return folder


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[Path]:
    """Socket folder of a PostgreSQL server that lives as long as the test run."""
    programs = find_programs()
    if programs is None:
        skip_unless_ci("PostgreSQL (Debian package postgresql) is missing: keeping on it")
    else:
        with temporary_server(programs) as folder:
            yield folder


@pytest.fixture
def postgresql_url(postgresql_server: Path) -> str:
    """Address of a fresh, empty PostgreSQL database, as SQLAlchemy takes it."""
    import psycopg

    name = f"test_{uuid.uuid4().hex}"
    with psycopg.connect(host=str(postgresql_server), user="postgres", autocommit=True) as session:
        session.execute(f"CREATE DATABASE {name}".encode())
    return f"postgresql+psycopg://postgres@/{name}?host={postgresql_server}"
