"""The history of a vessel or a lot: panes, entries, alarms and where the wine lay, over one span of time."""

from __future__ import annotations

__all__ = ["FEWEST_ROWS", "MOST_ROWS", "USUAL_ROWS", "first_known_ms", "history_of"]

from typing import Final

from alerts.view.history.answer import HistoryAnswer
from alerts.view.history.limits import dated_limits
from alerts.view.history.marks import alarm_marks, entry_marks
from alerts.view.history.panes import PANE_QUANTITIES, history_panes
from alerts.view.history.span import HistorySpan
from alerts.view.history.subject import HistorySubject
from ingest import history
from ingest.cellar import QUANTITIES, Cellar
from ingest.history import OfLot, OfPlace
from ingest.store import Store
from ingest.store.journal.entries import entries

FEWEST_ROWS: Final = 20
USUAL_ROWS: Final = 400
MOST_ROWS: Final = 2000


def history_of(
    cellar: Cellar, store: Store, subject: HistorySubject, span: HistorySpan, now_ms: int, most: int = USUAL_ROWS
) -> HistoryAnswer:
    """Gather all of it but the estimate of SO2; most: rows of one probe, about.

    Call inside ``store.read()``. Raises StoreError.
    """
    limits = dated_limits(cellar, store, span.from_ms, span.to_ms, now_ms)
    span_ms, panes, never = history_panes(cellar, store, subject, span, limits, most)
    marks, more = entry_marks(store, subject, span.from_ms, span.to_ms)
    return HistoryAnswer(
        kind=subject.kind,
        id=subject.id,
        name=subject.name,
        from_ms=span.from_ms,
        to_ms=span.to_ms,
        now_ms=now_ms,
        first_ms=first_known_ms(store, subject),
        span_ms=span_ms,
        timezone=str(cellar.site.zone),
        stays=[
            stay
            for stay in subject.stays
            if stay.from_ms < span.to_ms and (stay.to_ms is None or stay.to_ms > span.from_ms)
        ],
        panes=panes,
        entries=marks,
        more_entries=more,
        alarms=alarm_marks(store, subject, limits.known, span.from_ms, span.to_ms, cellar.site.units),
        never=never,
    )


def first_known_ms(store: Store, subject: HistorySubject) -> int | None:
    """When the first reading or entry was [UTC ms], None if there is none. Call inside ``store.read()``."""
    of_lot = subject.is_lot
    begins = [stay.from_ms for stay in subject.stays]
    for quantity in PANE_QUANTITIES[subject.kind]:
        if quantity in QUANTITIES:
            about = OfLot(subject.id, quantity) if of_lot else OfPlace(subject.id, quantity)
            known = history.span(store, about)
            begins += [] if known is None else [known[0]]
    if not begins:
        noted = entries(store, lot=subject.id) if of_lot else entries(store, vessel=subject.id)
        begins = [entry.at_ms for entry in noted[:1]]
    return min(begins, default=None)
