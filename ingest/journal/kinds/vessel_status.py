"""Kind "vessel-status": the status of a vessel, its airlock, or a remark about it."""

from __future__ import annotations

__all__ = ["VESSEL_STATUS", "VesselStatusBody"]

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


class VesselStatusBody(Body):
    """The status of the entry's vessel. airlock_liquid_seen: the airlock was looked at and had liquid (true) or not."""

    status: Literal["emptied", "cleaned", "out of use", "in use"] | None = None
    airlock_liquid_seen: bool | None = None
    remark: Words | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.status is None and self.airlock_liquid_seen is None and self.remark is None:
            raise ValueError(
                "say the status (emptied, cleaned, out of use, in use), what the airlock shows, or a remark"
            )
        return self


_QUESTIONS: Final = (
    VESSEL,
    Question(
        "status",
        "Which status?",
        "emptied, cleaned, out of use, in use.",
        Choice(("emptied", "cleaned", "out of use", "in use")),
        "status",
        asked=always,
    ),
    Question(
        "airlock",
        "Liquid in the airlock?",
        "Whether the airlock was seen to have liquid.",
        YesNo(),
        "airlock_liquid_seen",
        asked=lambda given: not given.get("status"),
    ),
    replace(REMARK, asked=lambda given: not given.get("status") and given.get("airlock") is None),
)


def _words(body: VesselStatusBody, _: str | None) -> str:
    airlock = (
        None
        if body.airlock_liquid_seen is None
        else "liquid in the airlock"
        if body.airlock_liquid_seen
        else "airlock is dry"
    )
    return joined([body.status, airlock]) or "remark"


def _caution(body: VesselStatusBody, vessels: NamedVessels) -> str:
    if body.status not in ("emptied", "cleaned"):
        return ""
    return opening_caution(body, vessels)


def _warnings(body: VesselStatusBody, vessels: NamedVessels) -> tuple[str, ...]:
    """That wine is gone with an emptied vessel."""
    before = vessels.before
    if body.status != "emptied" or before is None or not before.volume_l:
        return ()
    return (f"{before.vessel} held {liters(before.volume_l)}, all of which is then gone",)


def _ledger_step(entry: Entry, body: VesselStatusBody, state_of: StateOf, _: Equipment) -> LedgerStep:
    if body.status is None:
        return NOTHING_CHANGES
    place = place_of(entry)
    before = state_of(place)
    if body.status == "in use":
        return LedgerStep({place: before._replace(out_of_use=False)})
    objections = []
    if body.status != "emptied" and before.known and not before.empty:
        why = (
            f"{state_text(place, before)}, so it cannot be {body.status}: "
            "say first that it was emptied, or rack its wine"
        )
        objections.append(Objection(place, why))
    after = emptied(before, entry.at_ms)
    return LedgerStep({place: after._replace(out_of_use=body.status == "out of use")}, objections)


VESSEL_STATUS: Final = EntryKind(
    name="vessel-status",
    body=VesselStatusBody,
    says="The status of a vessel, its airlock, or a remark about it.",
    example="--vessel K1 --status cleaned",
    questions=_QUESTIONS,
    answered_by={"": "status"},
    words=_words,
    caution=_caution,
    warnings=_warnings,
    ledger_step=_ledger_step,
)
