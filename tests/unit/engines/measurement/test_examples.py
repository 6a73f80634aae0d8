"""The example in every construction's docstring runs and shows what it says."""

import doctest

import pytest

from hipwright.engines.measurement.construction import Construction
from hipwright.engines.measurement.shelf import CONSTRUCTIONS

KERNELS = {each.kernel.__name__: each for each in CONSTRUCTIONS.values()}


@pytest.mark.parametrize("construction", KERNELS.values(), ids=KERNELS)
def test_example_of_a_construction_shows_what_it_gives(construction: Construction) -> None:
    globals_ = dict(construction.kernel.__globals__)
    name = construction.kernel.__name__
    test = doctest.DocTestParser().get_doctest(construction.doc, globals_, name, None, 0)
    assert test.examples, f"{name} has no example"
    results = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(test)
    assert results.failed == 0
