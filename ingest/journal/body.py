"""What every body of an entry shares: strict types, what it names and finds, and how it is read from plain data.

Amounts are in the unit that the name ends in.
"""

from __future__ import annotations

__all__ = [
    "BESIDE_FACTS",
    "LARGEST_AMOUNT",
    "Amount",
    "Body",
    "BodyPart",
    "BodyWrong",
    "Count",
    "Id",
    "Moment",
    "Percent",
    "Positive",
    "Result",
    "Words",
    "body_data",
    "read_body",
    "shown",
]

import json
import unicodedata
from collections.abc import Callable, Mapping
from typing import Annotated, Any, Final, NamedTuple, Self, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from ingest.cellar import Identifier
from ingest.errors import EntryRefused, Problem
from ingest.validation_words import allowed_words

_LONGEST: Final = 2000


class Result(NamedTuple):
    """A number that an entry adds to a history. quantity: free_so2, total_so2, pH, temperature, ...; u: standard
    uncertainty, None where nobody gave it; both in the unit, which is "" for a bare number.
    """

    quantity: str
    value: float
    u: float | None
    unit: str


class BodyPart(BaseModel):
    """A part of a body, such as one flask of a titration. Times are UTC milliseconds."""

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
    if any(not (each.isprintable() or each in "\n\t" or unicodedata.category(each) == "Zs") for each in text):
        raise ValueError("must not hold control characters")
    return text


Words = Annotated[str, StringConstraints(min_length=1, max_length=_LONGEST), AfterValidator(_readable)]
Id = Identifier
# Larger than any amount that is written down in a cellar, and still a number that can be reckoned with.
LARGEST_AMOUNT: Final = 1e6
Amount = Annotated[float, Field(ge=0.0, le=LARGEST_AMOUNT)]
Positive = Annotated[float, Field(gt=0.0, le=LARGEST_AMOUNT)]
Percent = Annotated[float, Field(ge=0.0, le=100.0)]
Count = Annotated[int, Field(ge=1, le=1_000_000)]
Moment = Annotated[int, Field(ge=0, le=253_402_300_799_999)]


class TypedAmount(BodyPart):
    """An amount as somebody typed it, in another unit than the body keeps: the answer to this question."""

    question: Words
    text: Words


class Body(BodyPart):
    """What an entry of one kind says. Times are UTC milliseconds.

    warnings: what could hardly be, and was written all the same; notes: what else was shown with it, such as that a
    result is an upper bound. Both are worked out when it is written. typed: amounts in the units in which they were
    typed.
    """

    warnings: tuple[Words, ...] = ()
    notes: tuple[Words, ...] = ()
    typed: tuple[TypedAmount, ...] = ()

    @property
    def places(self) -> tuple[str, ...]:
        """The vessels that it names, beside the place of its entry."""
        return ()

    @property
    def place_keys(self) -> tuple[str, ...]:
        """Where in the body each of its places is named."""
        return ("vessel",) * len(self.places)

    @property
    def results(self) -> tuple[Result, ...]:
        """The numbers that it adds to histories."""
        return ()

    def renamed(self, name_now: Callable[[str], str]) -> Self:
        """Give the body with its vessels called as they are now."""
        return self


BESIDE_FACTS: Final[Mapping[str, tuple[()]]] = dict.fromkeys(Body.model_fields, ())
"""The keys of every body, each empty: entries that differ in these alone say the same."""


class BodyWrong(EntryRefused):
    """A body with mistakes: ``problems``, each with key, value and what is allowed."""


_B = TypeVar("_B", bound=Body)


def read_body(model: type[_B], kind: str, data: Mapping[str, Any]) -> _B:
    """Read a body from plain data: texts, numbers, lists and tables, amounts in our units. kind: the entry's.

    Raises BodyWrong with every mistake, each with the key it is at (``sources.0.volume_l``), the value and what is
    allowed.
    """
    try:
        # As JSON, so that a list is taken for what is kept as a tuple, and all else stays strict.
        text = json.dumps(dict(data), allow_nan=False)
    except (TypeError, ValueError) as error:
        raise BodyWrong(
            [Problem(kind, "", "", f"cannot be written down ({error}); give texts and finite numbers")]
        ) from None
    try:
        return model.model_validate_json(text)
    except ValidationError as error:
        errors = _innermost(error.errors(include_url=False))
        raise BodyWrong([_problem(model, kind, each, data) for each in errors]) from None


def body_data(body: Body) -> str:
    """Give the body as JSON, without what nobody said."""
    return body.model_dump_json(exclude_defaults=True)


def shown(value: object) -> str:
    """Give a value as a message shows it, cut short."""
    text = json.dumps(value, ensure_ascii=False, default=str)
    # Half a character cannot be printed.
    text = text.encode("utf-8", "backslashreplace").decode("utf-8")
    return text if len(text) <= 60 else text[:57] + "..."


def _innermost(errors: list[Any]) -> list[Any]:
    """The errors without those that only follow from another one deeper in."""
    locations = [error["loc"] for error in errors]
    return [
        error
        for error in errors
        if not any(
            len(location) > len(error["loc"]) and location[: len(error["loc"])] == error["loc"]
            for location in locations
        )
    ]


def _problem(model: type[Body], kind: str, error: Any, data: Mapping[str, Any]) -> Problem:
    key = ".".join(str(part) for part in error["loc"])
    message = allowed_words(error)
    if error["type"] == "extra_forbidden":
        asked = [name for name in model.model_fields if name not in Body.model_fields]
        allowed = ", ".join(asked) if len(error["loc"]) == 1 else ""
        message = "there is no such key" + (f"; there are: {allowed}" if allowed else "")
    return Problem(kind, key, _value_at(data, error["loc"]), message)


def _value_at(data: Any, location: tuple[int | str, ...]) -> str:
    value = data
    for part in location:
        try:
            value = value[part]
        except (KeyError, IndexError, TypeError):
            return ""
    return shown(value) if location else ""
