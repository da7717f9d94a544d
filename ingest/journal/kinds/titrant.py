"""Kind "titrant": a bottle of titrant, or what was found of it since; and the bottles that there were at a time."""

from __future__ import annotations

__all__ = ["STRENGTH", "SUBSTANCE", "TITRANT", "Strength", "TitrantBody", "TitrantBottles", "bottles_at"]

from collections.abc import Iterable, Mapping
from typing import Final, NamedTuple

from ingest.journal.answers import Choice, Day, Number, TitrantStrengthText, WrittenStrength, WrittenWords
from ingest.journal.body import Body, BodyPart, Moment, Positive, Words
from ingest.journal.entry import Entry
from ingest.journal.entry_context import EntryContext
from ingest.journal.kinds.kind import NO_PLACE, BodyData, EntryKind, NamedVessels
from ingest.journal.phrases import joined, phrase
from ingest.journal.question import REMARK, Given, Question, always
from ingest.journal.titrant import Meaning, Titrant
from ingest.journal.worked_titration import judged_bottle

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


SUBSTANCE: Final = Question(
    "substance",
    "What is in it?",
    "iodine, iodide-iodate, sodium hydroxide.",
    Choice(("iodine", "iodide-iodate", "sodium hydroxide")),
    "substance",
    needed=always,
    remembered=True,
)
STRENGTH: Final = Question(
    "strength",
    "Which strength, with its unit?",
    "Normality as '0.02 N', molarity as '0.01 mol/L'.",
    TitrantStrengthText(),
    needed=always,
    recall=lambda body: WrittenStrength(body.strength.number, molar=body.strength.meaning is not Meaning.NORMALITY),
)
FACTOR: Final = Question(
    "factor",
    "Which factor?",
    "Strength found by standardising over that on the label.",
    Number(("",), "0.97"),
    "factor",
    asked=always,
)

_QUESTIONS: Final = (
    Question(
        "name",
        "What is the bottle called?",
        "The bottle's name, for titrations to call it by.",
        WrittenWords("NAME", "iodine 3"),
        "name",
        needed=always,
    ),
    SUBSTANCE,
    STRENGTH,
    Question("opened", "When was it opened?", "When it was opened or made up.", Day(), "opened_ms", asked=always),
    FACTOR,
    Question(
        "standardised",
        "When was that found?",
        "When the factor was found.",
        Day(),
        "standardised_ms",
        asked=lambda given: given.get("factor") is not None,
    ),
    REMARK,
)


def _complete(given: Given, data: BodyData, _: EntryContext, at_ms: int) -> tuple[str, ...]:
    return judged_bottle(given, data, at_ms)


def _words(body: TitrantBody, _: str | None) -> str:
    return joined([f"{body.name}: {body.substance}", str(body.strength), phrase(body.factor, "factor {:g}")])


_CAUTIONS: Final = {
    Titrant.IODINE: "iodine stains and is harmful to breathe and swallow: goggles, gloves, fresh air, label the bottle",
    Titrant.IODATE: "with acid it sets iodine free, which stains and is harmful: goggles and gloves, label the bottle",
    Titrant.NAOH: "sodium hydroxide burns eyes and skin: goggles and gloves, label the bottle",
}


def _caution(body: TitrantBody, _: NamedVessels) -> str:
    return _CAUTIONS[body.substance]


TITRANT: Final = EntryKind(
    name="titrant",
    body=TitrantBody,
    says="A bottle of titrant, or what was found of it since.",
    example="--name 'iodine 3' --substance iodine --strength '0.02 N' --factor 0.98 --standardised 2026-11-24",
    questions=_QUESTIONS,
    complete=_complete,
    judges_lines=True,
    place=NO_PLACE,
    words=_words,
    caution=_caution,
)


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
