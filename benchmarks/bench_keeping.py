"""How long saving, opening and keeping files take, every commit brought to the disk."""

from __future__ import annotations

import os
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from hipwright.domain.landmarks import PlacedPoint
from hipwright.domain.side import Side
from hipwright.wiring import Workspace, open_workspace
from tests.contract.kept_things import a_clinic, some_landmarks

LANDMARKS = 60
"""About as many as both hips of a film have."""


@pytest.fixture
def opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Workspace]:
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "machine"))
    with open_workspace(tmp_path / "workspace", create=True) as workspace:
        yield workspace


def bench_a_reading_is_saved(benchmark: BenchmarkFixture, opened: Workspace) -> None:
    """Goal: 10 ms."""
    clinic = a_clinic(opened.keeper)
    versions = count()

    def save() -> None:
        version = next(versions)
        placed = some_landmarks(clinic.film).replacing(
            PlacedPoint(id=f"p{n}", side=Side.LEFT, x_px=version + n / 7, y_px=n / 3)
            for n in range(LANDMARKS)
        )
        opened.keeper.save_reading(clinic.case.id, placed, expected_version=version)

    benchmark(save)


def bench_an_existing_workspace_is_opened(benchmark: BenchmarkFixture, opened: Workspace) -> None:
    """Goal: 150 ms, imports aside."""
    benchmark(lambda: open_workspace(opened.folder).close())


def bench_a_slice_is_kept(benchmark: BenchmarkFixture, opened: Workspace) -> None:
    """Goal: far under 10 ms, since an import takes in 100 slices a second."""
    benchmark(lambda: opened.keeper.put_file(os.urandom(1 << 19)))


def bench_an_identity_is_looked_up(benchmark: BenchmarkFixture, opened: Workspace) -> None:
    """One patient number, decrypted and compared."""
    benchmark(lambda: opened.identity.find(number="12345"))
