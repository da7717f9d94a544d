"""The fact of a message, by the kind of limit: what is wrong, or what is right again."""

from __future__ import annotations

__all__ = ["raised_fact", "returned_fact"]

from collections.abc import Sequence
from datetime import tzinfo
from typing import Final

from alerts.message.subject import is_beyond
from alerts.view.due_lines import day_text, due_name, due_text
from alerts.view.format import (
    duration_text,
    exact_time,
    limit_value_text,
    measured_name,
    quantity_name,
    setpoint_text,
    side,
    with_capital,
)
from alerts.view.gas.gas_alarm_name import gas_alarm_name
from alerts.watch.alarm import Transition
from alerts.watch.own_limits import own_words
from ingest.cellar import EffectiveLimit

# Of the probes that a cause took with it, this many are named.
_NAMED: Final = 20
_WORST: Final = {"low": "lowest", "high": "highest"}


def raised_fact(
    transition: Transition, limit: EffectiveLimit, place: str, zone: tzinfo, *, upper_bound: bool = False
) -> str:
    """Say what is wrong.

    place: what people call the place of the limit; zone: the site's, for days; upper_bound: no more is known of the
    value than that it is at most so much.
    """
    if limit.kind == "due":
        since_ms = transition.at_ms if transition.since_ms is None else transition.since_ms
        return f"{with_capital(due_text(limit, since_ms, _finding(transition), zone, transition.at_ms))}."
    quantity = measured_name(limit)
    own = own_words(limit)
    if own is not None:
        fact = f"{place}: {own.raised.format(part=_part(limit), span=duration_text(limit.setpoint))}"
        return f"{fact}\n{_silent(transition.explains)}" if transition.explains else fact
    if limit.role == "bad measurement":
        return (
            f"{place}: probe {limit.probe} ({quantity}) has sent no reading that can be trusted for more than "
            f"{duration_text(limit.setpoint)}.\nIts other limits are not judged meanwhile."
        )
    if limit.kind == "no data":
        return (
            f"{place}: probe {limit.probe} ({quantity}) has sent nothing for more than "
            f"{duration_text(limit.setpoint)}.\nUntil it does, nobody knows how {place} is."
        )
    if limit.kind == "rate":
        return _changing_fact(transition, limit, place)
    return _level_fact(transition, limit, place, "at most " if upper_bound else "")


def _level_fact(transition: Transition, limit: EffectiveLimit, place: str, at_most: str) -> str:
    quantity, beyond = measured_name(limit), f"{side(limit)} the limit of {setpoint_text(limit)}"
    finding = f"\nFinding: {_finding(transition)}." if _finding(transition) else ""
    if _is_on_its_way_back(transition, limit):
        return (
            f"{place}: {quantity} is {at_most}{_text(transition.value, limit)}. It was {beyond}, {_WORST[limit.kind]} "
            f"{_text(transition.extreme, limit)}, and has not come back far enough yet.{finding}"
        )
    if (gas := gas_alarm_name(limit, transition.value)) is not None:
        return f"{place} {gas}.{finding}"
    value = "" if transition.value is None else f" is {at_most}{_text(transition.value, limit)}"
    return f"{place}: {quantity}{value}, {beyond}.{finding}"


def _is_on_its_way_back(transition: Transition, limit: EffectiveLimit) -> bool:
    """Whether the value is no longer beyond the setpoint: it is reported because a mute has ended."""
    value = transition.value
    return value is not None and transition.extreme is not None and not is_beyond(limit, value)


def _text(value: float | None, limit: EffectiveLimit) -> str:
    return "" if value is None else limit_value_text(value, limit)


def _changing_fact(transition: Transition, limit: EffectiveLimit, place: str) -> str:
    quantity, within = quantity_name(limit.quantity), duration_text(limit.within_s)
    if _is_on_its_way_back(transition, limit):
        return (
            f"{place}: {quantity} changed quickly, by up to {_text(transition.extreme, limit)} in {within}, and has "
            f"not been calm for long enough yet. The limit is {setpoint_text(limit)}."
        )
    change = "" if transition.value is None else f", by {limit_value_text(transition.value, limit)}"
    by = f"{change} in {within}" if change else ""
    direction = _finding(transition) or "changing"
    return f"{place}: {quantity} is {direction} quickly{by}. The limit is {setpoint_text(limit)}."


def _silent(probes: Sequence[str]) -> str:
    """Name the probes that a cause took with it."""
    names = ", ".join(probes[:_NAMED])
    if len(probes) > _NAMED:
        names += f" and {len(probes) - _NAMED} more"
    return f"Nothing is heard from {len(probes)} probe{'s' if len(probes) > 1 else ''}: {names}."


def returned_fact(
    transition: Transition, limit: EffectiveLimit, place: str, zone: tzinfo, beyond: EffectiveLimit | None = None
) -> str:
    """Say what is right again, how long it was wrong, and how far it went.

    zone: the site's, for the times; beyond: another limit that the value is beyond now.
    """
    if limit.kind == "due":
        return _done_fact(transition, limit, zone)
    quantity = measured_name(limit)
    own = own_words(limit)
    if own is not None:
        fact, was = f"{place}: {own.returned.format(part=_part(limit))}", "The alarm lasted"
    elif limit.role == "bad measurement":
        fact, was = f"{place}: probe {limit.probe} ({quantity}) gives good readings again.", "It gave none for"
    elif limit.kind == "no data":
        fact, was = f"{place}: probe {limit.probe} ({quantity}) is heard again.", "It was silent for"
    elif limit.kind == "rate":
        fact = f"{place}: {quantity_name(limit.quantity)} no longer changes quickly."
        was = f"It changed by more than {setpoint_text(limit)} for"
    else:
        value = "" if transition.value is None else f": {limit_value_text(transition.value, limit)}"
        fact = f"{place}: {quantity} has returned to normal{value}."
        if transition.still or beyond is not None:
            fact = f"{place}: {quantity} is no longer {side(limit)} {setpoint_text(limit)}{value}."
        if beyond is not None and not transition.still:
            fact += f"\nIt is not normal: it is {side(beyond)} the limit of {setpoint_text(beyond)}, {beyond.key}."
        was = f"It was {side(limit)} {setpoint_text(limit)} for"
    fact += _lasted(transition, limit, was, zone)
    if transition.still:
        standing = " and ".join(transition.still)
        fact += f"\nIt is not normal yet: {standing} still stands, which was reported before."
    return fact


def _lasted(transition: Transition, limit: EffectiveLimit, was: str, zone: tzinfo) -> str:
    """How long it lasted, and how far it went, in lines of their own. was: how the sentence about that begins."""
    extreme = None if limit.kind == "no data" else transition.extreme
    if extreme is not None and not is_beyond(limit, extreme):  # judged by other numbers when it began
        was = "The limit was changed meanwhile; the alarm lasted"
    lines = ""
    began_ms = transition.since_ms
    ended_ms = transition.at_ms if transition.condition is None else transition.condition.since_ms
    if began_ms is not None and ended_ms >= began_ms:
        span = f"from {exact_time(began_ms, zone)} to {exact_time(ended_ms, zone)}"
        lines += f"\n{was} {duration_text((ended_ms - began_ms) / 1000)}, {span}."
    if extreme is not None:
        name = {"low": "lowest value", "rate": "largest change"}.get(limit.kind, "highest value")
        lines += f"\nThe {name} was {limit_value_text(extreme, limit)}."
    return lines


def _done_fact(transition: Transition, limit: EffectiveLimit, zone: tzinfo) -> str:
    since = "" if transition.since_ms is None else day_text(transition.since_ms, zone, transition.at_ms)
    was_due = f"\nIt was due since {since}." if since else ""
    finding, condition = _finding(transition), transition.condition
    if condition is None or not finding:
        return f"{with_capital(due_name(limit))} is no longer due.{was_due}"
    return (
        f"{with_capital(due_name(limit))}: {finding} {day_text(condition.since_ms, zone, transition.at_ms)}.{was_due}"
    )


def _finding(transition: Transition) -> str:
    return "" if transition.condition is None else transition.condition.finding


def _part(limit: EffectiveLimit) -> str:
    """The part of leeside that a limit is on, as it stands in a sentence."""
    return "the broker" if limit.quantity == "broker" else limit.quantity
