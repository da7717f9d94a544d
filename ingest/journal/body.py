"""What every body of an entry shares: frozen, no unknown keys, strict types.

Amounts are in the unit that the name ends in.
"""

from __future__ import annotations

__all__ = ["Amount", "Body", "Id", "Moment", "Percent", "Positive", "Words"]

import unicodedata
from typing import Annotated, Final

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints

from ingest.cellar import Identifier

_LONGEST: Final = 2000


class Body(BaseModel):
    """What an entry of one kind says. Times are UTC milliseconds."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        strict=True,
        allow_inf_nan=False,
        hide_input_in_errors=True,
        str_strip_whitespace=True,
    )


def _readable(text: str) -> str:
    # A space that does not break is one that people paste, and as good as any other.
    if any(not (one.isprintable() or one in "\n\t" or unicodedata.category(one) == "Zs") for one in text):
        raise ValueError("must not hold control characters")
    return text


Words = Annotated[str, StringConstraints(min_length=1, max_length=_LONGEST), AfterValidator(_readable)]
Id = Identifier
# Larger than any amount that is written down in a cellar, and still a number that can be reckoned with.
Amount = Annotated[float, Field(ge=0.0, le=1e6)]
Positive = Annotated[float, Field(gt=0.0, le=1e6)]
Percent = Annotated[float, Field(ge=0.0, le=100.0)]
Moment = Annotated[int, Field(ge=0, le=253_402_300_799_999)]
