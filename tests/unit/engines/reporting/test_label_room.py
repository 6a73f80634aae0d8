"""No label covers another, and none is lost."""

from hypothesis import given
from hypothesis import strategies as st

from hipwright.domain.film_marks import LabelMark, LineMark, PointMark
from hipwright.engines.reporting.label_room import LETTER_WIDTH, LINE_HEIGHT, with_room

LETTER, RIGHT = 20.0, 1000.0
PLACES = st.tuples(st.floats(0, 1200), st.floats(0, 400))
LABELS = st.lists(
    st.builds(LabelMark, at=PLACES, text=st.text(min_size=1, max_size=24)), max_size=12
)


def boxes(labels: list[LabelMark]) -> list[tuple[float, float, float, float]]:
    return [
        (x, x + LETTER_WIDTH * LETTER * len(mark.text), y - LINE_HEIGHT * LETTER, y)
        for mark in labels
        for x, y in [mark.at]
    ]


@given(LABELS)
def test_labels_never_cover_each_other(labels: list[LabelMark]) -> None:
    placed = with_room(labels, letter_px=LETTER, right_px=RIGHT)
    found = boxes([m for m in placed if isinstance(m, LabelMark)])
    for n, (left, right, top, bottom) in enumerate(found):
        for other_left, other_right, other_top, other_bottom in found[:n]:
            apart = (
                right <= other_left
                or other_right <= left
                or bottom <= other_top + 1e-6
                or other_bottom <= top + 1e-6
            )
            assert apart


@given(LABELS)
def test_every_label_is_kept_with_its_words_and_inside_the_right_edge(
    labels: list[LabelMark],
) -> None:
    placed = with_room(labels, letter_px=LETTER, right_px=RIGHT)
    assert sorted(m.text for m in placed if isinstance(m, LabelMark)) == sorted(
        mark.text for mark in labels
    )
    found = boxes([mark for mark in placed if isinstance(mark, LabelMark)])
    assert all(right <= RIGHT + 1e-6 for _, right, _, _ in found)


def test_a_label_with_room_stays_where_it_was_and_other_marks_are_untouched() -> None:
    line = LineMark(xy=((0.0, 0.0), (9.0, 9.0)))
    point = PointMark(at=(1.0, 1.0), landmark="alpha_onset", name="Onset")
    label = LabelMark(at=(10.0, 200.0), text="LCEA 28°")
    assert set(with_room([label, line, point], letter_px=LETTER, right_px=RIGHT)) == {
        line,
        point,
        label,
    }


def test_the_upper_one_of_two_labels_in_one_place_stays() -> None:
    upper, lower = LabelMark(at=(10.0, 200.0), text="one"), LabelMark(at=(10.0, 205.0), text="two")
    first, second = with_room([lower, upper], letter_px=LETTER, right_px=RIGHT)
    assert first == upper
    assert isinstance(second, LabelMark)
    assert second.at[1] >= 200.0 + LINE_HEIGHT * LETTER
