"""The words of a message about an alarm's step, for a cellarhand who reads it on a phone at night."""

from __future__ import annotations

__all__ = ["LAST_READINGS", "SHOWN_READINGS", "Ago", "CellarView", "MessageText", "compose", "view_of"]

import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Final, NamedTuple
from urllib.parse import quote

from alerts.blanket.details import BlanketShown
from alerts.cylinders.details import CylinderShown
from alerts.message.cautions import caution_of
from alerts.message.chatter_words import advice_text
from alerts.message.cylinder_words import (
    cylinder_fact,
    cylinder_message_lines,
    cylinder_now,
    cylinder_returned,
    is_on_cylinder,
)
from alerts.message.facts import raised_fact, returned_fact
from alerts.message.gas_words import gas_action, gas_details, gas_fact, gas_now, gas_returned, is_on_gas, look_first
from alerts.message.subject import is_beyond, subject_of
from alerts.view.entries.advised_forms import about_limit, advised_paths
from alerts.view.format import duration_text, exact_time, measured_name, reading_text, setpoint_text, side
from alerts.view.so2.so2_lines import TITRATED
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import AlarmEvent, Occasion, State
from alerts.watch.applied_limits import LEFT_NOTE, REPLACED_NOTE
from alerts.watch.chatter import STAYS_S, WINDOW_S
from alerts.watch.chatter_advice import ChatterAdvice
from ingest.cellar import Cellar, EffectiveLimit, Vessel
from ingest.reading import ESTIMATED, Reason, quality_reason
from ingest.store.readings.series_history import HistoryRow

# The line above the readings at a message's end.
LAST_READINGS: Final = "Last readings:"
SHOWN_READINGS: Final = 10
# How wide the labels of lines are.
_LABEL: Final = 13


class MessageText(NamedTuple):
    """What a message says. subject: at most 78 characters; body: plain text."""

    subject: str
    body: str


class Ago(NamedTuple):
    """What a probe read before. words: how long ago; value: in the quantity's unit."""

    words: str
    value: float


@dataclass(frozen=True, slots=True)
class CellarView:
    """What a message needs of the cellar.

    file: the cellar file as a command names it; tz: the site's time zone; place: what people call the place;
    place_kind: the vessel's kind, ``cylinder``, ``room`` or "" where the place is gone; glass: the vessel is made of
    it; under_gas: a gas blanket is kept in it; units: the site's; blanket, cylinder: how the gas in it was judged last,
    None where it is not judged; upper_bound: what is judged of the SO2 in it is at most so much;
    page: where the page shows it, page_url: the page's address, both "" where nobody can reach that from elsewhere;
    link: one that acknowledges the alarm, "" for none.
    """

    file: str
    tz: tzinfo
    place: str = ""
    place_kind: str = ""
    glass: bool = False
    under_gas: bool = False
    units: str = "metric"
    blanket: BlanketShown | None = None
    cylinder: CylinderShown | None = None
    upper_bound: bool = False
    page: str = ""
    page_url: str = ""
    link: str = ""


def view_of(cellar: Cellar, at: str | None) -> CellarView:
    """Give the view of a place. at: its id, or None (or an id that is gone) for the cellar as a whole."""
    place = next((place for place in cellar.places if place.id == at), None)
    page, url = _page_of(cellar, at), _page_url(cellar)
    if place is None:
        return CellarView(cellar.file, cellar.site.zone, at or "", page=page, page_url=url)
    if isinstance(place, Vessel):
        title = f"{place.id} ({place.name})" if place.name else place.id
        is_glass = place.material == "glass"
        return CellarView(
            cellar.file,
            cellar.site.zone,
            title,
            place.kind,
            glass=is_glass,
            under_gas=place.under_gas,
            units=cellar.site.units,
            page=page,
            page_url=url,
        )
    kind, units = cellar.place_kind(place.id), cellar.site.units
    return CellarView(cellar.file, cellar.site.zone, place.id, kind, units=units, page=page, page_url=url)


def _page_of(cellar: Cellar, at: str | None) -> str:
    """The address of a place's own view on the page, else of the page; "" where nobody can reach it from elsewhere."""
    url = _page_url(cellar)
    if not url:
        return ""
    for kind, places in (("vessel", cellar.vessel), ("cylinder", cellar.cylinder), ("room", cellar.room)):
        if any(place.id == at for place in places):
            return f"{url}/{kind}/{quote(at or '', safe='')}"
    return url


def _page_url(cellar: Cellar) -> str:
    return (cellar.page.url or "") if cellar.page else ""


def compose(
    transition: Transition,
    limit: EffectiveLimit | None,
    view: CellarView,
    *,
    readings: Sequence[HistoryRow] = (),
    earlier: Sequence[Ago] = (),
    thread_subject: str | None = None,
    lots: Sequence[str] = (),
    advice: ChatterAdvice = ChatterAdvice(),  # noqa: B008  a tuple, which nothing can change
    beyond: EffectiveLimit | None = None,
    air: str = "",
    helper_step: str = "",
) -> MessageText:
    """Write the message about a transition that is announced.

    limit: None where it is no longer in the cellar file; readings: the newest ones, oldest first (the last ten are
    shown); earlier: what the probe read an hour and a day ago; thread_subject: the subject under which the occurrence
    was raised, where one went out: its words after the leading ones are kept, for mail readers that thread by subject;
    lots: the wine that lies at the place; advice: what would end a chatter; beyond: another limit that the value is
    beyond, when one alarm has ended; air: what escaping gas can do to the room's air; helper_step: of a message to
    somebody who looks after the cellar while the owner is away, what they can safely do, and then only air is said too.
    Raises ValueError for a transition that is not announced.
    """
    if transition.occasion is None:
        raise ValueError(f"a step to '{transition.to_state}' of {transition.key} is not announced")
    subject = subject_of(transition, limit, thread_subject, beyond=beyond is not None)
    if limit is None or transition.occasion is Occasion.REMOVED:
        return MessageText(subject, _removed(transition, view))
    active = transition.to_state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)
    if transition.occasion is Occasion.RAISED:
        fact, details = _raised(transition, limit, view, lots, earlier)
        earlier = ()
    elif transition.occasion is Occasion.CHATTERING:
        fact, details = _chattering(transition, limit, view, advice)
    elif transition.occasion is Occasion.CALM:
        fact, details = _stays(transition, limit, view, lots) if active else _calm(transition, limit, view)
    else:
        fact, details = _returned(transition, limit, view, beyond)
    if helper_step:
        details = _helped(transition, helper_step, view) if active else ""
        # Whoever stands before the door reads no further than the first lines.
        fact = f"{fact}\n{air}" if active and air else fact
        return MessageText(subject, "\n\n".join(part for part in (fact, details) if part) + "\n")
    if active and (caution := caution_of(limit, view.place_kind, glass=view.glass, under_gas=view.under_gas)):
        fact += f"\n{caution}"
    parts = [fact, details, air, _mute_ended(transition)]
    if any(_is_ahead(reading) for reading in readings):
        parts.append(
            f"The clock of probe {limit.probe} is wrong: some of its readings carry times that had not come yet. "
            "They were judged by when they came. Set that clock."
        )
    if readings:
        parts.append(_last_readings(readings, earlier, limit, view))
    return MessageText(subject, "\n\n".join(part for part in parts if part) + "\n")


def _mute_ended(transition: Transition) -> str:
    """Why an alarm that somebody may have seen before is reported now: a person had muted it until now."""
    if transition.event is AlarmEvent.SHELVING_ENDED:
        return f"It was muted until now, {transition.note}."
    if transition.event in (AlarmEvent.UNSHELVE, AlarmEvent.RETURN_TO_SERVICE):
        note = f": {transition.note}" if transition.note else ""
        return f"It was muted until now; {transition.by} lets it be watched again{note}."
    return ""


def _is_ahead(reading: HistoryRow) -> bool:
    return reading.quality < ESTIMATED and quality_reason(reading.quality) is Reason.CLOCK


def _raised(
    transition: Transition,
    limit: EffectiveLimit,
    view: CellarView,
    lots: Sequence[str],
    earlier: Sequence[Ago] = (),
) -> tuple[str, str]:
    upper_bound = view.upper_bound and limit.quantity in TITRATED
    fact = raised_fact(transition, limit, view.place or limit.at, view.tz, upper_bound=upper_bound)
    gas: list[str] = []
    if (blanket := _blanket(limit, view)) is not None:
        by_gas = gas_fact(limit, transition.value, view.place or limit.at, blanket, view.units)
        if limit.quantity == "pressure":
            fact = f"{fact} {by_gas}".rstrip()
        elif by_gas is not None and transition.value is not None and is_beyond(limit, transition.value):
            fact = by_gas
        details = gas_details(limit, transition.value, blanket, view.tz, view.units)
        # What the fact says is not said twice.
        gas = [line for line in details if line[_LABEL:] not in fact]
    elif (cylinder := _cylinder(limit, view)) is not None:
        by_gas = cylinder_fact(limit, view.place or limit.at, cylinder)
        if by_gas is not None and transition.value is not None and is_beyond(limit, transition.value):
            fact = by_gas
        gas = cylinder_message_lines(cylinder, view.units)
    since = "" if transition.since_ms is None else exact_time(transition.since_ms, view.tz)
    wine = [f"Wine:        {' and '.join(lots)}"] if lots and limit.kind != "due" else []
    before = [f"Before:      {_before(earlier, limit)}"] if earlier else []
    return fact, "\n".join([f"Since:       {since}", *before, *wine, *gas, *_response(transition, limit, view)])


def _blanket(limit: EffectiveLimit, view: CellarView) -> BlanketShown | None:
    """How the gas was judged that a limit is about."""
    return view.blanket if is_on_gas(limit, view.place_kind) else None


def _cylinder(limit: EffectiveLimit, view: CellarView) -> CylinderShown | None:
    """How the cylinder was judged that a limit is about."""
    return view.cylinder if is_on_cylinder(limit, view.place_kind) else None


def _response(transition: Transition, limit: EffectiveLimit, view: CellarView) -> list[str]:
    blanket = _blanket(limit, view)
    action = "" if blanket is None else gas_action(limit, transition.value, blanket)
    return [
        f"Priority:    {limit.priority}",
        f"If ignored:  {limit.consequence}",
        f"What to do:  {action or limit.action}",
        *([] if blanket is None else look_first(limit, blanket)),
        f"Acknowledge: {_acknowledge(transition, view)}",
        *([f"or by link:  {view.link}"] if view.link else []),
        *_forms(limit, view),
        *([f"Page:        {view.page}"] if view.page else []),
    ]


def _forms(limit: EffectiveLimit, view: CellarView) -> list[str]:
    """Where the page has the forms that the action names, for who has no command at hand."""
    if not view.page_url:
        return []
    paths = advised_paths(limit.action, about_limit(limit, view.place_kind))
    return [f"Write down:  {view.page_url}{path}" for path in paths]


def _helped(transition: Transition, step: str, view: CellarView) -> str:
    """What a helper reads below the fact."""
    since = "" if transition.since_ms is None else f"Since:       {exact_time(transition.since_ms, view.tz)}\n"
    note = (
        "The owner is away. Do nothing that is not written here. In doubt, stay out and call the owner.\n"
        "If somebody lies inside, do not go in to help: call the emergency services."
    )
    seen = f"\nI have seen it: {view.link}" if view.link else ""
    return f"{since}What to do:  {step}{seen}\n\n{note}"


def _chattering(
    transition: Transition, limit: EffectiveLimit, view: CellarView, advice: ChatterAdvice
) -> tuple[str, str]:
    return _comings(transition, limit, view), "\n".join(
        [
            "It chatters, so no mail is sent each time any more. The next one comes when it has been calm for "
            f"{duration_text(WINDOW_S)},\nor has stayed for {duration_text(STAYS_S)}. Each time is kept: "
            f"leeside alarms {shlex.quote(view.file)} --history",
            "",
            *_response(transition, limit, view),
            "",
            advice_text(limit, advice, view.place or limit.at),
        ]
    )


def _stays(transition: Transition, limit: EffectiveLimit, view: CellarView, lots: Sequence[str]) -> tuple[str, str]:
    fact, details = _raised(transition, limit, view, lots)
    stays = f"It came and went; now it has stayed for {duration_text(STAYS_S)}."
    return fact, f"{details}\n\n{stays}\n{_comings(transition, limit, view)}"


def _calm(transition: Transition, limit: EffectiveLimit, view: CellarView) -> tuple[str, str]:
    calm = f"{view.place or limit.at}: {measured_name(limit)} has been calm for {duration_text(WINDOW_S)}."
    fact = "\n".join([calm, _comings(transition, limit, view), "From now on mail is sent as usual again."])
    return fact, _unacknowledged(transition, view)


def _returned(
    transition: Transition, limit: EffectiveLimit, view: CellarView, beyond: EffectiveLimit | None
) -> tuple[str, str]:
    fact = returned_fact(transition, limit, view.place or limit.at, view.tz, beyond)
    if gas := gas_returned(limit, view.place or limit.at) or cylinder_returned(limit, view.place or limit.at):
        # The numbers were worked out, and nobody reads them; how long it lasted is worth a line.
        was = f"It was {side(limit)} {setpoint_text(limit)} for"
        rest = (line.replace(was, "It lasted") for line in fact.split("\n")[1:] if not line.startswith("The "))
        fact = "\n".join([gas, *rest])
    if (blanket := _blanket(limit, view)) is not None:
        fact += f"\n{gas_now(limit, transition.value, blanket, view.tz, view.units, transition.at_ms)}"
    elif (cylinder := _cylinder(limit, view)) is not None:
        fact += f"\n{cylinder_now(cylinder, view.units)}"
    return fact, _unacknowledged(transition, view)


def _unacknowledged(transition: Transition, view: CellarView) -> str:
    if transition.to_state is not State.RETURNED:
        return ""
    by_link = f"\nor by link: {view.link}" if view.link else ""
    return f"Nobody has acknowledged it yet: {_acknowledge(transition, view)}{by_link}"


def _comings(transition: Transition, limit: EffectiveLimit, view: CellarView) -> str:
    """How often the alarm came and went, and since when."""
    chatter = transition.chatter
    assert chatter is not None
    assert chatter.since_ms is not None
    place, quantity = view.place or limit.at, measured_name(limit)
    since = exact_time(chatter.since_ms, view.tz)
    return f"{place}: {quantity} has raised this alarm {chatter.count} times since {since}."


def _removed(transition: Transition, view: CellarView) -> str:
    closed = f"Its alarm {transition.occurrence} is closed, and no further message about it will follow.\n\n"
    if transition.note == LEFT_NOTE:
        return (
            f"{view.place}: the wine that the limit {transition.key} is on has left.\n{closed}"
            "Where the wine lies now, the limit is judged by the probes there, with its whole on-delay.\n"
        )
    if transition.note == REPLACED_NOTE:
        return (
            f"{view.place}: a limit on the wine that lies there now has taken the place of {transition.key}.\n{closed}"
            f"`leeside limits {shlex.quote(view.file)}` lists what is watched.\n"
        )
    return (
        f"The limit {transition.key} is no longer in the cellar file.\n{closed}"
        "That does not mean that all is well: leeside does not watch this any more.\n"
        f"If this was a mistake, put the limit back into {view.file}.\n"
    )


def _acknowledge(transition: Transition, view: CellarView) -> str:
    # Of what chatters, the occurrence that a mail is about is soon another one.
    target = transition.occurrence if transition.chatter is None else shlex.quote(transition.key)
    return f"leeside acknowledge {shlex.quote(view.file)} {target}"


def _last_readings(
    readings: Sequence[HistoryRow], earlier: Sequence[Ago], limit: EffectiveLimit, view: CellarView
) -> str:
    lines = [
        f"  {exact_time(each.at_ms, view.tz)}  {reading_text(each.value, limit)}" for each in readings[-SHOWN_READINGS:]
    ]
    if earlier:
        lines.append(f"Before: {_before(earlier, limit)}.")
    return f"{LAST_READINGS}\n" + "\n".join(lines)


def _before(earlier: Sequence[Ago], limit: EffectiveLimit) -> str:
    return ", ".join(f"{each.words} {reading_text(each.value, limit)}" for each in earlier)
