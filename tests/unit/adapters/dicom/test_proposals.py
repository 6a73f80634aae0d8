"""View, side and posture proposed from headers (trade words: common practice)."""

from typing import Any

import pytest
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence

from hipwright.adapters.dicom.proposals import SURE, propose, side_question, view_question
from hipwright.domain.keeping import Laterality
from hipwright.domain.side import Side
from hipwright.domain.study import Posture, View


def header(**values: Any) -> Dataset:
    d = Dataset()
    for keyword, value in values.items():
        setattr(d, keyword, value)
    return d


@pytest.mark.parametrize(
    ("description", "view"),
    [
        ("Pelvis AP", View.PELVIS_AP),
        ("Beckenübersicht", View.PELVIS_AP),
        ("Becken a.p. stehend", View.PELVIS_AP),
        ("Bassin de face", View.PELVIS_AP),
        ("BACINO AP", View.PELVIS_AP),
        ("Hip L Dunn 45", View.DUNN_45),
        ("Hüfte re Dunn", View.DUNN_45),
        ("Hanche faux profil de Lequesne", View.FALSE_PROFILE),
        ("False profile right", View.FALSE_PROFILE),
        ("Hip 90 Dunn", View.LATERAL_OTHER),
        ("Cross-table lateral", View.LATERAL_OTHER),
        ("Hüfte links Lauenstein", View.LATERAL_OTHER),
        ("Frog leg", View.LATERAL_OTHER),
        ("Knie ap", View.OTHER),
    ],
)
def test_views_are_read_from_descriptions_of_several_languages(
    description: str, view: View
) -> None:
    proposal = propose(header(SeriesDescription=description), "DX")
    assert proposal.view is view
    assert proposal.view_confidence >= SURE
    assert view_question(proposal) is None


def test_the_nearest_description_beats_the_name_of_the_study() -> None:
    found = propose(
        header(SeriesDescription="Dunn 45 links", StudyDescription="Becken ap und Hüfte axial"),
        "CR",
    )
    assert found.view is View.DUNN_45


def test_the_name_of_the_study_alone_is_asked_about() -> None:
    found = propose(header(StudyDescription="Becken und Hüfte"), "CR")
    assert found.view is View.PELVIS_AP
    question = view_question(found)
    assert question is not None
    assert "AP pelvis" in question


def test_a_header_without_words_is_asked_about() -> None:
    found = propose(header(), "DX")
    assert view_question(found) is not None
    assert side_question(found) is not None


def test_a_view_code_of_the_standard_is_understood() -> None:
    # PS3.16 CID 4010: 399348003 antero-posterior (R-10206 in older files).
    for value, scheme in (("399348003", "SCT"), ("R-10206", "SRT")):
        item = header(CodeValue=value, CodingSchemeDesignator=scheme, CodeMeaning="x")
        found = propose(header(ViewCodeSequence=Sequence([item]), BodyPartExamined="PELVIS"), "DX")
        assert found.view is View.PELVIS_AP
        assert found.view_confidence >= SURE


@pytest.mark.parametrize(
    ("values", "side"),
    [
        ({"ImageLaterality": "L"}, Laterality.LEFT),
        ({"Laterality": "R"}, Laterality.RIGHT),
        ({"ImageLaterality": "B"}, Laterality.BOTH),
        ({"ProtocolName": "Hüfte rechts axial"}, Laterality.RIGHT),
        ({"ProtocolName": "Hanche gauche"}, Laterality.LEFT),
        ({"ProtocolName": "HIP LAT L"}, Laterality.LEFT),
        ({"ProtocolName": "Cadera izquierda"}, Laterality.LEFT),
        ({"ProtocolName": "Heup rechts"}, Laterality.RIGHT),
        ({"ProtocolName": "Hips bilateral Dunn"}, Laterality.BOTH),
    ],
)
def test_sides_are_read_from_codes_and_words(values: dict[str, str], side: Laterality) -> None:
    assert propose(header(**values), "DX").laterality is side


@pytest.mark.parametrize("text", ["L-spine", "Radiographie de l'hanche", "Hip standard", "Dunn"])
def test_a_letter_inside_a_word_is_no_side(text: str) -> None:
    assert propose(header(SeriesDescription=text), "DX").laterality is Laterality.UNKNOWN


def test_left_and_right_that_contradict_each_other_are_named_and_asked() -> None:
    found = propose(header(ImageLaterality="L", SeriesDescription="Dunn right"), "DX")
    assert found.laterality is Laterality.UNKNOWN
    assert "left" in found.warnings[0]
    assert "right" in found.warnings[0]
    assert side_question(found) is not None


def test_an_ap_pelvis_shows_both_hips_and_remembers_the_side_meant() -> None:
    found = propose(header(SeriesDescription="Becken ap", StudyDescription="Hüfte links"), "DX")
    assert found.laterality is Laterality.BOTH
    assert found.side_meant is Side.LEFT


@pytest.mark.parametrize(
    ("text", "posture"),
    [
        ("Pelvis AP standing", Posture.STANDING),
        ("Becken ap im Stehen", Posture.STANDING),
        ("Bassin en charge", Posture.STANDING),
        ("Pelvis AP supine", Posture.SUPINE),
        ("Becken liegend", Posture.SUPINE),
        ("Pelvis AP", Posture.UNKNOWN),
    ],
)
def test_posture_is_read_from_words(text: str, posture: Posture) -> None:
    assert propose(header(SeriesDescription=text), "DX").posture is posture


def test_the_usual_orientation_of_a_frontal_film_is_not_mirrored() -> None:
    # PS3.3 C.7.6.1.1.1: rows run to the patient's left, columns to the feet.
    found = propose(header(SeriesDescription="Pelvis AP", PatientOrientation=["L", "F"]), "DX")
    assert found.patient_right_at_image_left
    assert found.warnings == ()


@pytest.mark.parametrize(
    ("orientation", "word"),
    [(["R", "F"], "mirrored"), (["R", "H"], "head"), (["F", "L"], "side")],
)
def test_a_mirrored_or_turned_film_is_told(orientation: list[str], word: str) -> None:
    found = propose(header(SeriesDescription="Pelvis AP", PatientOrientation=orientation), "DX")
    assert any(word in warning for warning in found.warnings)
    assert found.patient_right_at_image_left == (orientation[0] != "R")


@pytest.mark.parametrize(
    ("row", "anterior"), [("A", True), ("P", False), ("AR", True), ("L", None)]
)
def test_the_front_of_a_false_profile_is_where_the_rows_run(
    row: str, anterior: bool | None
) -> None:
    found = propose(
        header(SeriesDescription="False profile L", PatientOrientation=[row, "F"]), "DX"
    )
    assert found.anterior_at_image_right is anterior


def test_slices_are_not_asked_about_their_side() -> None:
    found = propose(header(SeriesDescription="Hip bone"), "CT")
    assert found.view is View.CT
    assert view_question(found) is None
    assert side_question(found) is None
