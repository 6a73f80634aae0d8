"""How long all measurements of a film take, with their intervals.

Goal of the work order: 100 ms for a film; aim 15 ms for both hips.
"""

from collections.abc import Callable

from pytest_benchmark.fixture import BenchmarkFixture

from hipwright.catalog import load
from hipwright.domain.side import Side
from hipwright.engines.anatomy.canonical import FilmBorder
from hipwright.engines.measurement.measure import measure_film, read_film
from hipwright.phantoms.analytic_film import AnalyticFilm, lateral_film, pelvis_film
from hipwright.phantoms.analytic_hip import KINDS


def all_of(made: AnalyticFilm) -> Callable[[], int]:
    catalog = load()
    sides = sorted({side for _, side in made.truth if side}, key=str)
    borders = [FilmBorder(film=made.film, side=side) for side in sides]

    def run() -> int:
        read = read_film(made.film, made.landmarks, catalog=catalog)
        return len(measure_film(read, borders))

    run()
    return run


def bench_all_measurements_of_a_pelvis_with_both_hips(benchmark: BenchmarkFixture) -> None:
    made = pelvis_film({Side.LEFT: KINDS["cam"], Side.RIGHT: KINDS["retroverted"]})
    assert benchmark(all_of(made)) == 67


def bench_all_measurements_of_a_lateral(benchmark: BenchmarkFixture) -> None:
    made = lateral_film(Side.LEFT, KINDS["cam"])
    assert benchmark(all_of(made)) == 9
