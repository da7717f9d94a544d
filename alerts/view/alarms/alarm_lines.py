"""An open alarm: a line for people, an object for programs."""

from __future__ import annotations

__all__ = [
    "alarm_due_text",
    "alarm_json",
    "alarm_line",
    "alarm_setpoint",
    "alarm_value",
    "alarm_what",
    "chatter_text",
    "finding_suffix",
    "since_suffix",
]

from datetime import tzinfo

from alerts.view.due_lines import due_text
from alerts.view.format import (
    age,
    limit_value_text,
    local_time,
    measured_name,
    missing_words,
    setpoint_text,
    side,
    value_text,
)
from alerts.view.gas.gas_alarm_name import gas_alarm_name
from alerts.view.status import AlarmStatus
from ingest.cellar import LIMIT_QUANTITIES, EffectiveLimit
from ingest.times import iso_utc, iso_utc_known


def alarm_line(alarm: AlarmStatus, zone: tzinfo, units: str, now_ms: int) -> str:
    """One alarm in one line: id, priority, place, what, since when, finding, whether somebody has seen it."""
    limit = alarm.limit
    is_due = limit is not None and limit.kind == "due"
    what = alarm_what(alarm, zone, units, now_ms)
    if limit is not None and limit.kind == "no data" and limit.probe:
        what += f" from {limit.probe}"
    what = what if is_due or limit is None else f"{alarm.at} {what}"
    since = since_suffix(alarm, zone, now_ms)
    since = "" if is_due or not since else f"{since}, {age(now_ms - (alarm.since_ms or now_ms))} ago"
    finding = "" if is_due else finding_suffix(alarm, zone, now_ms)
    state = {"returned": "back to normal, not acknowledged", "acknowledged": f"seen by {alarm.acknowledged_by}"}.get(
        alarm.state, "not acknowledged"
    )
    line = f"{alarm.occurrence:5} {limit.priority if limit else '-':6} {what}{since}{finding} ({state})"
    chatter = chatter_text(alarm, zone, now_ms)
    return f"{line}, {chatter}" if chatter else line


def alarm_what(alarm: AlarmStatus, zone: tzinfo, units: str, now_ms: int) -> str:
    """Say what an alarm is about, without its place: "pressure 3.5 kPa, below 5.0 kPa"; of due work the whole."""
    limit = alarm.limit
    if limit is None:
        return f"{alarm.key} (its limit has left the cellar file)"
    if limit.kind == "due":
        return alarm_due_text(alarm, limit, zone, now_ms)
    if limit.kind == "no data":
        return f"{measured_name(limit)}: {missing_words(limit)}"
    if (gas := gas_alarm_name(limit, alarm.value)) is not None:
        return gas
    value = "" if alarm.value is None else alarm_value(limit, alarm.value, units)
    value = f"at most {value}" if value and alarm.upper_bound else value
    return f"{measured_name(limit)} {value}, {alarm_setpoint(limit, units)}"


def since_suffix(alarm: AlarmStatus, zone: tzinfo, now_ms: int) -> str:
    """Since when it stands: ", since 04:24:00 CET"; ", alarm since ..." where its finding is older; "" if not known."""
    if alarm.since_ms is None:
        return ""
    what = "since" if alarm.finding_since_ms is None else "alarm since"
    return f", {what} {local_time(alarm.since_ms, zone, now_ms)}"


def finding_suffix(alarm: AlarmStatus, zone: tzinfo, now_ms: int) -> str:
    """What explains it, and since when that holds where it began before the alarm: ", slow leak since 23:10:00 CET"."""
    if not alarm.finding:
        return ""
    since_ms = alarm.finding_since_ms
    return f", {alarm.finding}" + ("" if since_ms is None else f" since {local_time(since_ms, zone, now_ms)}")


def alarm_due_text(alarm: AlarmStatus, limit: EffectiveLimit, zone: tzinfo, now_ms: int) -> str:
    """Say what an alarm on due work, whose limit this is, is about, and since when."""
    return due_text(limit, alarm.since_ms or now_ms, alarm.finding, zone, now_ms)


def alarm_value(limit: EffectiveLimit, value: float, units: str) -> str:
    """The value at which a limit was raised; of a limit on a rate a change in its own unit, of due work days."""
    own_unit = limit.kind in ("rate", "due")
    return limit_value_text(value, limit) if own_unit else value_text(limit.quantity, value, units)


def alarm_setpoint(limit: EffectiveLimit, units: str) -> str:
    """The setpoint of a limit on a value with its side: "below 5.0 kPa", "above 5 °C in 1 h"."""
    if limit.kind in ("rate", "due"):
        return f"{side(limit)} {setpoint_text(limit)}"
    return f"{side(limit)} {value_text(limit.quantity, limit.setpoint, units)}"


def chatter_text(alarm: AlarmStatus, zone: tzinfo, now_ms: int) -> str:
    """How often a chattering alarm was raised, "" for one that does not chatter."""
    if alarm.chatter.since_ms is None:
        return ""
    return f"raised {alarm.chatter.count} times since {local_time(alarm.chatter.since_ms, zone, now_ms)}"


def alarm_json(alarm: AlarmStatus, now_ms: int) -> dict[str, object]:
    """One alarm as JSON; values in the quantity's unit, which is named beside them. now_ms: UTC ms, for its age."""
    limit = alarm.limit
    unit = "s" if limit is None or limit.kind == "no data" else _unit(limit)
    return {
        "alarm": alarm.occurrence,
        "limit": alarm.key,
        "state": alarm.state,
        "at": alarm.at,
        "quantity": limit.quantity if limit else None,
        "kind": limit.kind if limit else None,
        "priority": limit.priority if limit else None,
        "value": alarm.value,
        "last_value": alarm.last_value,
        "setpoint": limit.setpoint if limit else None,
        "unit": unit,
        "since": iso_utc_known(alarm.since_ms),
        "age_s": None if alarm.since_ms is None else max(now_ms - alarm.since_ms, 0) // 1000,
        "finding": alarm.finding or None,
        "finding_since": iso_utc_known(alarm.finding_since_ms),
        "acknowledged_by": alarm.acknowledged_by,
        "chattering": None
        if alarm.chatter.since_ms is None
        else {"raised": alarm.chatter.count, "since": iso_utc(alarm.chatter.since_ms)},
        "consequence": limit.consequence if limit else None,
        "action": limit.action if limit else None,
    }


def _unit(limit: EffectiveLimit) -> str:
    return "d" if limit.kind == "due" else LIMIT_QUANTITIES[limit.quantity].unit
