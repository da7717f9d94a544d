"""Every kind of picture that can be drawn, and the request to draw one, as JSON: checked where it comes in.

A new kind of page is a frozen dataclass whose field ``page`` holds its name: it becomes a part of ``Picture``, and
``child`` gets the function that paints it.
"""

from __future__ import annotations

__all__ = ["FOLDER_PREFIX", "Picture", "PictureKind", "PictureRequest", "read_request", "written_request"]

from dataclasses import dataclass
from typing import Annotated, Final, Literal

from pydantic import Field, TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from alerts.pictures.chart import Chart
from alerts.pictures.sheet import ReviewSheet
from ingest.validation_words import allowed_words

# The beginning of the name of a folder that was made for one picture, in which matplotlib keeps what it needs.
FOLDER_PREFIX: Final = "leeside-picture-"

PictureKind = Literal["png", "svg", "pdf"]
Picture = Chart | ReviewSheet


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureRequest:
    """What the child is asked for. sheet: which page of a picture that has several, from 0; a PDF holds all."""

    kind: PictureKind
    picture: Annotated[Picture, Field(discriminator="page")]
    sheet: int = 0


_REQUEST: Final = TypeAdapter(PictureRequest)


def written_request(request: PictureRequest) -> bytes:
    """Write a request as JSON, in UTF-8."""
    return _REQUEST.dump_json(request)


def read_request(document: bytes) -> PictureRequest:
    """Read a request. Raises ValueError with everything that is wrong in it."""
    try:
        return _REQUEST.validate_json(document)
    except ValidationError as error:
        raise ValueError("; ".join(map(_problem, error.errors()))) from None


def _problem(detail: ErrorDetails) -> str:
    where = ".".join(map(str, detail["loc"]))
    if detail["type"] == "json_invalid":
        return "the request is not JSON"
    return f"{where}: {allowed_words(detail)}" if where else allowed_words(detail)
