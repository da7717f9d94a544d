"""A history as a table: a row for each span of time in which something was read, found, written or alarmed."""

from __future__ import annotations

__all__ = ["HistoryCell", "HistoryTable", "RowMark", "TableRow", "history_table"]

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from alerts.view.history.answer import BandColumns, EstimateAnswer, HistoryAnswer, HistoryPane, ShownUnit

_QUALITY: Final = ("", "uncertain", "bad")


@dataclass(frozen=True, slots=True)
class HistoryCell:
    """What stands in a row for one quantity, each as text: values, what people found, what is worked out."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RowMark:
    """An entry or an alarm in a row: "entry" or the alarm's priority, when it was (UTC ms), and its words."""

    tone: str
    at_ms: int
    words: str


@dataclass(slots=True)
class TableRow:
    """from_ms: where its span begins (UTC ms); cells: one for each pane; marks: by time."""

    from_ms: int
    cells: list[HistoryCell] = field(default_factory=list)
    marks: list[RowMark] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class HistoryTable:
    """heads: the panes' names with their units; span_ms: of a row; rows: the newest first."""

    heads: tuple[str, ...]
    span_ms: int
    rows: list[TableRow]


def history_table(answer: HistoryAnswer, estimate: EstimateAnswer) -> HistoryTable:
    """Make the table of a history. Values are in the units that the page shows."""
    span_ms = answer.span_ms
    bands = {"free_so2": estimate.free_so2, "molecular_so2": estimate.molecular_so2}
    by_pane = [_values(pane, span_ms) for pane in answer.panes]
    marks: dict[int, list[RowMark]] = defaultdict(list)
    for entry in answer.entries:
        words = f"{entry.kind} {entry.place}: {entry.words}, {entry.who} (no. {entry.entry})"
        marks[entry.at_ms // span_ms].append(RowMark("entry", entry.at_ms, words))
    for alarm in answer.alarms:
        marks[max(alarm.at_ms, answer.from_ms) // span_ms].append(
            RowMark(alarm.priority, alarm.at_ms, f"alarm {alarm.alarm}: {alarm.words}")
        )
    numbers = set(marks).union(*by_pane)
    if not any(by_pane):
        # Nothing was measured: then the estimate alone makes rows.
        numbers |= {at_ms // span_ms for each in bands.values() for band in each for at_ms in band.at_ms}
    rows = []
    for number in sorted(numbers, reverse=True):
        row = TableRow(number * span_ms, marks=sorted(marks.get(number, []), key=lambda mark: mark.at_ms))
        end_ms = min((number + 1) * span_ms, answer.to_ms, answer.now_ms)
        for pane, values in zip(answer.panes, by_pane, strict=True):
            worked_out = bands.get(pane.quantity, [])
            lines = (*values.get(number, ()), *_estimated(worked_out, end_ms, pane.shown))
            row.cells.append(HistoryCell(lines))
        rows.append(row)
    heads = (_head(pane, is_estimated=pane.quantity in bands) for pane in answer.panes)
    return HistoryTable(tuple(heads), span_ms, rows)


def _head(pane: HistoryPane, *, is_estimated: bool) -> str:
    parts = [f"{pane.title} {pane.shown.unit}".rstrip(), pane.model, "estimated" if is_estimated else ""]
    return ", ".join(part for part in parts if part)


def _values(pane: HistoryPane, span_ms: int) -> dict[int, tuple[str, ...]]:
    """By the number of the row, what was read, judged and found."""
    lines: dict[int, list[str]] = defaultdict(list)
    text = _text(pane.shown)
    for read in pane.readings:
        where = f"{read.place} " if len({each.place for each in pane.readings}) > 1 else ""
        columns = zip(read.at_ms, read.low, read.mean, read.high, read.worst, strict=True)
        for at_ms, low, mean, high, worst in columns:
            if low is None or mean is None or high is None:
                words = "no good reading"
            else:
                low_text, mean_text, high_text = text(low), text(mean), text(high)
                words = mean_text if low_text == high_text else f"{mean_text} ({low_text} to {high_text})"
                words += f", {_QUALITY[worst]}" if worst == 1 else ", some bad" if worst else ""
            lines[at_ms // span_ms].append(where + words)
    for band in pane.bands:
        for number, (low, middle, high) in _last_of_rows(band, span_ms):
            if low is not None and middle is not None and high is not None:
                lines[number].append(f"{band.what} {text(middle)} ({text(low)} to {text(high)})")
    if pane.found is not None:
        for at_ms, value, u in zip(pane.found.at_ms, pane.found.value, pane.found.u, strict=True):
            if value is not None:
                more = 0 if u is None else 1
                spread = "" if u is None else f" ± {u / pane.shown.gain:.{pane.shown.decimals + 1}f}"
                word = "titrated" if pane.quantity == "free_so2" else "measured"
                lines[at_ms // span_ms].append(f"{word} {_text(pane.shown, more)(value)}{spread}")
    return {number: tuple(each) for number, each in lines.items()}


def _last_of_rows(
    band: BandColumns, span_ms: int
) -> Iterator[tuple[int, tuple[float | None, float | None, float | None]]]:
    """What a band is at the end of each row that it has a point in."""
    last = {at_ms // span_ms: ends for at_ms, *ends in zip(band.at_ms, band.low, band.middle, band.high, strict=True)}
    return ((number, (ends[0], ends[1], ends[2])) for number, ends in last.items())


def _estimated(bands: Sequence[BandColumns], at_ms: int, shown: ShownUnit) -> Iterator[str]:
    """The estimate at a time, on the straight line between the points beside it."""
    text = _text(shown)
    for band in bands:
        after = bisect_right(band.at_ms, at_ms)
        if not after or (after == len(band.at_ms) and at_ms > band.at_ms[-1] + 1):
            continue
        before = after - 1
        after = min(after, len(band.at_ms) - 1)
        part = (at_ms - band.at_ms[before]) / max(band.at_ms[after] - band.at_ms[before], 1)
        ends = []
        for column in (band.low, band.middle, band.high):
            begin, end = column[before], column[after]
            if begin is not None and end is not None:
                ends.append(text(begin + part * (end - begin)))
        if len(ends) == len((band.low, band.middle, band.high)):
            yield f"{ends[1]} ({ends[0]} to {ends[2]})"


def _text(shown: ShownUnit, more: int = 0) -> Callable[[float], str]:
    """What writes a value in the unit that is shown; more: digits than are usual."""
    return lambda value: f"{(value - shown.offset) / shown.gain:.{shown.decimals + more}f}"
