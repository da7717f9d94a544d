"""A message on trial: what would be sent if a limit saw a value now. Nothing is raised and nothing is stored."""

from __future__ import annotations

__all__ = ["Trial", "is_beyond", "parse_value", "try_limit"]

from collections.abc import Sequence
from dataclasses import replace
from typing import Final, NamedTuple

from alerts.gas.stock import RoomGas
from alerts.message.helper_air import HelperAir
from alerts.message.hours import earliest, hours_of
from alerts.message.room_air import air_paragraph, is_about_gas
from alerts.message.subject import SUBJECT_LIMIT, is_beyond
from alerts.message.wording import Ago, MessageText, compose, view_of
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import AlarmEvent, Occasion, State
from alerts.watch.condition import Condition
from alerts.watch.due import DAY_MS
from alerts.watch.rate import FALLING, RISING
from ingest.cellar import (
    LIMIT_QUANTITIES,
    Cellar,
    Dimension,
    EffectiveLimit,
    PressureKind,
    parse_amount,
    plausible_range,
)
from ingest.store.readings.series_history import HistoryRow

_OCCURRENCE: Final = "trial"
# Longer than any limit on silence or on due work can be.
LONGEST_DAYS: Final = 3650


class Trial(NamedTuple):
    """What would be sent, and when.

    text: the message as the alarm would send it; raised_ms: when the alarm would be raised if the value stayed, UTC
    ms; not_before_ms: the earliest time at which the message would go out.
    """

    text: MessageText
    raised_ms: int
    not_before_ms: int

    def marked(self, who: str) -> MessageText:
        """The message as it is sent on trial, so that nobody can take it for an alarm."""
        subject = f"TRIAL: {self.text.subject}"
        if len(subject) > SUBJECT_LIMIT:
            subject = subject[: SUBJECT_LIMIT - 1] + "…"
        return MessageText(
            subject,
            f"THIS IS A TRIAL, sent by {who} with `leeside limits --try`. No alarm was raised, and there is nothing to "
            f"acknowledge.\nThe alarm itself would say:\n\n{self.text.body}",
        )


def parse_value(limit: EffectiveLimit, text: str, place_kind: str) -> float:
    """Read a value for a limit: in the quantity's unit, a change of it for a limit on a rate, or
    seconds for a limit on silence.

    place_kind: of the limit's place. Raises ValueError whose text says what is allowed.
    """
    if limit.kind in ("due", "no data"):
        unit, example = ("d", "40 d") if limit.kind == "due" else ("s", "10 min")
        days = parse_amount(text, dimension=Dimension.TIME, unit="d", example=example).number
        if not 0 <= days <= LONGEST_DAYS:
            raise ValueError(f"allowed is a time from 0 to {LONGEST_DAYS} d")
        return parse_amount(text, dimension=Dimension.TIME, unit=unit, example=example).number
    row = LIMIT_QUANTITIES[limit.quantity]
    if limit.kind == "rate":
        pressure: PressureKind | None = "difference" if row.pressure else None
        return parse_amount(
            text, dimension=row.difference, unit=row.unit, example=row.deadband_example, pressure=pressure
        ).number
    value = parse_amount(
        text, dimension=row.dimension, unit=row.unit, example=row.example, pressure=row.pressure
    ).number
    low, high = plausible_range(limit.quantity, place_kind)
    if not low <= value <= high:
        raise ValueError(f"such a reading is marked as bad and never judged: allowed is {low:g} to {high:g} {row.unit}")
    return value


def try_limit(
    limit: EffectiveLimit,
    value: float,
    cellar: Cellar,
    now_ms: int,
    readings: Sequence[HistoryRow] = (),
    lots: Sequence[str] = (),
    gas: RoomGas | None = None,
    earlier: Sequence[Ago] = (),
    *,
    upper_bound: bool = False,
    helper: HelperAir | None = None,
) -> Trial:
    """Write the message of a value that is beyond the limit from now on.

    readings: the newest of the limit's probe, oldest first; the tried value follows them in the message; lots: the
    wine that lies at its place; gas: what can empty into its room; earlier: what the probe read
    an hour and a day ago; upper_bound: what is judged of its SO2 is at most so much; helper: of the message to somebody
    who stands in while the owner is away, what they can do, and the air.
    """
    silence = limit.kind == "no data"
    since_ms, finding = now_ms, ""
    if silence:
        since_ms -= round(value * 1000)
    elif limit.kind == "due":  # the value counts from when the work was done last
        since_ms -= round((value - limit.setpoint) * DAY_MS)
    elif limit.kind == "rate":
        finding = RISING if value > 0 else FALLING
    raised_ms = now_ms if silence else now_ms + round(limit.on_delay_s * 1000)
    judged = None if silence else abs(value) if limit.kind == "rate" else value
    transition = Transition(
        key=limit.key,
        occurrence=_OCCURRENCE,
        at_ms=raised_ms,
        from_state=State.NORMAL,
        to_state=State.UNACKNOWLEDGED,
        event=AlarmEvent.BEGAN,
        occasion=Occasion.RAISED,
        opened=_OCCURRENCE,
        value=judged,
        raised_value=judged,
        since_ms=since_ms,
        extreme=judged,
        condition=Condition(limit.key, True, since_ms, judged, finding, extreme=judged),
    )
    shown = (*readings, HistoryRow(now_ms, value, 0))
    if silence or limit.kind in ("due", "rate"):  # the value is not one that the probe measures
        shown = tuple(readings) if limit.kind == "rate" else ()
    view = replace(view_of(cellar, limit.at), upper_bound=upper_bound)
    air = air_paragraph(gas, view) if is_about_gas(transition, limit, view) else ""
    helper = helper or HelperAir(air, "")
    before = earlier if shown else ()
    text = compose(
        transition, limit, view, readings=shown, earlier=before, lots=lots, air=helper.text, helper_step=helper.step
    )
    return Trial(text, raised_ms, earliest(raised_ms, hours_of(limit), cellar.site.waking, cellar.site.zone))
