"""The port ``BoneFiles``."""

from __future__ import annotations

from hipwright.adapters.bone_files.labeling import (
    edits_bytes,
    edits_from,
    labels_bytes,
    labels_from,
)
from hipwright.adapters.bone_files.surfaces import surface_bytes, surface_from
from hipwright.domain.anatomy import Surface
from hipwright.domain.frames import Frame
from hipwright.domain.volume import LabelEdits, LabelVolume


class WorkspaceBoneFiles:
    """Writes bones as files of a workspace, and reads them."""

    def surface_bytes(self, surface: Surface) -> bytes:
        """A surface as the browser reads it."""
        return surface_bytes(surface)

    def surface(self, content: bytes, frame: Frame) -> Surface:
        """The surface that a file holds."""
        return surface_from(content, frame)

    def labels_bytes(self, labels: LabelVolume) -> bytes:
        """Labels with their grid."""
        return labels_bytes(labels)

    def labels(self, content: bytes) -> LabelVolume:
        """The labels that a file holds."""
        return labels_from(content)

    def edits_bytes(self, edits: LabelEdits) -> bytes:
        """Hand edits."""
        return edits_bytes(edits)

    def edits(self, content: bytes) -> LabelEdits:
        """The hand edits that a file holds."""
        return edits_from(content)
