"""The chart of an alarm: the last day of what its limit judges, with the limit and what happened meanwhile."""

from __future__ import annotations

__all__ = ["alarm_chart"]

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

from alerts.limits.limits_now import limits_now
from alerts.message.cylinder_words import is_on_cylinder
from alerts.message.gas_words import is_on_gas
from alerts.pictures import Chart, ChartLimit, ChartLine, ChartMark, ChartPane, ChartPoints
from alerts.view.format import quantity_name, setpoint_text, unit_name, with_capital
from alerts.watch.alarm_table import State
from ingest.cellar import (
    JUDGED_QUANTITIES,
    LIMIT_QUANTITIES,
    Cellar,
    EffectiveLimit,
    is_judged_id,
    value_in_unit,
)
from ingest.history import OfPlace, summary
from ingest.journal.entry import kind_words
from ingest.store import Store
from ingest.store.alarms.alarm_record import key_of_occurrence, transitions
from ingest.store.journal.entries import entries
from ingest.store.judgements import HOUR_MS, judgement_history, newest_judgements

_DAY_MS: Final = 24 * HOUR_MS
# 866 pixels wide, with letters that can be read where a phone shows it 360 wide.
_WIDTH_MM: Final = 110.0
_HEIGHT_MM: Final = 70.0
_DOTS_PER_INCH: Final = 200
# A minute each, where readings come more often: two values of each, so that no extreme is lost.
_POINTS: Final = 600
# Without a line across a longer silence; judgements come once an hour.
_LEAST_GAP_MS: Final = 10 * 60_000
_JUDGED_GAP_MS: Final = 5 * HOUR_MS // 2
_SLOW: Final = ("free_so2", "molecular_so2", "total_so2")
_SLOW_DAYS: Final = 60
# Of what changes over weeks a missing day is no gap.
_SLOW_GAP_MS: Final = 2 * _DAY_MS
_LEVELS: Final = ("low", "high")
_MOST_ENTRIES: Final = 6
# The value axis shows at least so many steps in which the quantity is given.
_LEAST_STEPS: Final = 20
_COMPENSATED: Final = "compensated_pressure"
_RAISED: Final = "alarm raised"
_ACTIVE: Final = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Subject:
    """What a chart is about. probe: None for what is judged; limits: drawn across it; unit: of its values."""

    place: str
    quantity: str
    probe: str | None
    unit: str
    limits: tuple[EffectiveLimit, ...]


def alarm_chart(cellar: Cellar, store: Store, occurrence: str, now_ms: int) -> Chart | None:
    """Chart the 24 hours before a time of what an alarm is about, in the unit of its limit. now_ms: UTC milliseconds.

    Sulfur dioxide changes over weeks: of it the 60 days before are charted, with the titrations. Of an alarm about the
    gas in a vessel or a cylinder it is the pressure there. None where there is nothing to see: work that is due,
    leeside's own parts, a limit that is gone, no value at all.
    """
    key = key_of_occurrence(store, occurrence)
    if key is None:
        return None
    with store.read():
        limits = limits_now(cellar, store, now_ms)
    limit = limits.get(key)
    if limit is None or limit.kind == "due" or limit.quantity not in LIMIT_QUANTITIES:
        return None
    subject = _subject(limit, limits, cellar)
    is_slow = subject.quantity in _SLOW
    from_ms = now_ms - (_SLOW_DAYS if is_slow else 1) * _DAY_MS
    span = f"{_SLOW_DAYS} days" if is_slow else "24 hours"
    lines = _lines(store, subject, from_ms, now_ms)
    if not lines:
        return None
    step = LIMIT_QUANTITIES[subject.quantity].resolution
    pane = ChartPane(
        title=with_capital(f"{quantity_name(subject.quantity)}, {subject.unit}".rstrip(", ")),
        lines=lines,
        points=_titrations(store, subject, from_ms, now_ms) if is_slow else (),
        limits=tuple(_limit_line(each, subject) for each in subject.limits),
        least_span=_LEAST_STEPS * abs(_value(subject, step) - _value(subject, 0.0)),
    )
    return Chart(
        title=f"{limit.at}: {quantity_name(subject.quantity)}, the last {span}",
        from_ms=from_ms,
        until_ms=now_ms,
        zone=cellar.site.timezone,
        panes=(pane,),
        width_mm=_WIDTH_MM,
        height_mm=_HEIGHT_MM,
        dots_per_inch=_DOTS_PER_INCH,
        marks=(*_entry_marks(store, limit.at, from_ms, now_ms), *_alarm_marks(store, occurrence)),
    )


def _subject(limit: EffectiveLimit, limits: Mapping[str, EffectiveLimit], cellar: Cellar) -> _Subject:
    kind = cellar.place_kind(limit.at)
    if is_judged_id(limit.probe) and (is_on_gas(limit, kind) or is_on_cylinder(limit, kind)):
        # What was worked out means little without the pressure that it was worked out from.
        unit = unit_name("pressure", cellar.site.units)
        low = (each for each in limits.values() if (each.at, each.quantity, each.kind) == (limit.at, "pressure", "low"))
        return _Subject(place=limit.at, quantity="pressure", probe=None, unit=unit, limits=tuple(low))
    unit = limit.unit_text if limit.kind != "no data" else unit_name(limit.quantity, cellar.site.units)
    if limit.kind == "rate":
        unit = unit_name(limit.quantity, cellar.site.units)  # the limit's is that of a difference
    return _Subject(
        place=limit.at,
        quantity=limit.quantity,
        probe=None if is_judged_id(limit.probe) else limit.probe,
        unit=unit,
        limits=(limit,) if limit.kind in _LEVELS else (),
    )


def _lines(store: Store, subject: _Subject, from_ms: int, to_ms: int) -> tuple[ChartLine, ...]:
    if subject.quantity in JUDGED_QUANTITIES:
        judged = _judged_line(store, subject, subject.quantity, "estimate", from_ms, to_ms)
        return () if judged is None else (judged,)
    sources = summary(store, OfPlace(subject.place, subject.quantity), from_ms, to_ms, _POINTS).sources
    lines = []
    for source, rows in sources:
        if subject.probe not in (None, source.probe):
            continue
        at_ms: list[int] = []
        values: list[float] = []
        for row_ms, low, high in zip(rows.from_ms.tolist(), rows.low.tolist(), rows.high.tolist(), strict=True):
            if not math.isnan(low):
                both = (low,) if low == high else (low, high)
                at_ms += [row_ms] * len(both)
                values += [_value(subject, value) for value in both]
        if at_ms:
            gap_ms = max(_LEAST_GAP_MS, 3 * _usual_step_ms(at_ms))
            name = "as measured" if len(sources) == 1 else source.probe
            lines.append(ChartLine(at_ms=tuple(at_ms), values=tuple(values), name=name, gap_ms=gap_ms))
    if lines and subject.quantity == "pressure":
        compensated = _judged_line(store, subject, _COMPENSATED, "compensated", from_ms, to_ms)
        if compensated is not None:
            lines.append(compensated)
    return tuple(lines)


def _titrations(store: Store, subject: _Subject, from_ms: int, to_ms: int) -> tuple[ChartPoints, ...]:
    """What was found by hand at the place, with error bars of one standard uncertainty."""
    results = [
        result
        for result in summary(store, OfPlace(subject.place, subject.quantity), from_ms, to_ms, _POINTS).results
        if result.unit == LIMIT_QUANTITIES[subject.quantity].unit
    ]
    if not results:
        return ()
    return (
        ChartPoints(
            at_ms=tuple(result.at_ms for result in results),
            values=tuple(_value(subject, result.value) for result in results),
            errors=tuple(None if result.u is None else abs(_value(subject, result.u)) for result in results),
            name="titrated",
        ),
    )


def _usual_step_ms(at_ms: Sequence[int]) -> int:
    """The median of the times from value to value."""
    steps = sorted(after - before for before, after in pairwise(sorted({*at_ms})))
    return steps[len(steps) // 2] if steps else 0


def _judged_line(
    store: Store, subject: _Subject, name: str, style: Literal["compensated", "estimate"], from_ms: int, to_ms: int
) -> ChartLine | None:
    """What was judged of a place in each hour. Of wine it is found under its lot, so the newest lot there counts."""
    hours = judgement_history(store, (subject.place,), name, from_ms, to_ms)
    for judged in newest_judgements(store, place=subject.place):
        if not hours and judged.name == name and judged.lot:
            hours = judgement_history(store, (subject.place,), name, from_ms, to_ms, judged.lot)
    known = [(hour.at_ms, _value(subject, hour.value)) for hour in hours if hour.value is not None]
    if not known:
        return None
    return ChartLine(
        at_ms=tuple(at_ms for at_ms, _ in known),
        values=tuple(value for _, value in known),
        name=style,
        style=style,
        gap_ms=_SLOW_GAP_MS if subject.quantity in _SLOW else _JUDGED_GAP_MS,
    )


def _value(subject: _Subject, value: float) -> float:
    return value_in_unit(subject.quantity, value, subject.unit or LIMIT_QUANTITIES[subject.quantity].unit)


def _limit_line(limit: EffectiveLimit, subject: _Subject) -> ChartLimit:
    side: Literal["low", "high"] = "low" if limit.kind == "low" else "high"
    label = f"{side} limit {setpoint_text(limit)}"
    return ChartLimit(value=_value(subject, limit.setpoint), label=label, side=side)


def _alarm_marks(store: Store, occurrence: str) -> list[ChartMark]:
    """When the alarm was raised, with the time for which it stood."""
    marks: list[ChartMark] = []
    begun_ms: int | None = None
    for step in transitions(store, occurrence=occurrence):
        if step.to_state in _ACTIVE and begun_ms is None:
            begun_ms = step.at_ms
        elif step.to_state not in _ACTIVE and begun_ms is not None:
            marks.append(ChartMark(at_ms=begun_ms, label=_RAISED, kind="alarm", until_ms=step.at_ms))
            begun_ms = None
    if begun_ms is not None:
        marks.append(ChartMark(at_ms=begun_ms, label=_RAISED, kind="alarm"))
    return marks


def _entry_marks(store: Store, place: str, from_ms: int, to_ms: int) -> list[ChartMark]:
    """What people wrote about the place meanwhile."""
    written = entries(store, vessel=place, from_ms=from_ms, to_ms=to_ms, struck=False, newest=_MOST_ENTRIES)
    return [ChartMark(at_ms=entry.at_ms, label=kind_words(entry.kind), kind="entry") for entry in written]
