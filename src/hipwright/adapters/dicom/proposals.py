"""What a header proposes about view, side and posture, and how sure that is.

Nothing here decides: a proposal below :data:`SURE` becomes a question.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from pydicom.dataset import Dataset

from hipwright.adapters.dicom.header import text, value_of
from hipwright.adapters.dicom.trade_words import folded, meanings_in
from hipwright.domain.keeping import Laterality
from hipwright.domain.side import Side
from hipwright.domain.study import VIEW_NAMES, Posture, View

SURE = 0.7
"""From here on a proposal is taken without asking (judgment)."""

DESCRIPTIONS = (
    "SeriesDescription",
    "ProtocolName",
    "AcquisitionDeviceProcessingDescription",
    "PerformedProcedureStepDescription",
    "StudyDescription",
)
"""Nearest to the single film first."""

FRONTAL = {"AP", "PA"}
SIDEWAYS = {"LL", "RL", "LLD", "RLD", "LLO", "RLO", "LAT", "LATERAL", "ML", "LM", "AXIAL"}
BOTH_HIPS = {"PELVIS"}
ONE_HIP = {"HIP", "FEMUR", "THIGH", "LEG"}
ELSEWHERE = {"CHEST", "KNEE", "SKULL", "HAND", "FOOT", "ANKLE", "SHOULDER", "BREAST", "HEAD"}

SIDE_CODES = {
    "7771000": Laterality.LEFT,
    "24028007": Laterality.RIGHT,
    "51440002": Laterality.BOTH,
    "G-A101": Laterality.LEFT,
    "G-A100": Laterality.RIGHT,
    "G-A102": Laterality.BOTH,
}
"""PS3.16 CID 244, SNOMED CT and its older identifiers (memory)."""

VIEW_CODES = {
    "399348003": "AP",
    "R-10206": "AP",
    "272479007": "PA",
    "R-10214": "PA",
    "399033003": "AP",
    "399067008": "LATERAL",
    "399173006": "LL",
    "399198007": "RL",
    "399061009": "AXIAL",
}
"""PS3.16 CID 4010, as in pydicom's dictionary."""

_LETTER = re.compile(r"(?<![^\s_(])(L|R)(?![^\s_)])")
"""A capital L or R on its own; not the L of "L-spine" or "l'hanche"."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """What the header says, with what speaks for and against it."""

    view: View
    view_confidence: float
    laterality: Laterality
    laterality_confidence: float
    posture: Posture
    side_meant: Side | None = None
    patient_right_at_image_left: bool = True
    anterior_at_image_right: bool | None = None
    warnings: tuple[str, ...] = field(default=())


def propose(dataset: Dataset, modality: str) -> Proposal:
    """View, side and posture of one film or slice."""
    said = [folded(text(dataset, keyword)) for keyword in DESCRIPTIONS]
    warnings: list[str] = []
    if modality in {"CT", "MR"}:
        view, sure = (View.CT if modality == "CT" else View.MR), 1.0
    else:
        view, sure = _view(dataset, said)
    laterality, side_sure = _laterality(dataset, said, view, warnings)
    mirrored, anterior = _orientation(dataset, view, warnings)
    return Proposal(
        view=view,
        view_confidence=sure,
        laterality=laterality,
        laterality_confidence=side_sure,
        posture=_posture(said),
        side_meant=_side_in_words(dataset, said),
        patient_right_at_image_left=not mirrored,
        anterior_at_image_right=anterior,
        warnings=tuple(warnings),
    )


def _view(dataset: Dataset, said: list[tuple[str, ...]]) -> tuple[View, float]:
    projection = _projection(dataset)
    part = text(dataset, "BodyPartExamined").upper()
    if part in ELSEWHERE:
        return View.OTHER, 0.9
    for place, words in enumerate(said):
        meanings = meanings_in(words, "views")
        if meanings:
            return _from_words(meanings[0][0], words, projection, last=place == len(said) - 1)
    return _from_codes(part, projection)


def _from_codes(part: str, projection: str) -> tuple[View, float]:
    if part in BOTH_HIPS and projection in FRONTAL:
        return View.PELVIS_AP, 0.9
    if part in BOTH_HIPS and not projection:
        return View.PELVIS_AP, 0.5
    if part in BOTH_HIPS | ONE_HIP and projection in SIDEWAYS:
        return View.LATERAL_OTHER, 0.7
    return View.OTHER, 0.3


def _from_words(
    meaning: str, words: tuple[str, ...], projection: str, *, last: bool
) -> tuple[View, float]:
    view = View(meaning)
    if view is View.PELVIS_AP and projection in SIDEWAYS:
        return View.LATERAL_OTHER, 0.6
    if view is View.PELVIS_AP:
        frontal = projection in FRONTAL or {"ap", "face", "frontal", "frente"} & set(words)
        sure = 0.9 if frontal else 0.7
    else:
        sure = 0.9 if view in {View.DUNN_45, View.FALSE_PROFILE} else 0.8
        if view is View.LATERAL_OTHER and projection in FRONTAL:
            sure = 0.5
    return view, min(sure, 0.6) if last else sure  # the study's name covers all its films


def _projection(dataset: Dataset) -> str:
    for item in value_of(dataset, "ViewCodeSequence") or ():
        known = VIEW_CODES.get(text(item, "CodeValue"))
        if known:
            return known
    return text(dataset, "ViewPosition").upper()


def _laterality(
    dataset: Dataset, said: list[tuple[str, ...]], view: View, warnings: list[str]
) -> tuple[Laterality, float]:
    if view is View.PELVIS_AP:
        return Laterality.BOTH, 0.95
    header = _header_laterality(dataset)
    words = _side_in_words(dataset, said)
    one_side = header in {Laterality.LEFT, Laterality.RIGHT}
    if one_side and words is not None and header.value != words.value:
        warnings.append(
            f"Left and right contradict each other: the header's laterality says "
            f"{header.value}, its description says {words.value}."
        )
        return Laterality.UNKNOWN, 0.0
    if header is not Laterality.UNKNOWN:
        return header, 0.9
    if words is not None:
        return Laterality(words.value), 0.8
    if any(meaning == "both" for part in said for meaning, _ in meanings_in(part, "sides")):
        return Laterality.BOTH, 0.8
    # Of slices nothing is asked: they tell by themselves.
    return Laterality.UNKNOWN, 1.0 if view in {View.CT, View.MR} else 0.0


def _header_laterality(dataset: Dataset) -> Laterality:
    letters = {"L": Laterality.LEFT, "R": Laterality.RIGHT, "B": Laterality.BOTH}
    for keyword in ("ImageLaterality", "Laterality"):
        found = letters.get(text(dataset, keyword).upper()[:1])
        if found is not None:
            return found
    for region in value_of(dataset, "AnatomicRegionSequence") or ():
        for item in value_of(region, "AnatomicRegionModifierSequence") or ():
            found = SIDE_CODES.get(text(item, "CodeValue"))
            if found is not None:
                return found
    return Laterality.UNKNOWN


def _side_in_words(dataset: Dataset, said: list[tuple[str, ...]]) -> Side | None:
    """The one side the nearest description names, if it names one."""
    for keyword, words in zip(DESCRIPTIONS, said, strict=True):
        named = {meaning for meaning, _ in meanings_in(words, "sides")}
        letters = set(_LETTER.findall(text(dataset, keyword)))
        named |= {{"L": "left", "R": "right"}[letter] for letter in letters}
        if len(named) == 1 and "both" not in named:
            return Side.parse(named.pop())
        if named:
            return None
    return None


def _posture(said: list[tuple[str, ...]]) -> Posture:
    for words in said:
        found = meanings_in(words, "postures")
        if found:
            return Posture(found[0][0])
    return Posture.UNKNOWN


def _orientation(dataset: Dataset, view: View, warnings: list[str]) -> tuple[bool, bool | None]:
    r"""Whether the film is mirrored, and where the front is (PS3.3 C.7.6.1.1.1).

    Patient Orientation names the anatomical direction of the rows and of the
    columns: ``L\F`` is the usual way to show a frontal film.
    """
    row, _, column = text(dataset, "PatientOrientation").upper().partition("\\")
    if not row or not column or not view.is_film:
        return False, None
    if column[0] == "H":
        warnings.append("The film stands on its head: its columns run toward the head.")
    elif column[0] != "F":
        warnings.append("The film lies on its side: its columns do not run toward the feet.")
    mirrored = row[0] == "R"
    if mirrored:
        warnings.append("The film is mirrored: the patient's left is at the left of the picture.")
    anterior = {"A": True, "P": False}.get(row[0])
    if view in {View.FALSE_PROFILE, View.LATERAL_OTHER} and anterior is None:
        anterior = {"A": True, "P": False}.get(row[1:2])
    return mirrored, anterior


def view_question(proposal: Proposal) -> str | None:
    """What to ask about the view, or nothing."""
    if proposal.view_confidence >= SURE:
        return None
    if proposal.view is View.OTHER:
        return "Which view is it? The header does not say."
    return f"Which view is it? The header suggests: {VIEW_NAMES[proposal.view]}."


def side_question(proposal: Proposal) -> str | None:
    """What to ask about the side, or nothing."""
    if proposal.laterality_confidence >= SURE:
        return None
    return "Which hip does it show? The header does not say, or contradicts itself."
