"""The words of a message about an alarm's step, for a cellarhand who reads it on a phone at night."""

from __future__ import annotations

__all__ = [
    "PRIORITY_WORDS",
    "SAFETY",
    "SHOWN_READINGS",
    "SUBJECT_LIMIT",
    "CellarView",
    "MessageText",
    "compose",
    "tail_of",
    "view_of",
]

import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Final, NamedTuple

from alerts.view.format import duration_text, exact_time, limit_value_text, measured_name, missing_words, setpoint_text
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import Occasion, State
from alerts.watch.chatter import STAYS_S, WINDOW_S
from alerts.watch.own_limits import own_words
from ingest.cellar import Cellar, EffectiveLimit, Vessel
from ingest.reading import ESTIMATED, Reason, quality_reason
from ingest.store.readings.series_history import HistoryRow

# RFC 5322 section 2.1.1: a line should have no more than 78 characters.
SUBJECT_LIMIT: Final = 78

# That an inert gas gives no warning: EIGA SAG NL 77, "Campaign against asphyxiation" (title from memory).
SAFETY: Final = """\
FIRST: air the room before you go in, and do not go in alone. Nitrogen gives no warning: too little
air is not felt, not seen and not smelt. Argon is the same, and carbon dioxide is poisonous as well.
Leeside is not a gas alarm and does not replace one. Local rules and licensed practice come first."""

PRIORITY_WORDS: Final = {"high": "HIGH", "medium": "MEDIUM", "low": "LOW PRIORITY"}
_RETURNED_WORD: Final = "BACK TO NORMAL"
_CALM_WORD: Final = "CALM AGAIN"
_REMOVED_WORD: Final = "LIMIT REMOVED"
_TAIL_LIMIT: Final = SUBJECT_LIMIT - len(_RETURNED_WORD) - 2
SHOWN_READINGS: Final = 10
_SECOND_MS: Final = 1000


class MessageText(NamedTuple):
    """What a message says. subject: at most 78 characters; body: plain text."""

    subject: str
    body: str


@dataclass(frozen=True, slots=True)
class CellarView:
    """What a message needs of the cellar.

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
    """Give the view of a place. at: its id, or None (or an id that is gone) for the cellar as a whole."""
    place = next((place for place in cellar.places if place.id == at), None)
    if place is None:
        return CellarView(cellar.file, cellar.site.zone, at or "")
    if isinstance(place, Vessel):
        title = f"{place.id} ({place.name})" if place.name else place.id
        return CellarView(cellar.file, cellar.site.zone, title, place.kind, place.under_gas)
    return CellarView(cellar.file, cellar.site.zone, place.id, cellar.place_kind(place.id))


def compose(
    transition: Transition,
    limit: EffectiveLimit | None,
    view: CellarView,
    *,
    readings: Sequence[HistoryRow] = (),
    thread_subject: str | None = None,
) -> MessageText:
    """Write the message about a transition that is announced.

    limit: None where it is no longer in the cellar file; readings: the newest ones, oldest first (the last ten are
    shown); thread_subject: the subject under which the occurrence was raised, where one went out: its words after the
    state word are kept, for mail readers that thread by subject. Raises ValueError for a transition that is
    not announced.
    """
    if transition.occasion is None:
        raise ValueError(f"a step to '{transition.to_state}' of {transition.key} is not announced")
    tail = tail_of(thread_subject) if thread_subject else _tail(transition, limit)
    if limit is None or transition.occasion is Occasion.REMOVED:
        return MessageText(f"{_REMOVED_WORD}: {tail}", _removed(transition, view))
    active = transition.to_state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)
    if transition.occasion is Occasion.RAISED:
        word, body = PRIORITY_WORDS[limit.priority], _raised(transition, limit, view)
    elif transition.occasion is Occasion.CHATTERING:
        word, tail = PRIORITY_WORDS[limit.priority], _restless_tail(limit)
        body = _chattering(transition, limit, view)
    elif transition.occasion is Occasion.CALM and active:
        word, tail = PRIORITY_WORDS[limit.priority], _tail(transition, limit)
        body = _stays(transition, limit, view)
    elif transition.occasion is Occasion.CALM:
        word, body = _CALM_WORD, _calm(transition, limit, view)
    else:
        word, body = _RETURNED_WORD, _returned(transition, limit, view)
    if any(_is_ahead(reading) for reading in readings):
        body += (
            f"\n\nThe clock of probe {limit.probe} is wrong: some of its readings carry times that had not come yet. "
            "They were judged by when they came. Set that clock."
        )
    if readings:
        body += "\n\n" + _last_readings(readings, limit, view)
    if _is_dangerous(limit, view):
        body = f"{SAFETY}\n\n{body}"
    return MessageText(f"{word}: {tail}", body + "\n")


def _is_ahead(reading: HistoryRow) -> bool:
    return reading.quality < ESTIMATED and quality_reason(reading.quality) is Reason.CLOCK


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
    quantity = measured_name(limit)
    if limit.kind == "no data":
        own = own_words(limit)
        words = own.tail if own is not None else missing_words(limit) + " for {span}"
        rest = f" {quantity}, {words.format(span=duration_text(limit.setpoint))}"
    else:
        value = "" if transition.raised_value is None else f" {limit_value_text(transition.raised_value, limit)}"
        rest = f" {quantity}{value}, {_side(limit)} {setpoint_text(limit)}"
    return _shortened(limit.at, _TAIL_LIMIT - len(rest)) + rest


def _restless_tail(limit: EffectiveLimit) -> str:
    quantity = measured_name(limit)
    if limit.kind == "no data":
        own = own_words(limit)
        rest = f" {quantity}, {own.state if own is not None else missing_words(limit)} again and again"
    else:
        rest = f" {quantity}, again and again {_side(limit)} {setpoint_text(limit)}"
    return _shortened(limit.at, _TAIL_LIMIT - len(rest)) + rest


def _shortened(text: str, width: int) -> str:
    return text if len(text) <= width else text[: max(width - 1, 1)] + "…"


def _raised(transition: Transition, limit: EffectiveLimit, view: CellarView) -> str:
    since = "" if transition.since_ms is None else exact_time(transition.since_ms, view.tz)
    place, quantity = view.place or limit.at, measured_name(limit)
    own = own_words(limit)
    if own is not None:
        head = f"{place}: {own.raised.format(part=limit.quantity, span=duration_text(limit.setpoint))}"
    elif limit.role == "bad measurement":
        head = (
            f"{place}: probe {limit.probe} ({quantity}) has sent no reading that can be trusted for more than "
            f"{duration_text(limit.setpoint)}.\nIts other limits are not judged meanwhile."
        )
    elif limit.kind == "no data":
        head = (
            f"{place}: probe {limit.probe} ({quantity}) has sent nothing for more than "
            f"{duration_text(limit.setpoint)}.\nUntil it does, nobody knows how {place} is."
        )
    else:
        value = "" if transition.value is None else f" is {limit_value_text(transition.value, limit)}"
        head = f"{place}: {quantity}{value}, {_side(limit)} the limit of {setpoint_text(limit)}."
    return "\n".join([head, "", f"Since:       {since}", *_response(transition, limit, view)])


def _response(transition: Transition, limit: EffectiveLimit, view: CellarView) -> list[str]:
    return [
        f"Priority:    {limit.priority}",
        f"If ignored:  {limit.consequence}",
        f"What to do:  {limit.action}",
        f"Acknowledge: {_acknowledge(transition, view)}",
    ]


def _chattering(transition: Transition, limit: EffectiveLimit, view: CellarView) -> str:
    if limit.kind == "no data":
        part = limit.probe or limit.quantity
        advice = (
            f"Look at power, cable and network of {part}: a loose contact or a weak radio comes and goes like this."
        )
        if limit.probe:
            advice += "\nIf it may be silent for so long, give it a longer no_data in the cellar file."
    else:
        advice = (
            f"First look at {view.place or limit.at} itself. If nothing is wrong there, the value lies close to the "
            f"limit\nor {limit.probe} is restless. A larger deadband or a longer on_delay (now "
            f"{duration_text(limit.on_delay_s)}) in the cellar file ends that."
        )
    return "\n".join(
        [
            _comings(transition, limit, view),
            "",
            "It chatters, so no mail is sent each time any more. The next one comes when it has been calm for "
            f"{duration_text(WINDOW_S)},\nor has stayed for {duration_text(STAYS_S)}. Each time is kept: "
            f"leeside alarms {shlex.quote(view.file)} --all",
            "",
            *_response(transition, limit, view),
            "",
            advice,
        ]
    )


def _stays(transition: Transition, limit: EffectiveLimit, view: CellarView) -> str:
    stays = f"It came and went; now it has stayed for {duration_text(STAYS_S)}."
    return f"{_raised(transition, limit, view)}\n\n{stays}\n{_comings(transition, limit, view)}"


def _calm(transition: Transition, limit: EffectiveLimit, view: CellarView) -> str:
    calm = f"{view.place or limit.at}: {measured_name(limit)} has been calm for {duration_text(WINDOW_S)}."
    lines = [calm, _comings(transition, limit, view), "From now on mail is sent as usual again."]
    if transition.to_state is State.RETURNED:
        lines += ["", f"Nobody has acknowledged it yet: {_acknowledge(transition, view)}"]
    return "\n".join(lines)


def _comings(transition: Transition, limit: EffectiveLimit, view: CellarView) -> str:
    """How often the alarm came and went, and since when."""
    chatter = transition.chatter
    assert chatter is not None
    assert chatter.since_ms is not None
    place, quantity = view.place or limit.at, measured_name(limit)
    since = exact_time(chatter.since_ms, view.tz)
    return f"{place}: {quantity} has raised this alarm {chatter.count} times since {since}."


def _returned(transition: Transition, limit: EffectiveLimit, view: CellarView) -> str:
    place, quantity = view.place or limit.at, measured_name(limit)
    began = transition.since_ms
    ended = transition.at_ms if transition.condition is None else transition.condition.since_ms
    own = own_words(limit)
    if own is not None:
        head, was = f"{place}: {own.returned.format(part=limit.quantity)}", "The alarm lasted"
    elif limit.role == "bad measurement":
        head, was = f"{place}: probe {limit.probe} ({quantity}) gives good readings again.", "It gave none for"
    elif limit.kind == "no data":
        head, was = f"{place}: probe {limit.probe} ({quantity}) is heard again.", "It was silent for"
    else:
        value = "" if transition.value is None else f": {limit_value_text(transition.value, limit)}"
        head = f"{place}: {quantity} has returned to normal{value}."
        was = f"It was {_side(limit)} {setpoint_text(limit)} for"
    if began is not None and ended >= began:
        span = f"from {exact_time(began, view.tz)} to {exact_time(ended, view.tz)}"
        head += f"\n{was} {duration_text((ended - began) / _SECOND_MS)}, {span}."
    if limit.kind != "no data" and transition.extreme is not None:
        name = "highest" if limit.kind == "high" else "lowest"
        head += f"\nThe {name} value was {limit_value_text(transition.extreme, limit)}."
    if transition.to_state is State.RETURNED:
        head += f"\n\nNobody has acknowledged it yet: {_acknowledge(transition, view)}"
    return head


def _removed(transition: Transition, view: CellarView) -> str:
    return (
        f"The limit {transition.key} is no longer in the cellar file.\n"
        f"Its alarm {transition.occurrence} is closed, and no further message about it will follow.\n\n"
        "That does not mean that all is well: leeside does not watch this any more.\n"
        f"If this was a mistake, put the limit back into {view.file}.\n"
    )


def _acknowledge(transition: Transition, view: CellarView) -> str:
    # Of what chatters, the occurrence that a mail is about is soon another one.
    target = transition.occurrence if transition.chatter is None else shlex.quote(transition.key)
    return f"leeside acknowledge {shlex.quote(view.file)} {target}"


def _last_readings(readings: Sequence[HistoryRow], limit: EffectiveLimit, view: CellarView) -> str:
    lines = [
        f"  {exact_time(each.at_ms, view.tz)}  {limit_value_text(each.value, limit)}"
        for each in readings[-SHOWN_READINGS:]
    ]
    return "Last readings:\n" + "\n".join(lines)


def _side(limit: EffectiveLimit) -> str:
    return "above" if limit.kind == "high" else "below"
