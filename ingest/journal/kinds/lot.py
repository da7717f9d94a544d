"""Kind "lot": a wine, and what is said of each lot at a time."""

from __future__ import annotations

__all__ = ["LOT_KIND", "LotBody", "Lots"]

from bisect import bisect_right, insort
from collections.abc import Iterable
from itertools import accumulate
from typing import Annotated, Final, Literal

from pydantic import Field

from ingest.cellar import Dimension
from ingest.journal.answers import Choice, Measure, Number, Whole, WrittenWords
from ingest.journal.body import Amount, Body, Percent, Words
from ingest.journal.entry import Entry
from ingest.journal.entry_context import EntryContext
from ingest.journal.kinds.kind import NO_PLACE, BodyData, EntryKind, LotRule
from ingest.journal.phrases import joined, phrase
from ingest.journal.question import LOT, REMARK, Given, Question, always

# What a later entry on a lot need not say again.
LOT_FACTS: Final = ("name", "style", "vintage", "alcohol_percent_vol", "sugar_g_l", "malolactic")


class LotBody(Body):
    """A wine. A later entry of the same lot says what holds from then on; what it leaves out stays."""

    name: Words
    style: Literal["white", "rosé", "red", "sweet"]
    vintage: Annotated[int, Field(ge=1800, le=2200)] | None = None
    alcohol_percent_vol: Percent | None = None
    sugar_g_l: Amount | None = None
    malolactic: Literal["wanted", "under way", "complete", "prevented"] | None = None
    remark: Words | None = None


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
    name="lot",
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


class Lots:
    """The entries on lots. A later entry keeps what it does not say. Before the first entry on a lot, that one holds: a
    wine has a style before it is written.
    """

    def __init__(self, entries: Iterable[Entry] = ()) -> None:
        self._entries: dict[str, list[tuple[int, int, int, LotBody]]] = {}
        # What holds from each of these entries on.
        self._holding: dict[str, list[LotBody]] = {}
        for entry in entries:
            self.add(entry)

    def add(self, entry: Entry) -> None:
        """Take an entry; those of another kind, and struck ones, are passed over."""
        # The name first: to ask a model whether it is a body's takes ten times as long.
        if entry.kind != LOT_KIND.name or entry.lot is None or entry.struck is not None:
            return
        if isinstance(entry.body, LotBody):
            rows = self._entries.setdefault(entry.lot, [])
            insort(rows, (*entry.key, entry.id, entry.body), key=lambda row: row[:2])
            self._holding[entry.lot] = list(accumulate((row[3] for row in rows), _later))

    def remove(self, entry_id: int) -> None:
        """Forget an entry that was struck."""
        for lot, rows in list(self._entries.items()):
            self._entries[lot] = [row for row in rows if row[2] != entry_id]
            if len(self._entries[lot]) < len(rows):
                self._holding[lot] = list(accumulate((row[3] for row in self._entries[lot]), _later))
            if not self._entries[lot]:
                del self._entries[lot], self._holding[lot]

    def __contains__(self, lot: object) -> bool:
        return lot in self._entries

    @property
    def names(self) -> tuple[str, ...]:
        """Every lot that an entry introduces."""
        return tuple(sorted(self._entries))

    def held(self, lot: str, at_ms: int) -> LotBody | None:
        """What an entry of that time (UTC ms) or before says of a lot, None if there is none so early."""
        rows = self._entries.get(lot)
        return self.of(lot, at_ms) if rows and rows[0][0] <= at_ms else None

    def of(self, lot: str, at_ms: int) -> LotBody | None:
        """What is said of a lot at a time (UTC ms), None if no entry introduces it."""
        rows = self._entries.get(lot)
        if rows is None:
            return None
        index = bisect_right(rows, at_ms, key=lambda row: row[0]) - 1
        return self._holding[lot][max(index, 0)]


def _later(before: LotBody, entry: LotBody) -> LotBody:
    """What holds from an entry on."""
    return entry.model_copy(update={fact: getattr(before, fact) for fact in LOT_FACTS if getattr(entry, fact) is None})
