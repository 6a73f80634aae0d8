"""Importing into a real workspace: all or nothing, repeatable, asked about."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from PIL import Image as Pictures

from hipwright.domain.errors import HipwrightError, ImportRefusedError, SideError
from hipwright.domain.keeping import Laterality
from hipwright.domain.side import Side
from hipwright.domain.study import SpacingSource, View
from hipwright.wiring import Workspace, importer, open_workspace
from hipwright.workflows.ports import Asked
from hipwright.workflows.read_study import Importer, ImportReport, Wishes
from tests.dicom_makers import ct_slice, film, gradient, saved, silent

LEFT = Wishes(sides=(Side.LEFT,))


@pytest.fixture
def opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Workspace]:
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "config"))
    monkeypatch.setenv("HIPWRIGHT_KEY_FILE", str(tmp_path / "key"))
    with open_workspace(tmp_path / "workspace", create=True) as workspace:
        yield workspace


@pytest.fixture
def importing(opened: Workspace) -> Importer:
    return importer(opened)


def add(importing: Importer, *paths: Path, wishes: Wishes = LEFT) -> ImportReport:
    return importing.add(paths, wishes, progress=silent)


def nothing_is_kept(opened: Workspace) -> bool:
    return not (opened.keeper.persons() or opened.keeper.cases())


def test_a_new_person_with_a_case_and_a_film(
    opened: Workspace, importing: Importer, tmp_path: Path
) -> None:
    report = add(importing, saved(film(), tmp_path / "a.dcm"))
    (case,), (image,) = report.cases, report.images
    assert report.opened == (case.code,)
    assert case.side is Side.LEFT
    assert opened.keeper.image(image.id).view is View.PELVIS_AP
    identity = opened.identity.of(case.person)
    assert identity is not None
    assert identity.name == "Ida Invented"
    assert opened.identity.find(number="INV-7") == case.person


def test_true_dates_come_back_from_the_identity_store_only(
    opened: Workspace, importing: Importer, tmp_path: Path
) -> None:
    (image,) = add(importing, saved(film(), tmp_path / "a.dcm")).images
    assert image.acquired_on is not None
    assert image.acquired_on != date(2024, 3, 1)
    assert opened.identity.true_date(image.person, image.acquired_on) == date(2024, 3, 1)


def test_importing_twice_changes_nothing(importing: Importer, tmp_path: Path) -> None:
    for number in range(1, 4):
        saved(ct_slice(number, float(number)), tmp_path / "in" / f"{number}.dcm")
    saved(film(9), tmp_path / "in" / "film.dcm")
    first = add(importing, tmp_path / "in")
    second = add(importing, tmp_path / "in", wishes=Wishes())
    assert len(first.images) == 2
    assert (second.images, second.opened, second.already_here) == ((), (), 2)
    assert [case.code for case in second.cases] == [case.code for case in first.cases]


def test_the_same_uid_with_other_pixels_is_refused_and_named(
    opened: Workspace, importing: Importer, tmp_path: Path
) -> None:
    (before,) = add(importing, saved(film(), tmp_path / "a.dcm")).images
    other = film()
    other.PixelData = (gradient((60, 80)) + 1).astype("<u2").tobytes()
    report = add(importing, saved(other, tmp_path / "changed.dcm"))
    assert report.rejected[0].file == "changed.dcm"
    assert "other pixels" in report.rejected[0].reason
    assert opened.keeper.image(before.id) == before


def test_slices_that_come_later_complete_their_series(importing: Importer, tmp_path: Path) -> None:
    for number in range(1, 6):
        folder = "late" if number == 3 else "early"
        saved(ct_slice(number, float(number)), tmp_path / "in" / folder / f"{number}.dcm")
    first = add(importing, tmp_path / "in" / "early")
    assert "missing" in first.images[0].warnings[0]
    second = add(importing, tmp_path / "in")
    assert second.images == ()
    assert len(second.completed[0].files) == 5
    assert second.completed[0].id == first.images[0].id
    assert second.completed[0].warnings == ()


def test_a_second_study_finds_its_person_again(importing: Importer, tmp_path: Path) -> None:
    first = add(importing, saved(film(1), tmp_path / "a.dcm"))
    later = film(2, StudyInstanceUID="1.2.3.4", StudyDate="20250601", AcquisitionDate="20250601")
    second = add(importing, saved(later, tmp_path / "b.dcm"), wishes=Wishes())
    assert second.cases[0].person == first.cases[0].person
    days = [report.images[0].acquired_on for report in (first, second)]
    assert days[0] is not None
    assert days[1] is not None
    assert days[1] - days[0] == date(2025, 6, 1) - date(2024, 3, 1)


def test_a_person_without_a_number_is_found_by_the_study(
    importing: Importer, tmp_path: Path
) -> None:
    first = add(importing, saved(film(1, PatientID=""), tmp_path / "a.dcm"))
    second = add(importing, saved(film(2, PatientID=""), tmp_path / "b.dcm"), wishes=Wishes())
    assert second.cases[0].person == first.cases[0].person


def test_mixed_people_are_refused_unless_told(
    opened: Workspace, importing: Importer, tmp_path: Path
) -> None:
    saved(film(1), tmp_path / "in" / "a.dcm")
    saved(film(2, PatientID="INV-8", StudyInstanceUID="1.2.3.4"), tmp_path / "in" / "b.dcm")
    with pytest.raises(ImportRefusedError, match="2 people") as caught:
        add(importing, tmp_path / "in")
    assert "Invented" not in str(caught.value)
    assert nothing_is_kept(opened)
    both = add(importing, tmp_path / "in", wishes=Wishes(sides=(Side.LEFT,), each_patient=True))
    assert both.people == 2
    assert len({case.person for case in both.cases}) == 2


def test_somebody_elses_files_are_not_filed_under_a_case(
    importing: Importer, tmp_path: Path
) -> None:
    first = add(importing, saved(film(1), tmp_path / "a.dcm"))
    add(importing, saved(film(2, PatientID="INV-8", StudyInstanceUID="1.2.3"), tmp_path / "b.dcm"))
    report = add(importing, tmp_path / "b.dcm", wishes=Wishes(case=first.cases[0].code))
    assert report.took_nothing
    assert "another person" in report.rejected[0].reason


def test_a_code_of_ones_own_opens_a_case_under_it(importing: Importer, tmp_path: Path) -> None:
    report = add(
        importing,
        saved(film(), tmp_path / "a.dcm"),
        wishes=Wishes(case="ROW-26", sides=(Side.LEFT,)),
    )
    assert report.opened == ("ROW-26",)
    again = add(importing, tmp_path / "a.dcm", wishes=Wishes(case="ROW-26"))
    assert again.already_here == 1


def test_without_a_side_nothing_is_kept_and_the_flag_is_named(
    opened: Workspace, importing: Importer, tmp_path: Path
) -> None:
    with pytest.raises(SideError, match="--side left"):
        add(importing, saved(film(), tmp_path / "a.dcm"), wishes=Wishes())
    assert nothing_is_kept(opened)


def test_the_films_own_side_opens_the_case(importing: Importer, tmp_path: Path) -> None:
    one = film(SeriesDescription="Dunn 45 rechts", BodyPartExamined="HIP", ImageLaterality="R")
    report = add(importing, saved(one, tmp_path / "a.dcm"), wishes=Wishes())
    assert report.cases[0].side is Side.RIGHT


def test_a_side_that_every_film_contradicts_is_refused(
    opened: Workspace, importing: Importer, tmp_path: Path
) -> None:
    one = film(SeriesDescription="Dunn 45 rechts", BodyPartExamined="HIP", ImageLaterality="R")
    path = saved(one, tmp_path / "a.dcm")
    with pytest.raises(SideError, match="right hip only"):
        add(importing, path)
    assert nothing_is_kept(opened)
    told = add(importing, path, wishes=Wishes(sides=(Side.LEFT,), side_checked=True))
    assert told.images[0].laterality is Laterality.LEFT


def test_both_sides_open_two_cases_of_one_person(importing: Importer, tmp_path: Path) -> None:
    wishes = Wishes(sides=(Side.RIGHT, Side.LEFT))
    report = add(importing, saved(film(), tmp_path / "a.dcm"), wishes=wishes)
    assert {case.side for case in report.cases} == set(Side)
    assert len({case.person for case in report.cases}) == 1


def test_a_view_that_was_asked_for_is_kept_as_confirmed(
    importing: Importer, tmp_path: Path
) -> None:
    one = film(SeriesDescription="", ViewPosition="", BodyPartExamined="")
    path = saved(one, tmp_path / "a.dcm")
    unsure = importing.look([path], LEFT, progress=silent)
    assert {q.asked for q in unsure.arrivals[0].questions} == {Asked.VIEW, Asked.SIDE}
    wishes = Wishes(sides=(Side.LEFT,), view=View.FALSE_PROFILE)
    report = add(importing, path, wishes=wishes)
    assert report.images[0].view is View.FALSE_PROFILE
    assert report.images[0].laterality is Laterality.LEFT
    assert report.images[0].confirmed
    assert report.questions == ()


def test_a_picture_gets_its_scale_by_hand_and_joins_the_person(
    importing: Importer, tmp_path: Path
) -> None:
    folder = tmp_path / "in"
    saved(film(), folder / "a.dcm")
    Pictures.fromarray(np.arange(2000, dtype=np.uint8).reshape(40, 50)).save(folder / "b.png")
    wishes = Wishes(sides=(Side.LEFT,), pixels_checked=True, millimeters_per_pixel=0.2)
    report = add(importing, folder, wishes=wishes)
    by_hand = [i for i in report.images if i.calibration.source is SpacingSource.BY_HAND]
    assert report.people == 1
    assert len(report.images) == 2
    assert by_hand[0].calibration.column_mm == 0.2


def test_a_picture_alone_can_be_filed_under_a_case(importing: Importer, tmp_path: Path) -> None:
    first = add(importing, saved(film(), tmp_path / "a.dcm"))
    picture = tmp_path / "b.png"
    Pictures.fromarray(np.arange(2000, dtype=np.uint8).reshape(40, 50)).save(picture)
    wishes = Wishes(case=first.cases[0].code, pixels_checked=True, view=View.PELVIS_AP)
    report = add(importing, picture, wishes=wishes)
    assert report.images[0].person == first.cases[0].person
    assert report.images[0].laterality is Laterality.BOTH
    assert add(importing, picture, wishes=wishes).already_here == 1


def test_a_failure_at_the_last_row_leaves_no_row(
    opened: Workspace, importing: Importer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_arguments: object, **_names: object) -> None:
        raise OSError(28, "No space left on device")

    path = saved(film(), tmp_path / "a.dcm")
    monkeypatch.setattr(type(opened.keeper), "add_case", full)
    with pytest.raises((OSError, HipwrightError)):
        add(importing, path)
    monkeypatch.undo()
    assert nothing_is_kept(opened)


def test_a_full_disk_while_files_are_put_leaves_no_row(
    opened: Workspace, importing: Importer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(1, 4):
        saved(ct_slice(number, float(number)), tmp_path / "in" / f"{number}.dcm")
    put, calls = opened.keeper.put_file, []

    def fills_up(content: bytes) -> str:
        calls.append(1)
        if len(calls) > 2:
            raise OSError(28, "No space left on device")
        return put(content)

    monkeypatch.setattr(opened.keeper, "put_file", fills_up)
    with pytest.raises(OSError, match="No space"):
        add(importing, tmp_path / "in")
    assert nothing_is_kept(opened)


def test_rejected_files_are_listed_beside_what_came_in(
    importing: Importer, tmp_path: Path
) -> None:
    saved(film(), tmp_path / "in" / "a.dcm")
    (tmp_path / "in" / "notes.txt").write_text("hello")
    (tmp_path / "in" / "empty.dcm").write_bytes(b"")
    report = add(importing, tmp_path / "in")
    assert len(report.images) == 1
    assert {Path(one.file).name for one in report.rejected} == {"notes.txt", "empty.dcm"}


def test_progress_is_told_for_reading_and_keeping(importing: Importer, tmp_path: Path) -> None:
    for number in range(1, 4):
        saved(ct_slice(number, float(number)), tmp_path / "in" / f"{number}.dcm")
    told: list[tuple[str, int, int]] = []
    importing.add([tmp_path / "in"], LEFT, progress=lambda *step: told.append(step))
    assert ("reading", 3, 3) in told
    assert told[-1] == ("keeping", 3, 3)


def test_nothing_is_said_about_who_it_is_in_the_workspace_itself(
    opened: Workspace, importing: Importer, tmp_path: Path
) -> None:
    add(importing, saved(film(), tmp_path / "in" / "a.dcm"))
    opened.close()
    for path in (tmp_path / "workspace").rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            for trace in (b"Invented^Ida", b"Ida Invented", b"INV-7", b"19900615", b"1990-06-15"):
                assert trace not in content, path.name
