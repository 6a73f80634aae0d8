"""Making the models again from the edits: begun, told, stopped, failed, interrupted."""

from collections.abc import Iterator

import httpx
import pytest
from fastapi import FastAPI

from hipwright.apps.web.slices.desk import desk_of
from hipwright.domain.keeping_bones import JobState
from tests.slices_room import PretendWork, SlicesRoom, add_build
from tests.web_house import PAGE, WebHouse


class AsIfAsked:
    """What the desk needs of a request."""

    def __init__(self, app: FastAPI) -> None:
        self.app = app


@pytest.fixture
def work(house: WebHouse, room: SlicesRoom, inside: httpx.Client) -> Iterator[PretendWork]:
    inside.get(f"/slices/{room.ct.id}", headers=PAGE)  # the desk is set
    desk = desk_of(AsIfAsked(house.app))  # pyright: ignore[reportArgumentType] (it asks for no more)
    real, desk.work = desk.work, PretendWork(house.opened)
    yield desk.work
    desk.work = real


def test_work_is_begun_told_and_stopped(
    house: WebHouse, room: SlicesRoom, inside: httpx.Client, work: PretendWork
) -> None:
    keeper = house.opened.keeper
    at = f"/slices/{room.ct.id}/making"
    begun = inside.post(at, data={"case": room.ct_case.code}).text
    assert work.started == [room.ct.id]
    assert 'hx-trigger="every 1s"' in begun
    job = keeper.jobs_on(room.ct.id)[0]
    keeper.beat(job.id, done=30, total=100, message="telling the bones apart")
    told = inside.get(at).text
    assert "Telling the bones apart" in told
    assert 'value="30"' in told
    assert "Stopping." in inside.post(f"{at}/stop").text
    keeper.end_job(job.id, JobState.CANCELED)
    over = inside.get(at).text
    assert "Stopped." in over
    assert "Your edits are kept" in over
    assert "every 1s" not in over


@pytest.mark.parametrize(
    ("state", "error", "words"),
    [
        (
            JobState.FAILED,
            {
                "code": "volume",
                "message": "cannot do it.",
                "found": "",
                "needed": "",
                "help": "Try.",
            },
            ["The bone models could not be made", "cannot do it. Try."],
        ),
        (JobState.INTERRUPTED, None, ["Interrupted", "goes on from the last finished stage"]),
    ],
)
def test_an_end_that_is_no_success_is_told_and_edits_stay(
    state: JobState,
    error: dict[str, str] | None,
    words: list[str],
    house: WebHouse,
    room: SlicesRoom,
    inside: httpx.Client,
    work: PretendWork,
) -> None:
    keeper = house.opened.keeper
    desk, at = f"desk-{state.value}", f"/slices/{room.ct.id}"
    seed = {"how": "seed", "at": [0, 0, float(len(state.value))], "code": 3}
    inside.post(f"{at}/edits/0", json={"desk": desk, "edit": seed})
    version = inside.get(f"{at}/edits/0?desk={desk}").json()["version"]
    inside.post(f"{at}/edits/0/keep", json={"desk": desk, "expected_version": version})
    kept = keeper.label_edits_of(room.ct.id)
    inside.post(f"{at}/making")
    keeper.end_job(keeper.jobs_on(room.ct.id)[0].id, state, error=error)
    page = inside.get(f"{at}/making").text
    assert all(word in page for word in words), page
    assert keeper.label_edits_of(room.ct.id) == kept
    assert kept is not None
    assert f"Your edits (version {kept.version}) are not in these models yet." in page
    assert "Make the models again from these edits" in page


def test_after_success_the_new_labels_are_told(
    house: WebHouse, room: SlicesRoom, inside: httpx.Client, work: PretendWork
) -> None:
    keeper = house.opened.keeper
    at = f"/slices/{room.ct.id}/making"
    inside.post(at)
    kept = keeper.label_edits_of(room.ct.id)
    build = add_build(house.opened, room.ct, kept.edits_file if kept else "")
    keeper.end_job(keeper.jobs_on(room.ct.id)[0].id, JobState.DONE, result=build.id)
    answer = inside.get(at)
    assert answer.headers["hx-trigger"] == "bones-made"
    assert f"Models {build.number}," in answer.text
    assert "are not in these models yet" not in answer.text


def test_a_stop_without_work_changes_nothing(
    room: SlicesRoom, inside: httpx.Client, work: PretendWork
) -> None:
    assert inside.post(f"/slices/{room.ct.id}/making/stop").status_code == 200
