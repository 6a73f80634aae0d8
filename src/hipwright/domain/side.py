"""Left and right. Only the border (``engines.anatomy.canonical``) asks for it."""

from __future__ import annotations

from enum import Enum

from hipwright.domain.errors import SideError


class Side(Enum):
    """The side of the patient's body, never of the picture."""

    LEFT = "left"
    RIGHT = "right"

    @property
    def opposite(self) -> Side:
        """The other side."""
        return Side.RIGHT if self is Side.LEFT else Side.LEFT

    @classmethod
    def parse(cls, text: str) -> Side:
        """Read ``left``/``right`` or DICOM's ``L``/``R``, in any case.

        Raises
        ------
        SideError
            The text names neither side.
        """
        match text.strip().lower():
            case "l" | "left":
                return cls.LEFT
            case "r" | "right":
                return cls.RIGHT
            case _:
                raise SideError(
                    "cannot read a side",
                    found=repr(text),
                    needed="left or right",
                    next_step="Say which hip is meant.",
                    field="side",
                )

    def __str__(self) -> str:
        return self.value
