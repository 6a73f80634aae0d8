"""The reading on the screen: what is told, and that it is what a whole measurement tells."""

import pytest

from hipwright.adapters.wire.documents import SOFTWARE
from hipwright.apps.web.films.messages import Chosen, Dropped, Item, Moved, landmark_set
from hipwright.apps.web.films.rows import row_of
from hipwright.apps.web.films.working import WorkingReading
from hipwright.catalog import load
from hipwright.domain.errors import LandmarkError
from hipwright.domain.side import Side
from hipwright.workflows.measure_hip import measure_landmarks
from tests.unit.apps.web.films.films_at_hand import both_hips, circle, pelvis, point

Rows = dict[tuple[str, str | None], dict[str, object]]


def told(working: WorkingReading, moved: Moved, known: Rows) -> Rows:
    """All rows a screen knows after a message and its answers."""
    answer = working.first_answer(working.take(moved))
    rows = answer["rows"] + ((working.rest() or {"rows": []})["rows"])
    return known | {(row["id"], row["side"]): row for row in rows}


def measured_whole(items: list[Item], *, calibrated: bool = True) -> Rows:
    image = pelvis(calibrated=calibrated)
    landmarks = landmark_set(
        tuple(items), image=image.id, observer="human:x", reading=1, catalog=load()
    )
    found = measure_landmarks(image.film(), landmarks, list(Side), software=SOFTWARE)
    rows = [row_of(finding, load()) for finding in found]
    return {(row["id"], row["side"]): row for row in rows}


@pytest.mark.parametrize("calibrated", [True, False])
@pytest.mark.parametrize("landmark", ["femoral_head", "teardrop_inferior", "alpha_onset"])
def test_what_the_screen_knows_after_a_move_is_what_a_whole_measurement_gives(
    landmark: str, *, calibrated: bool
) -> None:
    working = WorkingReading(pelvis(calibrated=calibrated), "human:x")
    items = both_hips()
    known = told(working, Moved(seq=1, items=tuple(items), all=True), {})
    assert known == measured_whole(items, calibrated=calibrated)
    moved = [
        Item(id=i.id, side=i.side, xy=tuple((x + 7, y - 11) for x, y in i.xy))
        for i in items
        if i.id == landmark and i.side == "left"
    ]
    after = told(working, Moved(seq=2, items=tuple(moved)), known)
    kept = [i for i in items if i.key != moved[0].key]
    assert after == measured_whole([*kept, *moved], calibrated=calibrated)


def test_the_first_answer_alone_holds_everything_that_the_move_changed() -> None:
    working = WorkingReading(pelvis(), "human:x")
    told(working, Moved(seq=1, items=tuple(both_hips()), all=True), {})
    for item in (circle("left", 5), point("acetabular_rim_lateral", "right", 100, -150)):
        answer = working.first_answer(working.take(Moved(seq=2, items=(item,))))
        assert answer["rows"]
        assert working.rest() is None


def test_an_untouched_measurement_is_not_told_again() -> None:
    working = WorkingReading(pelvis(), "human:x")
    told(working, Moved(seq=1, items=tuple(both_hips()), all=True), {})
    onset = point("alpha_onset", "left", 138, -66)
    answer = working.first_answer(working.take(Moved(seq=2, items=(onset,))))
    assert {(row["id"], row["side"]) for row in answer["rows"]} <= {
        (entry.id, "left")
        for entry in load().measurements.values()
        if "alpha_onset" in entry.landmarks
    }


def test_a_dropped_landmark_leaves_a_reason() -> None:
    working = WorkingReading(pelvis(), "human:x")
    told(working, Moved(seq=1, items=tuple(both_hips()), all=True), {})
    gone = Moved(seq=2, dropped=(Dropped(id="alpha_onset", side="left"),))
    rows = told(working, gone, {})
    assert "Onset of the bump" in str(rows["alpha_angle.three_point", "left"]["reason"])


def test_the_chosen_measurement_is_drawn_and_circles_are_fitted() -> None:
    working = WorkingReading(pelvis(), "human:x")
    chosen = Chosen(id="lateral_center_edge_angle.sourcil", side="left")
    moved = Moved(seq=1, items=tuple(both_hips()), all=True, chosen=chosen)
    answer = working.first_answer(working.take(moved))
    kinds = [mark["kind"] for mark in answer["marks"]]
    assert {"line", "arc", "label"} <= set(kinds)
    assert {(c["id"], c["side"]) for c in answer["circles"]} == {
        ("femoral_head", "left"),
        ("femoral_head", "right"),
    }


def test_clicks_on_one_line_are_a_problem_of_that_circle_only() -> None:
    working = WorkingReading(pelvis(), "human:x")
    straight = Item(id="femoral_head", side="left", xy=((10, 10), (20, 20), (30, 30)))
    items = [i for i in both_hips() if i.key != straight.key]
    moved = Moved(seq=1, items=(*items, straight), all=True)
    answer = working.first_answer(working.take(moved))
    assert [(p["id"], p["side"]) for p in answer["problems"]] == [("femoral_head", "left")]
    values = {(row["id"], row["side"]) for row in answer["rows"] if "text" in row}
    assert ("lateral_center_edge_angle.sourcil", "right") in values


def test_a_landmark_beside_the_picture_is_refused() -> None:
    working = WorkingReading(pelvis(), "human:x")
    touched = working.take(Moved(seq=1, items=(Item(id="coccyx_tip", xy=((-50, 10),)),)))
    with pytest.raises(LandmarkError, match="coccyx_tip"):
        working.first_answer(touched)
