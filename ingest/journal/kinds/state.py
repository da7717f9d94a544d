"""Kind "state": the state of a vessel, its airlock, or a remark about it."""

from __future__ import annotations

__all__ = ["STATE", "StateBody"]

from dataclasses import replace
from typing import Final, Literal, Self

from pydantic import model_validator

from ingest.journal.answers import Choice, YesNo
from ingest.journal.body import Body, Words
from ingest.journal.entry import Entry
from ingest.journal.equipment import Equipment
from ingest.journal.kinds.kind import (
    NOTHING_CHANGES,
    EntryKind,
    LedgerStep,
    NamedVessels,
    StateOf,
    opening_caution,
    place_of,
)
from ingest.journal.phrases import joined
from ingest.journal.question import REMARK, VESSEL, Question, always
from ingest.journal.vessel_state import Objection, emptied, liters, state_text


class StateBody(Body):
    """The state of the entry's vessel. lock_liquid_seen: the airlock was looked at and had liquid (true) or not."""

    state: Literal["emptied", "cleaned", "out of use", "in use"] | None = None
    lock_liquid_seen: bool | None = None
    remark: Words | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.state is None and self.lock_liquid_seen is None and self.remark is None:
            raise ValueError("say a state (emptied, cleaned, out of use, in use), what the lock shows, or a remark")
        return self


_QUESTIONS: Final = (
    VESSEL,
    Question(
        "state",
        "Which state?",
        "emptied, cleaned, out of use, in use.",
        Choice(("emptied", "cleaned", "out of use", "in use")),
        "state",
        asked=always,
    ),
    Question(
        "lock",
        "Liquid in the airlock?",
        "Whether the airlock was seen to have liquid.",
        YesNo(),
        "lock_liquid_seen",
        asked=lambda given: not given.get("state"),
    ),
    replace(REMARK, asked=lambda given: not given.get("state") and given.get("lock") is None),
)


def _words(body: StateBody, _: str | None) -> str:
    lock = None if body.lock_liquid_seen is None else "liquid in the lock" if body.lock_liquid_seen else "lock is dry"
    return joined([body.state, lock]) or "remark"


def _caution(body: StateBody, vessels: NamedVessels) -> str:
    if body.state not in ("emptied", "cleaned"):
        return ""
    return opening_caution(body, vessels)


def _warnings(body: StateBody, vessels: NamedVessels) -> tuple[str, ...]:
    """That wine is gone with an emptied vessel."""
    before = vessels.before
    if body.state != "emptied" or before is None or not before.volume_l:
        return ()
    return (f"{before.vessel} held {liters(before.volume_l)}, all of which is then gone",)


def _ledger_step(entry: Entry, body: StateBody, state_of: StateOf, _: Equipment) -> LedgerStep:
    if body.state is None:
        return NOTHING_CHANGES
    place = place_of(entry)
    before = state_of(place)
    if body.state == "in use":
        return LedgerStep({place: before._replace(out_of_use=False)})
    objections = []
    if body.state != "emptied" and before.known and not before.empty:
        why = (
            f"{state_text(place, before)}, so it cannot be {body.state}: "
            "say first that it was emptied, or rack its wine"
        )
        objections.append(Objection(place, why))
    after = emptied(before, entry.at_ms)
    return LedgerStep({place: after._replace(out_of_use=body.state == "out of use")}, objections)


STATE: Final = EntryKind(
    name="state",
    body=StateBody,
    says="The state of a vessel, its airlock, or a remark about it.",
    example="--vessel K1 --state cleaned",
    questions=_QUESTIONS,
    answered_by={"": "state"},
    words=_words,
    caution=_caution,
    warnings=_warnings,
    ledger_step=_ledger_step,
)
