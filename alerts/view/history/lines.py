"""A history as lines of a table for other programs: at, what, value, unit, quality. Oldest first."""

from __future__ import annotations

__all__ = ["COLUMNS", "MOST_LINES", "reading_count", "reading_lines", "span_lines"]

from collections.abc import Iterator
from heapq import merge
from operator import itemgetter
from typing import Final, NamedTuple

from alerts.view.format import quantity_name
from alerts.view.history.answer import EstimateAnswer, HistoryAnswer
from alerts.view.history.panes import PANE_QUANTITIES, subject_results, subject_sources
from alerts.view.history.span import HistorySpan
from alerts.view.history.subject import HistorySubject
from ingest.cellar import LIMIT_QUANTITIES, QUANTITIES
from ingest.history import buckets_of, merged_pieces
from ingest.reading import quality_class
from ingest.store import Store
from ingest.times import iso_utc

COLUMNS: Final = ("at", "what", "value", "unit", "quality")
# A spreadsheet takes 1,048,576 rows (LibreOffice Calc, Microsoft Excel).
MOST_LINES: Final = 1_000_000

_QUALITIES: Final = ("good", "uncertain", "bad")
# To count readings, a few spans are enough.
_COUNTED_IN: Final = 40


class HistoryLine(NamedTuple):
    """One number with its time (UTC ms).

    what: begins with the quantity, so that no spreadsheet takes it for a formula.
    """

    at_ms: int
    what: str
    value: float
    unit: str
    quality: str

    def cells(self) -> tuple[str, str, str, str, str]:
        """The line as text."""
        return iso_utc(self.at_ms), self.what, f"{self.value:.10g}", self.unit, self.quality


def span_lines(answer: HistoryAnswer, estimate: EstimateAnswer) -> list[HistoryLine]:
    """Give what the chart shows: lowest, mean and highest of each span of time, bands, and what people found."""
    lines: list[HistoryLine] = []
    of_quantity = {"free_so2": estimate.free_so2, "molecular_so2": estimate.molecular_so2}
    for pane in answer.panes:
        name = quantity_name(pane.quantity)

        def add(at_ms: int, what: str, value: float | None, quality: str = "", unit: str = pane.unit) -> None:
            if value is not None:
                lines.append(HistoryLine(at_ms, what, value, unit, quality))

        for read in pane.readings:
            about = f"{name} {read.place} {read.probe}"
            for at_ms, low, mean, high, worst in zip(
                read.at_ms, read.low, read.mean, read.high, read.worst, strict=True
            ):
                for word, value in (("lowest", low), ("mean", mean), ("highest", high)):
                    add(at_ms, f"{about} {word}", value, _QUALITIES[worst])
        for band in (*pane.bands, *of_quantity.get(pane.quantity, [])):
            about = f"{name} {band.place} {band.what}" + (f" {pane.model}" if pane.model else "")
            ends = ("low end", "middle", "high end")
            for at_ms, *values in zip(band.at_ms, band.low, band.middle, band.high, strict=True):
                for word, value in zip(ends, values, strict=True):
                    add(at_ms, f"{about} {word}", value)
        if pane.found is not None:
            for at_ms, value, u, place in zip(
                pane.found.at_ms, pane.found.value, pane.found.u, pane.found.place, strict=True
            ):
                about = f"{name} {place or answer.id} found"
                add(at_ms, about, value, "good")
                add(at_ms, f"{about}, standard uncertainty", u)
    return sorted(lines, key=itemgetter(0))


def reading_count(store: Store, subject: HistorySubject, span: HistorySpan) -> int:
    """Count the readings that are not bad, by their summaries; those of the spans at both ends wholly."""
    count = 0
    for quantity in PANE_QUANTITIES[subject.kind]:
        if quantity in QUANTITIES:
            sources = subject_sources(store, subject, quantity)
            made = buckets_of(store, sources, span.from_ms, span.to_ms, _COUNTED_IN)
            count += sum(int(rows.readings.sum()) for _, rows in made.sources)
    return count


def reading_lines(store: Store, subject: HistorySubject, span: HistorySpan) -> Iterator[HistoryLine]:
    """Give every reading and every result by time, a day in memory at a time; each look is one of its own."""
    streams = [_of_quantity(store, subject, span, quantity) for quantity in PANE_QUANTITIES[subject.kind]]
    return merge(*streams, key=itemgetter(0))


def _of_quantity(store: Store, subject: HistorySubject, span: HistorySpan, quantity: str) -> Iterator[HistoryLine]:
    name, unit = quantity_name(quantity), LIMIT_QUANTITIES[quantity].unit
    sources = subject_sources(store, subject, quantity) if quantity in QUANTITIES else ()
    results = [
        result for result in subject_results(store, subject, quantity) if span.from_ms <= result.at_ms < span.to_ms
    ]
    for piece in merged_pieces(store, sources, results, span.from_ms, span.to_ms):
        rows = piece.rows
        columns = (rows.at_ms, rows.value, rows.quality, rows.source, rows.entry)
        for at_ms, value, quality, source, entry in zip(*(column.tolist() for column in columns), strict=True):
            if entry:
                place = piece.results[entry].vessel or subject.id
                yield HistoryLine(at_ms, f"{name} {place} found", value, piece.results[entry].unit, "good")
            else:
                read = piece.sources[source]
                what = f"{name} {read.place} {read.probe}"
                yield HistoryLine(at_ms, what, value, unit, quality_class(quality).name.lower())
