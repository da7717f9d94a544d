"""A limit with where it stands: lines for people, an object for programs."""

from __future__ import annotations

__all__ = [
    "WIDTH",
    "LimitStatus",
    "deadband_text",
    "limit_json",
    "limit_lines",
    "limit_statuses",
    "limit_words",
    "limits_by_place",
    "origin_words",
    "raised_words",
    "state_words",
]

import textwrap
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Final

from alerts.view.alarms.muted_lines import mute_text
from alerts.view.due_lines import due_words
from alerts.view.format import duration_text, local_time, missing_words, setpoint_text
from alerts.watch.alarm import AlarmState
from alerts.watch.alarm_table import MUTING, State
from alerts.watch.own_limits import own_words
from alerts.watch.watch_state import LimitRecord, WatchStateUnreadable
from ingest.cellar import LIMIT_QUANTITIES, Cellar, EffectiveLimit, value_in_unit
from ingest.store.alarms.alarm_record import AlarmRow, TransitionRow
from ingest.times import iso_utc_known

# In characters; what a terminal of usual width and a printed page hold.
WIDTH: Final = 100
_HEADINGS: Final = ("limit", "alarm", "deadband", "delays on, off", "priority", "hours")
_NOTE_INDENT: Final = 6 * " "
# The unit inside leeside -> the end of a JSON key, for a value and for a difference of two.
_SUFFIXES: Final = {
    "kPa": ("kpa", "kpa"),
    "°C": ("c", "k"),
    "pH": ("ph", "ph"),
    "mg/L": ("mg_l", "mg_l"),
    "mL/min": ("ml_min", "ml_min"),
    "h": ("h", "h"),
    "d": ("d", "d"),
}


@dataclass(frozen=True, slots=True)
class LimitStatus:
    """A limit and where it stands.

    alarm: None while no turn has judged it; muted: why it says nothing now, "" where it does not; raised_ms: when it
    last raised an alarm, UTC ms, None if it never did.
    """

    limit: EffectiveLimit
    alarm: AlarmState | None
    muted: str
    raised_ms: int | None


def limit_statuses(
    limits: Iterable[EffectiveLimit],
    rows: Iterable[AlarmRow],
    steps: Mapping[str, TransitionRow],
    raised_ms: Mapping[str, int],
) -> list[LimitStatus]:
    """Put together what the store knows of each limit. steps: the newest of each; raised_ms: as ``last_raised_ms``."""
    records = {}
    for row in rows:
        try:
            records[row.key] = LimitRecord.from_json(row.entry, 0.0)
        except WatchStateUnreadable:
            continue  # the alerts daemon says so when it starts
    active = {key for key, record in records.items() if record.track.active}
    statuses = []
    for limit in limits:
        alarm = records[limit.key].alarm if limit.key in records else None
        muted = _muted(limit, alarm, steps.get(limit.key), active)
        statuses.append(LimitStatus(limit, alarm, muted, raised_ms.get(limit.key)))
    return statuses


def _muted(limit: EffectiveLimit, alarm: AlarmState | None, step: TransitionRow | None, active: Collection[str]) -> str:
    if alarm is None or alarm.state not in MUTING:
        return ""
    if alarm.out_of_service is not None:
        return f"out of service by {alarm.out_of_service.by}: {alarm.out_of_service.why}"
    if alarm.shelving is not None:
        return f"by {alarm.shelving.by}: {alarm.shelving.why}"
    if alarm.suppressed_because:
        return alarm.suppressed_because
    if step is not None and step.note:
        return step.note
    cause = next((key for key in limit.suppressed_by if key in active), None)
    return "suppressed by design" if cause is None else f"{cause} is active"


def limit_words(limit: EffectiveLimit) -> str:
    """When a limit alarms: "below 5 kPa", "no data for 2 min"."""
    if limit.kind == "no data":
        own, span = own_words(limit), duration_text(limit.setpoint)
        return f"{missing_words(limit)} for {span}" if own is None else own.tail.format(span=span)
    if limit.kind == "due":
        return due_words(limit)
    if limit.kind == "rate":
        return f"changes by more than {setpoint_text(limit)}"
    return f"{'below' if limit.kind == 'low' else 'above'} {setpoint_text(limit)}"


def limit_lines(
    groups: Sequence[tuple[str, Sequence[LimitStatus]]], zone: tzinfo, now_ms: int, width: int = WIDTH
) -> list[str]:
    """A table of limits under a heading for each place, two lines or more for each limit.

    groups: the heading and the limits of each place; width: in characters, which only a long key or word exceeds.
    """
    cells = {status.limit.key: _cells(status.limit) for _, statuses in groups for status in statuses}
    rows = [_HEADINGS, *cells.values()]
    widths = [max(len(row[column]) for row in rows) for column in range(len(_HEADINGS))]
    # A long key stands in a line of its own rather than pushing the other columns out of sight.
    widths[0] = max(len(_HEADINGS[0]), min(widths[0], width - sum(widths[1:]) - 2 * len(widths)))
    lines = [_row(_HEADINGS, widths)]
    for heading, statuses in groups:
        lines += ["", heading]
        for status in statuses:
            lines.append(_row(cells[status.limit.key], widths))
            lines += textwrap.wrap(
                _standing(status, zone, now_ms),
                width,
                initial_indent=_NOTE_INDENT,
                subsequent_indent=_NOTE_INDENT,
                break_long_words=False,
                break_on_hyphens=False,
            )
    return lines


def limits_by_place(cellar: Cellar, statuses: Iterable[LimitStatus]) -> list[tuple[str, list[LimitStatus]]]:
    """Put limits under their places, in the order of the cellar file; leeside itself comes last."""
    headings = {place.id: f"{place.id} ({cellar.place_kind(place.id)})" for place in cellar.places}
    groups: dict[str, list[LimitStatus]] = {heading: [] for heading in headings.values()}
    for status in sorted(statuses, key=lambda status: status.limit.at not in headings):
        at = status.limit.at
        groups.setdefault(headings.get(at, at), []).append(status)
    return [(heading, group) for heading, group in groups.items() if group]


def _cells(limit: EffectiveLimit) -> tuple[str, ...]:
    silence = limit.kind in ("no data", "due")
    return (
        limit.key,
        limit_words(limit),
        deadband_text(limit),
        "" if silence else f"{duration_text(limit.on_delay_s)}, {duration_text(limit.off_delay_s)}",
        limit.priority,
        limit.hours,
    )


def _row(cells: Sequence[str], widths: Sequence[int]) -> str:
    padded = [f"{cell:{width}}" for cell, width in zip(cells, widths, strict=True)]
    if len(cells[0]) > widths[0]:
        return f"  {cells[0]}\n  {' ' * widths[0]}  {'  '.join(padded[1:])}".rstrip()
    return f"  {'  '.join(padded)}".rstrip()


def deadband_text(limit: EffectiveLimit) -> str:
    """The deadband in the limit's unit, "" where there is none."""
    if limit.kind in ("no data", "due"):
        return ""
    factor = value_in_unit(limit.quantity, 1.0, limit.unit_text) - value_in_unit(limit.quantity, 0.0, limit.unit_text)
    return f"{limit.deadband * factor:.4g} {limit.unit_text}"


def _standing(status: LimitStatus, zone: tzinfo, now_ms: int) -> str:
    """Where the limit stands, where it comes from, and when it last acted."""
    return f"{state_words(status, zone, now_ms)}; {origin_words(status.limit)}; {raised_words(status, zone, now_ms)}"


def origin_words(limit: EffectiveLimit) -> str:
    """Where a limit comes from."""
    return "from the cellar file" if limit.origin == "file" else "default"


def raised_words(status: LimitStatus, zone: tzinfo, now_ms: int) -> str:
    """When it last raised an alarm: "last alarm 04:24:00 CET"."""
    if status.raised_ms is None:
        return "has never raised an alarm"
    return f"last alarm {local_time(status.raised_ms, zone, now_ms)}"


def state_words(status: LimitStatus, zone: tzinfo, now_ms: int) -> str:
    """Where a limit stands: "in range", "ALARM a2b since 04:24:00 CET, not acknowledged", why it is muted."""
    limit, alarm = status.limit, status.alarm
    if alarm is None:
        return "not judged yet"
    if alarm.shelving is not None or alarm.out_of_service is not None:
        return mute_text(alarm, zone, now_ms)
    if status.muted:
        return f"muted: {status.muted}"
    since = "" if alarm.since_ms is None else f" since {local_time(alarm.since_ms, zone, now_ms)}"
    words = {
        State.NORMAL: "in order" if limit.kind == "no data" else "not due" if limit.kind == "due" else "in range",
        State.UNACKNOWLEDGED: f"ALARM {alarm.occurrence}{since}, not acknowledged",
        State.ACKNOWLEDGED: f"ALARM {alarm.occurrence}{since}, seen by {alarm.acknowledged_by}",
        State.RETURNED: f"back to normal, alarm {alarm.occurrence} not acknowledged",
    }
    return words.get(alarm.state, str(alarm.state))


def limit_json(status: LimitStatus) -> dict[str, object]:
    """Give the same as an object. The keys of setpoint and deadband end in their unit: ``setpoint_kpa``."""
    limit, alarm = status.limit, status.alarm
    silence = limit.kind in ("no data", "due")
    of_time = "d" if limit.kind == "due" else "s"
    of_value, of_difference = (of_time, of_time) if silence else _SUFFIXES[LIMIT_QUANTITIES[limit.quantity].unit]
    if limit.kind == "rate":
        of_value = of_difference
    return {
        "limit": limit.key,
        "at": limit.at,
        "lot": limit.lot or None,
        "quantity": limit.quantity,
        "kind": "bad measurement" if limit.role == "bad measurement" else limit.kind,
        "probe": limit.probe or None,
        f"setpoint_{of_value}": limit.setpoint,
        "within_s": limit.within_s or None,
        f"deadband_{of_difference}": None if silence else limit.deadband,
        "on_delay_s": limit.on_delay_s,
        "off_delay_s": limit.off_delay_s,
        "priority": limit.priority,
        "hours": limit.hours,
        "origin": limit.origin,
        "suppressed_by": list(limit.suppressed_by),
        "state": None if alarm is None else str(alarm.state),
        "muted": status.muted or None,
        "alarm": None if alarm is None else alarm.occurrence,
        "last_raised": iso_utc_known(status.raised_ms),
        "consequence": limit.consequence,
        "action": limit.action,
    }
