"""What an address of the history asks for: of which vessel or lot, from when to when."""

from __future__ import annotations

__all__ = ["AskedHistory", "asked_history", "asked_span", "asked_subject", "history_address"]

from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import Query

from alerts.view.history.span import HistorySpan, history_span
from alerts.view.history.subject import HistorySubject, subject_of
from alerts.view.history.whole import first_known_ms
from ingest.cellar import Cellar
from ingest.store import Store


@dataclass(frozen=True, slots=True)
class AskedHistory:
    """The parts of an address as they were sent, "" for what was not."""

    vessel: str
    place: str
    lot: str
    span: str
    since: str
    until: str


def asked_history(
    vessel: Annotated[str, Query(description="a vessel's id; or name a lot", examples=["K1"])] = "",
    place: Annotated[str, Query(description="a vessel, a gas cylinder or a room", examples=["N2"])] = "",
    lot: Annotated[str, Query(description="a lot's id; it is followed through the vessels it lay in")] = "",
    span: Annotated[
        str, Query(description="hour, day, week, month (the default), season, year or all, up to its end")
    ] = "",
    since: Annotated[
        str, Query(alias="from", description="a date, a local date and time, or UTC as 2026-11-25T08:30:00Z")
    ] = "",
    until: Annotated[str, Query(alias="to", description="the same, not included; by default now")] = "",
) -> AskedHistory:
    """Take an address apart; nothing of it is checked yet."""
    return AskedHistory(vessel.strip(), place.strip(), lot.strip(), span.strip(), since.strip(), until.strip())


def asked_subject(cellar: Cellar, store: Store, asked: AskedHistory) -> HistorySubject:
    """Find what it is of. Call inside ``store.read()``. Raises HistoryRefused."""
    return subject_of(cellar, store, vessel=asked.vessel, place=asked.place, lot=asked.lot)


def asked_span(cellar: Cellar, store: Store, subject: HistorySubject, asked: AskedHistory, now_ms: int) -> HistorySpan:
    """Find from when to when. Raises HistoryRefused."""
    return history_span(
        asked.span, asked.since, asked.until, cellar.site.zone, now_ms, lambda: first_known_ms(store, subject)
    )


def history_address(path: str, asked: AskedHistory, **changes: str) -> str:
    """Write the address of another view, or another span, of what was asked for."""
    subject = {"vessel": asked.vessel, "place": asked.place, "lot": asked.lot}
    parts = {**subject, "span": asked.span, "from": asked.since, "to": asked.until, **changes}
    return f"{path}?{urlencode({name: value for name, value in parts.items() if value})}"
