"""The form that every table of the cellar file shares: frozen, no unknown keys, text without outer spaces."""

from __future__ import annotations

__all__ = ["SENML_NAME", "Flag", "Identifier", "Port", "Table", "Text"]

import re
from typing import Annotated, Final

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StrictBool, StrictInt, StringConstraints

# A SenML record's name: RFC 8428, section 4.5.1.
SENML_NAME: Final = re.compile(r"[A-Za-z0-9][-A-Za-z0-9:./_]*")

_IDENTIFIER: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")


class Table(BaseModel):
    """One table of the cellar file."""

    model_config = ConfigDict(frozen=True, extra="forbid", hide_input_in_errors=True)


def _identifier(text: str) -> str:
    if not _IDENTIFIER.fullmatch(text):
        raise ValueError('1 to 64 letters, digits, ".", "_" or "-", beginning with a letter or digit, such as "K1"')
    return text


def _readable(text: str) -> str:
    if any(not character.isprintable() and character not in "\n\t" for character in text):
        raise ValueError("must not hold control characters")
    return text


Text = Annotated[str, StringConstraints(strict=True, strip_whitespace=True, min_length=1), AfterValidator(_readable)]
Identifier = Annotated[str, StringConstraints(strict=True), AfterValidator(_identifier)]
Port = Annotated[StrictInt, Field(ge=1, le=65535)]
Flag = StrictBool
