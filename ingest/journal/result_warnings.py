"""What speaks against a titration: warnings beside the number, and refusals instead of one."""

from __future__ import annotations

__all__ = ["Field", "ResultWarning", "ResultWarningKind", "TitrationRefused", "notes_and_warnings"]

from collections.abc import Iterable
from enum import StrEnum
from typing import Final, Literal, NamedTuple

# What of a titration a refusal is about; command and forms turn it into the name of their option or box.
Field = Literal["method", "titre", "blank", "sample", "strength", "factor", "burette", "end point"]


class ResultWarningKind(StrEnum):
    """What a warning is about: to be counted and tested by. People read the warning's text."""

    BELOW_BLANK = "below the blank"
    UPPER_BOUND = "upper bound"
    UNKNOWN_STYLE = "style unknown"
    IMPLAUSIBLE_RESULT = "implausible result"
    BEYOND_BURETTE = "titre beyond the burette"
    UNUSUAL_SAMPLE = "unusual sample volume"
    UNUSUAL_STRENGTH = "unusual titrant strength"
    FLASKS_DISAGREE = "flasks disagree"
    FACTOR = "factor far from 1"
    STALE_FACTOR = "factor out of date"
    BOTTLE_DATES = "dates of the bottle"
    LARGE_BLANK = "large blank"
    END_POINT = "end point"


# What holds of a result that was read and written down rightly; the others speak of a slip or of a bottle gone off.
_NOTES: Final = frozenset(
    {
        ResultWarningKind.UPPER_BOUND,
        ResultWarningKind.UNKNOWN_STYLE,
        ResultWarningKind.STALE_FACTOR,
        ResultWarningKind.END_POINT,
    }
)


class ResultWarning(NamedTuple):
    """One thing that a person should know about a result; text: one sentence, values with units, what to do."""

    kind: ResultWarningKind
    text: str

    @property
    def is_note(self) -> bool:
        """Whether it says how to read the result, and not that something may be wrong with it."""
        return self.kind in _NOTES


def notes_and_warnings(found: Iterable[ResultWarning]) -> tuple[list[str], tuple[str, ...]]:
    """Part the texts of what was found: those that say how to read a result, and those that speak against it."""
    notes: list[str] = []
    warnings: list[str] = []
    for each in found:
        (notes if each.is_note else warnings).append(each.text)
    return notes, tuple(warnings)


class TitrationRefused(ValueError):
    """A titration that gives no number: what was found and what is allowed; field: which part of it is wrong.

    It is a ValueError so that a pydantic validator may raise it.
    """

    def __init__(self, field: Field, message: str) -> None:
        self.field: Field = field
        super().__init__(message)
