"""The envelope all documents share, and the error document."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from hipwright import __version__
from hipwright.domain.errors import HipwrightError

CAUTION = (
    "For use by licensed clinicians as one input. Not a medical device. Not validated on "
    "clinical images: checked on simulated images of real and modeled bones. Local protocols "
    "and the treating surgeon's judgment prevail."
)
"""What every document, screen and export that bears a number carries."""

SOFTWARE = f"hipwright {__version__}"


class WireModel(BaseModel):
    """Base of all wire models: nothing unknown comes in, nothing changes afterward."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class ErrorBody(WireModel):
    """One refusal, in the shape the web and ``--json`` share."""

    code: str
    message: str
    field: str | None = None
    help: str = ""


class ErrorDocument(WireModel):
    """What ``--json`` prints when a command fails."""

    format: Literal["hipwright.error"] = "hipwright.error"
    version: Literal[1] = 1
    software: str = SOFTWARE
    error: ErrorBody


def error_document(error: HipwrightError) -> ErrorDocument:
    """Make an error document from an error."""
    body = ErrorBody(code=error.code, message=str(error), field=error.field, help=error.next_step)
    return ErrorDocument(error=body)


Ratio = Annotated[float, Field(ge=0, le=1)]


def as_json(document: BaseModel) -> str:
    """A document as it is printed: indented, keys in the order of the model."""
    return document.model_dump_json(indent=2, exclude_none=True, by_alias=True)


def schema_of(model: type[BaseModel]) -> dict[str, Any]:
    """The JSON Schema of a document."""
    return model.model_json_schema(mode="serialization", by_alias=True)


class ReportDocument(WireModel):
    """What ``hipwright report --json`` prints."""

    format: Literal["hipwright.report"] = "hipwright.report"
    version: Literal[1] = 1
    case: str
    software: str = SOFTWARE
    file: str
    films: int


class ServingDocument(WireModel):
    """What ``hipwright serve --json`` and ``hipwright demo --json`` print once they listen."""

    format: Literal["hipwright.serving"] = "hipwright.serving"
    version: Literal[1] = 1
    software: str = SOFTWARE
    start_link: str
    certificate_sha256: str | None = None
