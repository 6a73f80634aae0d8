"""From single files to images: films one by one, slices as ordered series."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from hipwright.adapters.dicom.file_reading import stored_sha256
from hipwright.adapters.dicom.people import People, Traveler
from hipwright.adapters.dicom.proposals import Proposal, side_question, view_question
from hipwright.adapters.dicom.reading_room import ReadFile
from hipwright.adapters.dicom.series import Entry, stacks_of
from hipwright.adapters.dicom.spool import Spool, SpooledContents
from hipwright.domain.keeping import Image, ImageKind, Laterality, Rejected, Study
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, Posture, View
from hipwright.workflows.ports import Arrival, ArrivingImage, Asked, GrayFile, Question


@dataclass(slots=True)
class Party:
    """One person's files so far."""

    traveler: Traveler
    studies: dict[str, Study] = field(default_factory=dict)
    groups: dict[tuple[object, ...], list[Entry]] = field(default_factory=dict)
    pictures: list[ArrivingImage] = field(default_factory=list)
    sides_meant: set[Side] = field(default_factory=set)


@dataclass(slots=True)
class Assembly:
    """Collects the files of one import and makes images of them."""

    new_id: Callable[[], str]
    people: People
    rejected: list[Rejected] = field(default_factory=list)
    _spool: Spool = field(default_factory=Spool)
    _parties: dict[str, Party] = field(default_factory=dict)
    _seen: dict[str, tuple[int, int]] = field(default_factory=dict)

    def add(self, name: str, file: ReadFile) -> None:
        """Take in one DICOM file; a second one with the same UID must have the same pixels."""
        before = self._seen.get(file.uid)
        if before is not None:
            kept = self._spool.get(before)
            if file.content != kept and stored_sha256(file.content) != stored_sha256(kept):
                reason = "Another file has the same SOP Instance UID but other pixels."
                self.rejected.append(Rejected(file=name, reason=reason))
            return  # the same picture twice in one import
        party = self._party(file.traveler)
        place = self._spool.put(file.content)
        self._seen[file.uid] = place
        party.groups.setdefault(file.series_key, []).append(
            (replace(file, content=b"", name=name), place)
        )
        if file.study_uid not in party.studies:
            party.studies[file.study_uid] = Study(
                id=self.new_id(),
                person=file.traveler.id,
                acquired_on=file.study_date,
                label=file.study_label,
                source_uid=file.study_uid,
            )
        if file.proposal.side_meant is not None:
            party.sides_meant.add(file.proposal.side_meant)

    def add_picture(self, name: str, original: bytes, gray: GrayFile) -> None:
        """Take in one ordinary picture. Its UID is made from its content: the same each time."""
        digest = hashlib.sha256(original).digest()
        uid = self.people.new_uid(f"2.25.{int.from_bytes(digest[:16], 'big')}")
        if uid in self._seen:
            return
        self._seen[uid] = place = self._spool.put(gray.stored)
        traveler = self.people.nameless()
        party = self._party(traveler)
        study = Study(
            id=self.new_id(), person=traveler.id, acquired_on=None, label="", source_uid=uid
        )
        image = Image(
            id=self.new_id(),
            study=study.id,
            person=traveler.id,
            kind=ImageKind.PICTURE,
            modality="OT",
            view=View.OTHER,
            laterality=Laterality.UNKNOWN,
            posture=Posture.UNKNOWN,
            calibration=Calibration.uncalibrated(),
            columns=gray.columns,
            rows=gray.rows,
            files=(),
            acquired_on=None,
            source_uids=(uid,),
        )
        contents = SpooledContents(self._spool, [place])
        party.pictures.append(
            ArrivingImage(image=image, study=study, contents=contents, names=(name,))
        )

    def arrivals(self) -> tuple[Arrival, ...]:
        """Everybody with their images, in the order they were met."""
        return tuple(self._arrival(party) for party in self._parties.values())

    def _party(self, traveler: Traveler) -> Party:
        return self._parties.setdefault(traveler.id, Party(traveler))

    def _arrival(self, party: Party) -> Arrival:
        images: list[ArrivingImage] = []
        questions: list[Question] = []
        for files in party.groups.values():
            for part, warnings in stacks_of(files):
                image = self._image(party, part, warnings)
                images.append(image)
                questions.extend(_questions(image.image, part[0][0].proposal))
        for picture in party.pictures:
            images.append(picture)
            questions.append(
                Question(
                    asked=Asked.VIEW,
                    text="Which view is it, and which hip?",
                    image=picture.image.id,
                )
            )
        images.sort(key=_when)
        return Arrival(
            person=party.traveler.person(),
            identity=party.traveler.identity(),
            images=tuple(images),
            questions=tuple(questions),
            warnings=tuple(party.traveler.warnings),
            sides_meant=frozenset(party.sides_meant),
        )

    def _image(
        self, party: Party, part: Sequence[Entry], warnings: tuple[str, ...]
    ) -> ArrivingImage:
        first = part[0][0]
        proposal = first.proposal
        study = party.studies[first.study_uid]
        said = [text for file, _ in part for text in (*file.warnings, *file.calibrated.warnings)]
        image = Image(
            id=self.new_id(),
            study=study.id,
            person=party.traveler.id,
            kind=first.kind,
            modality=first.modality,
            view=proposal.view,
            laterality=proposal.laterality,
            posture=proposal.posture,
            calibration=first.calibrated.calibration,
            columns=first.form.columns,
            rows=first.form.rows,
            files=(),
            acquired_on=first.acquired_on,
            patient_right_at_image_left=proposal.patient_right_at_image_left,
            anterior_at_image_right=proposal.anterior_at_image_right,
            warnings=tuple(dict.fromkeys((*said, *warnings))),
            source_uids=tuple(file.uid for file, _ in part),
        )
        contents = SpooledContents(self._spool, [place for _, place in part])
        names = tuple(file.name for file, _ in part)
        return ArrivingImage(image=image, study=study, contents=contents, names=names)


def _when(arriving: ArrivingImage) -> tuple[str, str]:
    image = arriving.image
    return (str(image.acquired_on or "9999"), image.id)


def _questions(image: Image, proposal: Proposal) -> list[Question]:
    asked = ((Asked.VIEW, view_question(proposal)), (Asked.SIDE, side_question(proposal)))
    return [Question(asked=kind, text=text, image=image.id) for kind, text in asked if text]
