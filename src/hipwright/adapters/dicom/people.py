"""Whose files these are: one key a person within an import, one id in the workspace."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from pydicom.dataset import Dataset

from hipwright.adapters.dicom.deidentification import Disguise, parse_date, shifted
from hipwright.adapters.dicom.file_reading import refused
from hipwright.adapters.dicom.header import text, value_of
from hipwright.domain.errors import ImportRefusedError
from hipwright.domain.keeping import Identity, Person
from hipwright.workflows.ports import IdentityKeeper

SEXES = {"M", "F", "O"}


@dataclass(slots=True, kw_only=True)
class Traveler:
    """One person of this import, before it is settled who arrives."""

    id: str
    numbers: list[str]
    name: str
    birth_date: str
    sex: str | None
    shift_days: int
    disguise: Disguise
    warnings: list[str] = field(default_factory=list)

    def person(self) -> Person:
        """What the workspace may know."""
        born = parse_date(self.birth_date)
        return Person(
            id=self.id,
            sex=self.sex,
            birth_date_shifted=None if born is None else shifted(born, self.shift_days),
        )

    def identity(self) -> Identity | None:
        """What only the identity store may know; ``None`` where the files say nothing."""
        if not (self.numbers or self.name or self.birth_date):
            return None
        return Identity(
            person=self.id,
            name=readable_name(self.name),
            numbers=tuple(self.numbers),
            birth_date=parse_date(self.birth_date),
            sex=self.sex,
        )


def readable_name(name: str) -> str:
    """A DICOM name as people write it; the alphabetic form where there are several.

    >>> readable_name("Invented^Ida^Maria^Dr.^")
    'Dr. Ida Maria Invented'
    """
    alphabetic = next((form for form in name.split("=") if form.strip("^ ")), "")
    parts = [part.strip() for part in alphabetic.split("^")]
    family, given, middle, prefix, suffix = (*parts, "", "", "", "", "")[:5]
    return " ".join(part for part in (prefix, given, middle, family, suffix) if part)


@dataclass(slots=True)
class People:
    """Everybody met in one import."""

    identities: IdentityKeeper
    new_id: Callable[[], str]
    person: str | None
    person_of_study: Callable[[str], str | None]
    by_key: dict[tuple[str, ...], Traveler] = field(default_factory=dict)
    _uids: dict[str, str] = field(default_factory=dict)

    def new_uid(self, original: str) -> str:
        """The UID that stands for an original one."""
        if original not in self._uids:
            self._uids[original] = self.identities.remapped_uid(original)
        return self._uids[original]

    def of(self, dataset: Dataset) -> Traveler:
        """Whose data set this is.

        Raises
        ------
        ImportRefusedError
            The same number stands for another birth date, here or in the workspace.
        """
        number, issuer = text(dataset, "PatientID"), text(dataset, "IssuerOfPatientID")
        name, born = text(dataset, "PatientName"), text(dataset, "PatientBirthDate")
        study = text(dataset, "StudyInstanceUID")
        key = (
            ("number", number, issuer)
            if number
            else ("name", name.lower(), born)
            if name.strip("^ ") and born
            else ("study", study)
        )
        traveler = self.by_key.get(key)
        if traveler is None:
            sex = text(dataset, "PatientSex").upper()
            numbers = [f"{number} ({issuer})" if issuer else number] if number else []
            traveler = self._met(numbers, name, born, sex if sex in SEXES else None, study)
            self.by_key[key] = traveler
        elif born and traveler.birth_date and parse_date(born) != parse_date(traveler.birth_date):
            raise refused("The same patient number stands here for another birth date.")
        return traveler

    def nameless(self) -> Traveler:
        """Whoever ordinary pictures belong to, which carry no header."""
        key = ("picture",)
        if key not in self.by_key:
            self.by_key[key] = self._met([], "", "", None, "")
        return self.by_key[key]

    def _met(
        self, numbers: list[str], name: str, born: str, sex: str | None, study: str
    ) -> Traveler:
        known = self._known(numbers, study)
        if known is not None and self.person is not None and known != self.person:
            raise ImportRefusedError(
                "The files belong to another person than the case",
                next_step="Leave out the case code, or name a case of this person.",
                field="case",
            )
        person = known or self.person
        if person is not None:
            self._agree(person, born)
        id_ = person or self.new_id()
        shift = self.identities.date_shift_days(id_)
        disguise = Disguise(patient_id=id_, shift_days=shift, new_uid=self.new_uid)
        return Traveler(
            id=id_,
            numbers=numbers,
            name=name,
            birth_date=born,
            sex=sex,
            shift_days=shift,
            disguise=disguise,
        )

    def _known(self, numbers: list[str], study: str) -> str | None:
        for number in numbers:
            found = self.identities.find(number=number)
            if found is not None:
                return found
        return self.person_of_study(self.new_uid(study)) if study and not numbers else None

    def _agree(self, person: str, born: str) -> None:
        identity = self.identities.of(person)
        if identity is None or identity.birth_date is None or not born:
            return
        if parse_date(born) not in {None, identity.birth_date}:
            raise ImportRefusedError(
                "The patient number is known, but with another birth date",
                next_step="Check whose files these are; correct the wrong one at its source.",
                field="birth_date",
            )


def study_of(dataset: Dataset) -> str:
    """The original study UID, or the series' where a sender gave none."""
    return str(
        value_of(dataset, "StudyInstanceUID") or value_of(dataset, "SeriesInstanceUID") or ""
    )
