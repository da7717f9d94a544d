"""Kind "titrant": a bottle of titrant, or what was found of it since."""

from __future__ import annotations

__all__ = ["FACTOR", "STRENGTH", "SUBSTANCE", "TITRANT"]

from typing import Final

from ingest.journal.answers import Choice, Day, Number, TitrantStrengthText, WrittenStrength, WrittenWords
from ingest.journal.entry_context import EntryContext
from ingest.journal.kinds.kind import NO_PLACE, BodyData, EntryKind, NamedVessels
from ingest.journal.phrases import joined, phrase
from ingest.journal.question import REMARK, Given, Question, always
from ingest.journal.titrant import Meaning, Titrant
from ingest.journal.titrant_bottles import TitrantBody
from ingest.journal.worked_titration import judged_bottle

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
