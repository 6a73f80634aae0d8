"""The loading dock: from paths to people with images, nothing kept yet."""

from __future__ import annotations

import hashlib
import warnings
from collections.abc import Callable, Iterable
from pathlib import Path

from hipwright.adapters.dicom.assembling import Assembly
from hipwright.adapters.dicom.file_reading import looks_like_dicom, parse, pixels_sha256
from hipwright.adapters.dicom.people import People
from hipwright.adapters.dicom.pictures_shown import picture_of
from hipwright.adapters.dicom.pixel_names import PixelsInDoubtError
from hipwright.adapters.dicom.reading_room import read_file
from hipwright.domain.errors import ImportRefusedError
from hipwright.domain.keeping import Rejected
from hipwright.workflows.ports import (
    Asked,
    Delivery,
    Finder,
    FoundFile,
    IdentityKeeper,
    Picture,
    PictureFiles,
    Progress,
    Question,
    StoredFile,
)

HEAD_BYTES = 256
SMALL_BYTES = 4 << 20
"""Files up to here are read at once; of larger ones the beginning is looked at first."""


class LoadingDock:
    """Reads DICOM and ordinary pictures, wherever the finder finds them.

    Parameters
    ----------
    identities
        Opens the store that gives people their date shift and UIDs their replacement;
        asked only when something is read in, so that films can be shown without its key.
    new_id
        Makes ids for people, studies and images.
    finder
        Walks folders, archives and discs.
    pictures
        Reads PNG, JPEG and TIFF.
    """

    def __init__(
        self,
        *,
        identities: Callable[[], IdentityKeeper],
        new_id: Callable[[], str],
        finder: Finder,
        pictures: PictureFiles,
    ) -> None:
        self._identities = identities
        self._new_id = new_id
        self._finder = finder
        self._pictures = pictures

    def read(
        self,
        paths: Iterable[Path],
        *,
        progress: Progress,
        person: str | None = None,
        person_of_study: Callable[[str], str | None] | None = None,
        pixels_checked: bool = False,
    ) -> Delivery:
        """Read and de-identify everything below the paths; keep nothing."""
        people = People(
            self._identities(), self._new_id, person, person_of_study or (lambda _uid: None)
        )
        assembly = Assembly(new_id=self._new_id, people=people)
        rejected: list[Rejected] = []
        in_doubt = 0
        progress("looking for files", 0, 0)
        found = list(self._finder.find(paths))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about strangers' files: judged here, told in words
            for count, file in enumerate(found):
                progress("reading", count, len(found))
                if isinstance(file, Rejected):
                    rejected.append(file)
                    continue
                try:
                    self._take(file, assembly, people, pixels_checked=pixels_checked)
                except ImportRefusedError as problem:
                    in_doubt += isinstance(problem, PixelsInDoubtError)
                    rejected.append(Rejected(file=file.name, reason=_sentence(problem)))
                except MemoryError:
                    rejected.append(Rejected(file=file.name, reason="Too large for this machine."))
            progress("reading", len(found), len(found))
        arrivals = assembly.arrivals()
        rejected.extend(assembly.rejected)
        questions = (_doubt(in_doubt),) if in_doubt else ()
        return Delivery(arrivals=arrivals, rejected=tuple(rejected), questions=questions)

    def picture(self, content: bytes) -> Picture:
        """A stored file as gray levels with a window."""
        if self._pictures.recognizes(content[:HEAD_BYTES]):
            return self._pictures.shown(content)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return picture_of(content)

    def identify(self, content: bytes) -> StoredFile:
        """The new UID and the pixels' digest of a stored DICOM file."""
        if self._pictures.recognizes(content[:HEAD_BYTES]):
            return StoredFile(uid="", pixels_sha256=hashlib.sha256(content).hexdigest())
        dataset = parse(content)
        return StoredFile(uid=str(dataset.SOPInstanceUID), pixels_sha256=pixels_sha256(dataset))

    def _take(
        self, file: FoundFile, assembly: Assembly, people: People, *, pixels_checked: bool
    ) -> None:
        if file.size == 0:
            raise ImportRefusedError("The file is empty")
        content = file.read() if file.size <= SMALL_BYTES else None
        head = (content if content is not None else file.head(HEAD_BYTES))[:HEAD_BYTES]
        if looks_like_dicom(head):
            content = file.read() if content is None else content
            assembly.add(file.name, read_file(content, people, pixels_checked=pixels_checked))
        elif self._pictures.recognizes(head):
            content = file.read() if content is None else content
            if not pixels_checked:
                raise PixelsInDoubtError("A picture may show a name.")
            assembly.add_picture(file.name, content, self._pictures.read(content))
        else:
            raise ImportRefusedError("Neither DICOM nor a PNG, JPEG or TIFF picture")


def _sentence(problem: ImportRefusedError) -> str:
    return f"{problem.what}. {problem.next_step}".strip()


def _doubt(count: int) -> Question:
    many = "One picture" if count == 1 else f"{count} pictures"
    return Question(
        asked=Asked.PIXELS,
        text=(
            f"{many} may show a name in the pixels. Look at them; if nobody's name stands there, "
            "import again and say so."
        ),
    )
