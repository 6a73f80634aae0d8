"""What is drawn over films and printed in documents is fixed once it is made."""

import dataclasses

import pytest

from hipwright.domain import film_marks, report

KINDS = [
    kind
    for module in (film_marks, report)
    for kind in vars(module).values()
    if isinstance(kind, type) and dataclasses.is_dataclass(kind)
]


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_marks_and_blocks_are_frozen_named_and_told(kind: type) -> None:
    fields = dataclasses.fields(kind)
    made = kind(**{field.name: () for field in fields})
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(made, fields[0].name, 1)
    assert all(field.kw_only for field in fields)
    assert kind.__doc__


def test_marks_can_be_counted_once() -> None:
    line = film_marks.LineMark(xy=((0.0, 0.0), (1.0, 1.0)))
    assert len({line, film_marks.LineMark(xy=((0.0, 0.0), (1.0, 1.0)))}) == 1
    assert line.stroke is film_marks.Stroke.MEASURE
