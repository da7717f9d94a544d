"""The bottles of titrant that entries of kind "titrant" write down, and which of them there were at a time."""

from __future__ import annotations

__all__ = ["Strength", "TitrantBody", "TitrantBottles", "bottles_at"]

from collections.abc import Iterable, Mapping
from typing import Final, NamedTuple

from ingest.journal.body import Body, BodyPart, Moment, Positive, Words
from ingest.journal.entry import Entry
from ingest.journal.titrant import Meaning, Titrant

# A day that is written without a time is its noon, and the bottle was opened at some time of it.
_HALF_A_DAY_MS: Final = 12 * 3_600_000


class Strength(BodyPart):
    """The strength of a titrant: number, and what the number means."""

    number: Positive
    meaning: Meaning

    def __str__(self) -> str:
        if self.meaning is Meaning.NORMALITY:
            return f"{self.number:g} N"
        return f"{self.number:g} mol/L ({self.meaning.removesuffix(' molarity')})"


class TitrantBody(Body):
    """A bottle of titrant. Its name is what titrations call it by; a later entry of the same name is the bottle now."""

    name: Words
    substance: Titrant
    strength: Strength
    opened_ms: Moment | None = None
    factor: Positive | None = None
    standardised_ms: Moment | None = None
    remark: Words | None = None


class TitrantBottles(NamedTuple):
    """there: by name, as last written down by then; later: those that came only after, each with when (UTC ms)."""

    there: Mapping[str, TitrantBody]
    later: Mapping[str, int]


def bottles_at(entries: Iterable[Entry], at_ms: int) -> TitrantBottles:
    """Find the bottles of a time (UTC ms). entries: in the order in which they happened; other kinds are passed over.

    A bottle is there from the time of its first entry on, or from when it was opened if one says so.
    """
    there: dict[str, TitrantBody] = {}
    later: dict[str, int] = {}
    for entry in entries:
        body = entry.body
        if not isinstance(body, TitrantBody) or entry.struck is not None:
            continue
        if entry.at_ms <= at_ms:
            there[body.name] = body
        elif body.opened_ms is not None and body.opened_ms - _HALF_A_DAY_MS <= at_ms:
            there.setdefault(body.name, body)
        else:
            later.setdefault(body.name, entry.at_ms)
    return TitrantBottles(there, {name: first for name, first in later.items() if name not in there})
