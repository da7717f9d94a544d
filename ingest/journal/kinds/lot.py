"""Kind "lot": a wine."""

from __future__ import annotations

__all__ = ["LOT_KIND"]

from typing import Final

from ingest.cellar import Dimension
from ingest.journal.answers import Choice, Measure, Number, Whole, WrittenWords
from ingest.journal.entry_context import EntryContext
from ingest.journal.kinds.kind import NO_PLACE, BodyData, EntryKind, LotRule
from ingest.journal.lots import LOT_ENTRY, LOT_FACTS, LotBody
from ingest.journal.phrases import joined, phrase
from ingest.journal.question import LOT, REMARK, Given, Question, always

_QUESTIONS: Final = (
    Question("lot", "A short name of the lot?", LOT.help, LOT.answer, needed=always, new=True),
    Question(
        "name",
        "What is it called?",
        "What it is called.",
        WrittenWords("NAME", "Riesling 2026"),
        "name",
        needed=always,
    ),
    Question(
        "style",
        "Which style?",
        "white, rosé, red, sweet.",
        Choice(("white", "rosé", "red", "sweet")),
        "style",
        needed=always,
        remembered=True,
    ),
    Question("vintage", "Which vintage?", "The year.", Whole("2026", "YEAR"), "vintage", asked=always, remembered=True),
    Question(
        "alcohol",
        "Alcohol?",
        "Its alcohol.",
        Measure(Dimension.ALCOHOL, "% vol", "12.5 % vol", bare="% vol"),
        "alcohol_percent_vol",
        asked=always,
    ),
    Question(
        "sugar",
        "Residual sugar?",
        "Its residual sugar.",
        Number(("g/L", "g/l"), "2 g/L", "AMOUNT"),
        "sugar_g_l",
        asked=always,
    ),
    Question(
        "malolactic",
        "Malolactic fermentation?",
        "wanted, under way, complete, prevented.",
        Choice(("wanted", "under way", "complete", "prevented")),
        "malolactic",
        asked=always,
    ),
    REMARK,
)


def _words(body: LotBody, _: str | None) -> str:
    return joined(
        [
            body.name,
            body.style,
            phrase(body.vintage, "{}"),
            phrase(body.alcohol_percent_vol, "{:g} % vol"),
            phrase(body.sugar_g_l, "{:g} g/L sugar"),
            phrase(body.malolactic, "malolactic {}"),
        ]
    )


def _known(given: Given, context: EntryContext, at_ms: int) -> BodyData:
    """What is said of the lot so far, by question."""
    known = context.lots.of(str(given.get("lot", "")), at_ms)
    if known is None:
        return {}
    facts = {question.name: getattr(known, question.key) for question in _QUESTIONS if question.key in LOT_FACTS}
    return {name: value for name, value in facts.items() if value is not None}


def _complete(given: Given, data: BodyData, context: EntryContext, at_ms: int) -> tuple[str, ...]:
    """Note what changes; that wine becomes of another style is a warning."""
    before = context.lots.held(str(given["lot"]), at_ms)
    if before is None:
        return ()
    changes = []
    for question in _QUESTIONS:
        was = getattr(before, question.key) if question.key in LOT_FACTS else None
        if was is not None and given.get(question.name, was) != was:
            write = question.answer.write
            changes.append((question, f"{question.name} from {write(was)} to {write(given[question.name])}"))
    data["notes"] = [f"this changes {text}" for question, text in changes if question.name != "style"]
    return tuple(
        f"this changes the {text}: is it the same wine?" for question, text in changes if question.name == "style"
    )


LOT_KIND: Final = EntryKind(
    name=LOT_ENTRY,
    body=LotBody,
    says="A wine; a later entry of the same lot says what changes from then on.",
    example="--lot riesling-26 --name 'Riesling 2026' --style white --alcohol '12.5 % vol'",
    questions=_QUESTIONS,
    known=_known,
    complete=_complete,
    judges_lines=True,
    place=NO_PLACE,
    lot=lambda _: LotRule(missing="is missing: say which lot", introduced=True),
    words=_words,
)
