"""What was read, found and estimated over a span of time, quantity by quantity."""

from __future__ import annotations

__all__ = ["PANE_QUANTITIES", "history_panes", "subject_results", "subject_sources"]

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from alerts.view.format import quantity_name, unit_name, with_capital
from alerts.view.history.answer import (
    BandColumns,
    FoundColumns,
    HistoryPane,
    PaneQuantity,
    ReadColumns,
    ShownUnit,
    SubjectKind,
)
from alerts.view.history.limits import DatedLimits
from alerts.view.history.span import HistorySpan
from alerts.view.history.subject import HistorySubject
from alerts.wine.molecular import simple_pk
from ingest.cellar import LIMIT_QUANTITIES, QUANTITIES, Cellar, series_unit_conversion, shown_unit
from ingest.history import HandResult, HistorySource, OfLot, OfPlace, Subject, buckets_of, history_sources, results_of
from ingest.journal.wine_places import LEAST_SHARE
from ingest.store import Store
from ingest.store.journal.stored_ledger import equipment_of
from ingest.store.judgements import HOUR_MS, judgement_spans
from ingest.store.readings.summary import Summary

_OF_WINE: Final[tuple[PaneQuantity, ...]] = ("pressure", "temperature", "pH", "free_so2", "molecular_so2")
PANE_QUANTITIES: Final[Mapping[SubjectKind, tuple[PaneQuantity, ...]]] = {
    "vessel": _OF_WINE,
    "lot": _OF_WINE,
    "cylinder": ("pressure", "temperature"),
    "room": ("temperature", "barometric_pressure"),
}
"""By what a history is of, in the order in which the panes stand."""

_ESTIMATED: Final = ("free_so2", "molecular_so2")
_COMPENSATED: Final = "compensated_pressure"
# One digit more than is shown: a chart needs no more, and each costs a byte.
_MORE_DIGITS: Final = 1
# A unit that is so many times as large as ours has one more digit, for each of them.
_LARGER: Final = (5.0, 50.0)


def history_panes(
    cellar: Cellar, store: Store, subject: HistorySubject, span: HistorySpan, limits: DatedLimits, most: int
) -> tuple[int, list[HistoryPane], list[str]]:
    """Give the span of a row [ms], the panes that have something at any time, and the quantities that never had.

    most: rows of one probe, about. Call inside ``store.read()``.
    """
    panes: list[HistoryPane] = []
    never: list[str] = []
    span_ms = 0
    for quantity in PANE_QUANTITIES[subject.kind]:
        sources = subject_sources(store, subject, quantity) if quantity in QUANTITIES else ()
        results = [] if quantity == "molecular_so2" else subject_results(store, subject, quantity)
        # Where wine was written down there is something to estimate, or will be.
        if not (sources or results or (subject.stays and quantity in _ESTIMATED)):
            never.append(quantity_name(quantity))
            continue
        made = buckets_of(store, sources, span.from_ms, span.to_ms, most)
        span_ms = max(span_ms, made.span_ms)
        with_gas = quantity == "pressure" and subject.kind in ("vessel", "lot")
        panes.append(
            HistoryPane(
                quantity=quantity,
                title=_title(quantity),
                model=simple_pk(cellar.site.so2_pk).name if quantity == "molecular_so2" else "",
                unit=LIMIT_QUANTITIES[quantity].unit,
                shown=_shown(quantity, cellar.site.units),
                readings=[_read(source, rows) for source, rows in made.sources],
                bands=_compensated(cellar, store, subject, span, made.span_ms) if with_gas else [],
                found=_found([result for result in results if span.from_ms <= result.at_ms < span.to_ms]),
                limits=limits.pieces(subject, quantity),
            )
        )
    return span_ms, panes, never


def _title(quantity: PaneQuantity) -> str:
    # The model stands beside it.
    if quantity == "molecular_so2":
        return "Molecular SO2"
    return quantity if quantity == "pH" else with_capital(quantity_name(quantity))


def _shown(quantity: PaneQuantity, units: str) -> ShownUnit:
    unit = shown_unit(quantity, units)
    gain, offset = series_unit_conversion(quantity, unit)
    # psi and bar are larger than kPa: the same step needs more digits.
    decimals = LIMIT_QUANTITIES[quantity].decimals + sum(gain >= larger for larger in _LARGER)
    return ShownUnit(unit_name(quantity, units), gain, offset, decimals)


def _about(subject: HistorySubject, quantity: str) -> Subject:
    return OfLot(subject.id, quantity) if subject.is_lot else OfPlace(subject.id, quantity)


def subject_sources(store: Store, subject: HistorySubject, quantity: str) -> tuple[HistorySource, ...]:
    """Find what read a quantity; of a lot where it was more than what another wine was topped up with."""
    return tuple(
        source
        for source in history_sources(store, _about(subject, quantity))
        if not source.shares or any(_counts(share.share) for share in source.shares)
    )


def subject_results(store: Store, subject: HistorySubject, quantity: str) -> list[HandResult]:
    """Read what people found at any time, by time; of a lot as ``subject_sources`` says."""
    return [
        result
        for result in results_of(store, _about(subject, quantity))
        if not subject.is_lot or result.lot == subject.id or _counts(result.share)
    ]


def _counts(share: float | None) -> bool:
    return share is None or share >= LEAST_SHARE


def _read(source: HistorySource, rows: Summary) -> ReadColumns:
    digits = LIMIT_QUANTITIES[source.quantity].decimals + _MORE_DIGITS
    low, mean, high = (_column(values, digits) for values in (rows.low, rows.mean, rows.high))
    return ReadColumns(source.place, source.probe, rows.from_ms.tolist(), low, mean, high, rows.worst.tolist())


def _found(results: Sequence[HandResult]) -> FoundColumns | None:
    if not results:
        return None
    return FoundColumns(
        at_ms=[result.at_ms for result in results],
        value=[result.value for result in results],
        u=[result.u for result in results],
        entry=[result.entry for result in results],
        place=[result.vessel or "" for result in results],
    )


def _compensated(
    cellar: Cellar, store: Store, subject: HistorySubject, span: HistorySpan, span_ms: int
) -> list[BandColumns]:
    """The last of each hour, or all over spans that are longer; each vessel while it belongs to the subject."""
    equipment = equipment_of(store.connection, cellar)
    digits = LIMIT_QUANTITIES[_COMPENSATED].decimals + _MORE_DIGITS
    length_ms = max(span_ms, HOUR_MS)
    bands = []
    for vessel in subject.vessels:
        names = equipment.names_ever(vessel)
        for from_ms, to_ms in subject.times_in(vessel, span.from_ms, span.to_ms):
            rows = judgement_spans(store, names, _COMPENSATED, from_ms, to_ms, length_ms)
            if rows:
                at_ms, *columns = zip(*rows, strict=True)
                middle, low, high = ([round(value, digits) for value in column] for column in columns)
                bands.append(BandColumns("compensated", vessel, length_ms, list(at_ms), low, middle, high))
    return bands


def _column(values: npt.NDArray[np.float64], digits: int) -> list[float | None]:
    """Rounded values, None in the place of NaN."""
    return [None if math.isnan(value) else value for value in np.round(values, digits).tolist()]
