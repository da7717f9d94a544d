"""Vessels, entries and cellar files for the tests of the journal."""

from __future__ import annotations

__all__ = ["EQUIPMENT", "Pages", "a_body", "an_entry", "journal_cellar", "lot_path", "share_of"]

from collections.abc import Iterable
from typing import Any

from cellar_text import SITE, cellar, table

from ingest.cellar import Cellar
from ingest.errors import EntryRefused
from ingest.journal.balance import judge_entry, judge_strike, refuse
from ingest.journal.body import Body
from ingest.journal.contents import Contents
from ingest.journal.entry import Entry
from ingest.journal.equipment import CellarOfTime, Equipment, VesselOfTime
from ingest.journal.kinds import KINDS, parse_body
from ingest.journal.ledger import BEGINNING, Ledger
from ingest.journal.lot_locations import LotLocation, lot_locations_of, share_changes

EQUIPMENT = Equipment(
    (
        CellarOfTime(
            0,
            {
                "K1": VesselOfTime(19.0, "keg"),
                "C1": VesselOfTime(10.0, "carboy"),
                "K3": VesselOfTime(25.0, "keg"),
            },
        ),
    )
)


def journal_cellar(*vessels: tuple[str, str, float], more: str = "") -> Cellar:
    """Make a cellar of vessels, each with id, kind and capacity [L]; by default those of ``EQUIPMENT``."""
    tables = [
        table("[[vessel]]", id=id, kind=kind, capacity=f"{capacity} L")
        for id, kind, capacity in vessels or (("K1", "keg", 19.0), ("C1", "carboy", 10.0), ("K3", "keg", 25.0))
    ]
    return cellar(SITE, *tables, more)


def a_body(kind: str, **said: Any) -> Body:
    """Make a body from plain data."""
    return parse_body(kind, said)


def an_entry(id: int, kind: str, at_ms: int, place: str | None = None, lot: str | None = None, **said: Any) -> Entry:
    """Make an entry that Ana wrote when it happened."""
    assert kind in KINDS
    return Entry(id, kind, at_ms, at_ms, "Ana", place, lot, a_body(kind, **said))


def share_of(contents: Contents, lot: str) -> float | None:
    """Return the share of a lot in a vessel: 0 if it is not there, None if unknown."""
    return next((each.share for each in contents.lots if each.lot == lot), 0.0)


def lot_path(entries: Iterable[Entry], equipment: Equipment, lot: str) -> list[LotLocation]:
    """Work out from the whole journal where a lot was and is."""
    return lot_locations_of(share_changes(Ledger(entries, equipment), BEGINNING[:2]), lot)


class Pages:
    """A journal in memory that checks as the stored one does: entries are numbered and judged when written."""

    def __init__(self, equipment: Equipment = EQUIPMENT) -> None:
        self.ledger = Ledger((), equipment, every=2)
        self.entries: list[Entry] = []
        self.now = 0
        self.number = 0

    def write(
        self, kind: str, place: str | None = None, lot: str | None = None, *, at: int | None = None, **said: Any
    ) -> Entry:
        """Write an entry, by default an hour after the previous one."""
        self.now += 3_600_000
        self.number += 1
        entry = an_entry(self.number, kind, self.now if at is None else at, place, lot, **said)
        verdict = judge_entry(self.ledger, entry)
        if verdict.objections or verdict.later:
            raise refuse(str(entry), verdict)
        self.ledger.add(entry)
        self.entries.append(entry)
        return entry

    def strike(self, entry: Entry, *, with_later: bool = False) -> list[int]:
        """Strike an entry; return the numbers of all that were struck."""
        verdict = judge_strike(self.ledger, entry)
        if verdict.later and not with_later:
            raise refuse(str(entry), verdict)
        gone = [entry.id, *(one.entry.id for one in verdict.later)]
        for id in gone:
            self.ledger.strike(id)
        self.entries = [one for one in self.entries if one.id not in gone]
        return gone

    def refused(self, kind: str, place: str | None = None, lot: str | None = None, **said: Any) -> str:
        """Return why an entry cannot be written; fail if it can."""
        try:
            self.write(kind, place, lot, **said)
        except EntryRefused as refusal:
            return str(refusal)
        raise AssertionError(f"{kind} was written")

    def now_in(self, vessel: str) -> Contents:
        """Return what a vessel holds after all entries."""
        return self.ledger.contents(vessel, self.now)
