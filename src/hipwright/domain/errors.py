"""What can go wrong, as one tree.

::

    HipwrightError                 everything hipwright raises on purpose
    ├── UnitError                  a quantity was used as a bare number, or in the wrong unit
    ├── FrameMismatchError         points of two frames met in one calculation
    ├── DegenerateGeometryError    landmarks that cannot carry the construction
    ├── LandmarkError              a landmark is unknown, missing, repeated or off the picture
    ├── CalibrationError           spacing is absent, absurd or contradictory
    ├── SideError                  left and right contradict each other
    ├── VolumeError                slices do not make a volume
    ├── SurfaceError               a mesh is no closed bone
    ├── SegmentationError          no bones can be told apart in a volume
    ├── CatalogError               the catalog contradicts itself
    ├── ImportRefusedError         a file or folder cannot be taken in
    ├── IdentityError              the identity store cannot be opened or disagrees
    ├── KeepingError               the workspace cannot be read or written
    │   ├── NotFoundError          no such case, image, reading
    │   ├── StaleWriteError        somebody else saved first
    │   ├── WorkspaceVersionError  made by an older or newer hipwright
    │   └── WorkspaceBusyError     another writer holds the workspace
    └── MissingExtraError          an optional part is not installed

An error says four things: what could not be done, what was found (with its
unit), what was needed, and what to do next. The facts stay on the error as
attributes, so the web and ``--json`` can show them one by one. No error ever
carries a name, a birth date or an original identifier.
"""

from __future__ import annotations


class HipwrightError(Exception):
    """An expected failure, told in four parts.

    Parameters
    ----------
    what
        What could not be done, beginning with ``cannot``.
    found
        What was found instead, with its unit.
    needed
        What would have been needed.
    next_step
        What the reader can do now.
    field
        The input that is to blame, where one can be named.
    """

    code = "error"

    def __init__(
        self,
        what: str,
        *,
        found: str = "",
        needed: str = "",
        next_step: str = "",
        field: str | None = None,
    ) -> None:
        self.what = what
        self.found = found
        self.needed = needed
        self.next_step = next_step
        self.field = field
        super().__init__(self._sentence())

    def _sentence(self) -> str:
        body = self.what
        details = [part for part in (self._needed_part(), self._found_part()) if part]
        if details:
            body += ": " + ", but ".join(details)
        body += "."
        return f"{body} {self.next_step}".strip()

    def _needed_part(self) -> str:
        return f"needs {self.needed}" if self.needed else ""

    def _found_part(self) -> str:
        return f"found {self.found}" if self.found else ""


class UnitError(HipwrightError):
    """A quantity was used as a bare number, or its value is not finite."""

    code = "unit"


class FrameMismatchError(HipwrightError):
    """Points of two different frames met in one calculation."""

    code = "frame_mismatch"


class DegenerateGeometryError(HipwrightError):
    """The landmarks cannot carry the construction."""

    code = "degenerate_geometry"


class LandmarkError(HipwrightError):
    """A landmark is unknown, missing, repeated or off the picture."""

    code = "landmark"


class CalibrationError(HipwrightError):
    """Spacing is absent, absurd or contradictory."""

    code = "calibration"


class SideError(HipwrightError):
    """Left and right contradict each other."""

    code = "side"


class VolumeError(HipwrightError):
    """Slices do not make a volume: missing, mixed, not parallel, in no known unit."""

    code = "volume"


class SurfaceError(HipwrightError):
    """A mesh is no closed surface of a bone."""

    code = "surface"


class SegmentationError(HipwrightError):
    """No bones can be told apart in a volume."""

    code = "segmentation"


class CatalogError(HipwrightError):
    """The catalog contradicts itself or is asked for something it lacks."""

    code = "catalog"


class ImportRefusedError(HipwrightError):
    """A file or folder cannot be taken in."""

    code = "import_refused"


class IdentityError(HipwrightError):
    """The identity store cannot be opened, or disagrees."""

    code = "identity"


class KeepingError(HipwrightError):
    """The workspace cannot be read or written."""

    code = "keeping"


class NotFoundError(KeepingError):
    """There is no such case, image or reading."""

    code = "not_found"


class StaleWriteError(KeepingError):
    """Somebody else saved first; both values are shown to the reader.

    Parameters
    ----------
    kept
        The value that is kept now, with its version.
    offered
        The value that was not saved.
    """

    code = "stale_write"

    def __init__(
        self,
        what: str,
        *,
        kept: object,
        offered: object,
        found: str = "",
        needed: str = "",
        next_step: str = "",
        field: str | None = None,
    ) -> None:
        self.kept = kept
        self.offered = offered
        super().__init__(what, found=found, needed=needed, next_step=next_step, field=field)


class WorkspaceVersionError(KeepingError):
    """The workspace was made by an older or newer hipwright."""

    code = "workspace_version"


class WorkspaceBusyError(KeepingError):
    """Another writer holds the workspace."""

    code = "workspace_busy"


class MissingExtraError(HipwrightError):
    """An optional part of hipwright is not installed."""

    code = "missing_extra"
