"""An alarm's step in plain words, for a cellarhand who reads it on a telephone at night."""

from __future__ import annotations

__all__ = ["SAFETY", "SUBJECT_LIMIT", "CellarView", "MessageText", "ShownReading", "compose", "tail_of", "view_of"]

import math
import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import Final, NamedTuple

from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import State, Tells
from alerts.watch.own_limits import OWN_WORDS, OwnWords, good_of
from ingest.cellar import QUANTITIES, Cellar, EffectiveLimit, Vessel, value_in_unit

# RFC 5322 section 2.1.1: a line should have no more than 78 characters.
SUBJECT_LIMIT: Final = 78

# That an inert gas gives no warning: EIGA SAG NL 77, "Campaign against asphyxiation" (title from memory).
SAFETY: Final = """\
FIRST: air the room before you go in, and do not go in alone. Nitrogen gives no warning: too little
air is not felt, not seen and not smelt. Argon is the same, and carbon dioxide is poisonous as well.
Leeside is not a gas alarm and does not replace one. Local rules and licensed practice come first."""

_PRIORITY_WORDS: Final = {"high": "HIGH", "medium": "MEDIUM", "low": "LOW PRIORITY"}
_RETURNED_WORD: Final = "BACK TO NORMAL"
_REMOVED_WORD: Final = "LIMIT REMOVED"
_TAIL_LIMIT: Final = SUBJECT_LIMIT - len(_RETURNED_WORD) - 2
_SHOWN_READINGS: Final = 10
_SECOND_MS: Final = 1000


class MessageText(NamedTuple):
    """What a message says. subject: at most 78 characters; body: plain text."""

    subject: str
    body: str


class ShownReading(NamedTuple):
    """A reading to show: own time in UTC milliseconds, value in our unit of the quantity."""

    at_ms: int
    value: float


@dataclass(frozen=True, slots=True)
class CellarView:
    """What the words need to know of the cellar.

    file: the cellar file as a command names it; tz: the site's time zone; place: what people call the place;
    place_kind: the vessel's kind, ``cylinder``, ``room`` or "" where the place is gone; under_gas: a gas blanket is
    kept in it.
    """

    file: str
    tz: tzinfo
    place: str = ""
    place_kind: str = ""
    under_gas: bool = False


def view_of(cellar: Cellar, at: str | None) -> CellarView:
    """The view of a place of the cellar; at: its id, or None (or an id that is gone) for the cellar as a whole."""
    here = next((place for place in cellar.places if place.id == at), None)
    if here is None:
        return CellarView(cellar.file, cellar.site.zone, at or "")
    if isinstance(here, Vessel):
        title = f"{here.id} ({here.name})" if here.name else here.id
        return CellarView(cellar.file, cellar.site.zone, title, here.kind, here.under_gas)
    return CellarView(cellar.file, cellar.site.zone, here.id, cellar.place_kind(here.id))


def compose(
    transition: Transition,
    limit: EffectiveLimit | None,
    view: CellarView,
    *,
    readings: Sequence[ShownReading] = (),
    thread_subject: str | None = None,
) -> MessageText:
    """The message about a transition that tells something.

    limit: None where it is no longer in the cellar file; readings: the newest ones, oldest first (the last ten are
    shown); thread_subject: the subject under which the occurrence was raised, where one went out: its words after the
    state word are kept, for mail readers that thread by subject. Raises ValueError for a transition that tells
    nothing.
    """
    if transition.tells is None:
        raise ValueError(f"a step to '{transition.to_state}' of {transition.key} tells nothing")
    tail = tail_of(thread_subject) if thread_subject else _tail(transition, limit)
    if limit is None or transition.tells is Tells.REMOVED:
        return MessageText(f"{_REMOVED_WORD}: {tail}", _removed(transition, view))
    if transition.tells is Tells.RAISED:
        word, body = _PRIORITY_WORDS[limit.priority], _raised(transition, limit, view)
    else:
        word, body = _RETURNED_WORD, _returned(transition, limit, view)
    if readings:
        body += "\n\n" + _last_readings(readings, limit, view)
    if _is_dangerous(limit, view):
        body = f"{SAFETY}\n\n{body}"
    return MessageText(f"{word}: {tail}", body + "\n")


def tail_of(subject: str) -> str:
    """A subject without its leading state word."""
    return subject.partition(": ")[2] or subject


def _is_dangerous(limit: EffectiveLimit, view: CellarView) -> bool:
    """Whether gas may be in the room, or a vessel may give way."""
    if view.place_kind == "cylinder":
        return True
    return limit.quantity == "pressure" and (limit.kind == "high" or (limit.kind == "low" and view.under_gas))


def _tail(transition: Transition, limit: EffectiveLimit | None) -> str:
    if limit is None:
        return _shortened(transition.key, _TAIL_LIMIT)
    quantity = _quantity(limit)
    if limit.kind == "no data":
        missing = "no good reading" if limit.role == "bad measurement" else "no data"
        if _is_part_of_leeside(limit):
            missing = "not responding"
        own = _own_words(limit)
        tail = own.tail if own is not None else missing + " for {span}"
        rest = f" {quantity}, {tail.format(span=_duration(limit.setpoint))}"
    else:
        value = "" if transition.raised_value is None else f" {_value(transition.raised_value, limit)}"
        rest = f" {quantity}{value}, {_side(limit)} {_setpoint(limit)}"
    return _shortened(limit.at, _TAIL_LIMIT - len(rest)) + rest


def _shortened(text: str, width: int) -> str:
    return text if len(text) <= width else text[: max(width - 1, 1)] + "…"


def _raised(transition: Transition, limit: EffectiveLimit, view: CellarView) -> str:
    since = "" if transition.since_ms is None else _moment(transition.since_ms, view.tz)
    place = view.place or limit.at
    if _is_part_of_leeside(limit):
        span = _duration(limit.setpoint)
        own = _own_words(limit)
        if own is not None:
            head = f"{place}: {own.raised.format(span=span)}"
        else:
            head = f"{place}: {limit.probe} has not responded for more than {span}."
    elif limit.role == "bad measurement":
        head = (
            f"{place}: probe {good_of(limit.probe)} ({_quantity(limit)}) reports, but nothing of it can be trusted for "
            f"more than {_duration(limit.setpoint)}.\nIts other limits are not judged meanwhile."
        )
    elif limit.kind == "no data":
        head = (
            f"{place}: nothing has come from probe {limit.probe} ({_quantity(limit)}) for more than "
            f"{_duration(limit.setpoint)}.\nNobody knows how {place} is until it is heard again."
        )
    else:
        value = "" if transition.value is None else f" is {_value(transition.value, limit)}"
        head = f"{place}: {_quantity(limit)}{value}, {_side(limit)} the limit of {_setpoint(limit)}."
    return "\n".join(
        [
            head,
            "",
            f"Since:       {since}",
            f"Priority:    {limit.priority}",
            f"If ignored:  {limit.consequence}",
            f"What to do:  {limit.action}",
            f"Acknowledge: {_acknowledge(transition, view)}",
        ]
    )


def _returned(transition: Transition, limit: EffectiveLimit, view: CellarView) -> str:
    place, quantity = view.place or limit.at, _quantity(limit)
    began = transition.since_ms
    ended = transition.at_ms if transition.condition is None else transition.condition.since_ms
    if limit.kind == "no data":
        name = limit.probe if _is_part_of_leeside(limit) else f"probe {good_of(limit.probe)} ({quantity})"
        bad = limit.role == "bad measurement"
        own = _own_words(limit)
        if own is not None:
            return f"{place}: {own.returned}"
        head = f"{place}: {name} {'gives good readings' if bad else 'is heard'} again."
        was = "It gave none" if bad else "It was silent"
    else:
        value = "" if transition.value is None else f": {_value(transition.value, limit)}"
        head = f"{place}: {quantity} has returned to normal{value}."
        was = f"It was {_side(limit)} {_setpoint(limit)}"
    if began is not None and ended >= began:
        span = f"from {_moment(began, view.tz)} to {_moment(ended, view.tz)}"
        head += f"\n{was} for {_duration((ended - began) / _SECOND_MS)}, {span}."
    if limit.kind != "no data" and transition.extreme is not None:
        name = "highest" if limit.kind == "high" else "lowest"
        head += f"\nThe {name} value was {_value(transition.extreme, limit)}."
    if transition.to_state is State.RETURNED:
        head += f"\n\nNobody has acknowledged it yet: {_acknowledge(transition, view)}"
    return head


def _removed(transition: Transition, view: CellarView) -> str:
    return (
        f"The limit {transition.key} is no longer in the cellar file.\n"
        f"So its alarm {transition.occurrence} is closed, and no further message about it follows.\n\n"
        "That does not mean that all is well: nobody watches this any more.\n"
        f"If it was not meant, put the limit back into {view.file}.\n"
    )


def _acknowledge(transition: Transition, view: CellarView) -> str:
    return f"leeside acknowledge {shlex.quote(view.file)} {transition.occurrence}"


def _last_readings(readings: Sequence[ShownReading], limit: EffectiveLimit, view: CellarView) -> str:
    lines = [f"  {_moment(each.at_ms, view.tz)}  {_value(each.value, limit)}" for each in readings[-_SHOWN_READINGS:]]
    return "Last readings:\n" + "\n".join(lines)


def _quantity(limit: EffectiveLimit) -> str:
    return limit.quantity.replace("_", " ")


def _side(limit: EffectiveLimit) -> str:
    return "above" if limit.kind == "high" else "below"


def _is_part_of_leeside(limit: EffectiveLimit) -> bool:
    """Whether the limit is on the silence of a broker, a line or a daemon: nothing that has a quantity."""
    return limit.kind == "no data" and limit.quantity not in QUANTITIES


def _own_words(limit: EffectiveLimit) -> OwnWords | None:
    """The words for a part of leeside that is not silent but not right."""
    return OWN_WORDS.get(limit.probe) if _is_part_of_leeside(limit) else None


def _unit(limit: EffectiveLimit) -> str:
    """The unit that values are shown in: the limit's own; for a limit on silence that of the quantity."""
    return QUANTITIES[limit.quantity].unit if limit.kind == "no data" else limit.unit_text


def _setpoint(limit: EffectiveLimit) -> str:
    return f"{value_in_unit(limit.quantity, limit.setpoint, limit.unit_text):.6g} {limit.unit_text}"


def _value(value: float, limit: EffectiveLimit) -> str:
    """A value with the decimals that suit its unit, and with more where it would else look equal to the setpoint."""
    unit = _unit(limit)
    shown = value_in_unit(limit.quantity, value, unit)
    step = abs(value_in_unit(limit.quantity, 1.0, unit) - value_in_unit(limit.quantity, 0.0, unit))
    decimals = max(0, QUANTITIES[limit.quantity].decimals - round(math.log10(step)))
    text = f"{shown:.{decimals}f}"
    if limit.kind != "no data" and value != limit.setpoint:
        edge = value_in_unit(limit.quantity, limit.setpoint, unit)
        for more in range(decimals, decimals + 5):
            text = f"{shown:.{more}f}"
            if float(text) != float(f"{edge:.{more}f}"):
                break
    if float(text) == 0:
        text = text.removeprefix("-")
    return f"{text} {unit}"


def _duration(seconds: float) -> str:
    whole = round(seconds)
    days, rest = divmod(whole, 86400)
    hours, rest = divmod(rest, 3600)
    minutes, secs = divmod(rest, 60)
    parts = [(days, "d"), (hours, "h"), (minutes, "min"), (secs, "s")]
    first = next((index for index, (count, _) in enumerate(parts) if count), 3)
    return " ".join(f"{count} {unit}" for count, unit in parts[first : first + 2] if count) or "0 s"


def _moment(at_ms: int, tz: tzinfo) -> str:
    """Local time of the site with the zone's name and its distance from UTC, which tells apart an hour that comes
    twice.
    """
    local = datetime.fromtimestamp(at_ms // _SECOND_MS, UTC).astimezone(tz)
    offset = local.strftime("%z")
    return f"{local:%Y-%m-%d %H:%M:%S} {local.tzname()} (UTC{offset[:3]}:{offset[3:5]})"
