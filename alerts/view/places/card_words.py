"""The card of a place in words: what is known of its wine and gas, its limits, its journal, its alarm record."""

from __future__ import annotations

__all__ = ["CardWords", "EntryWords", "FoundWords", "LimitWords", "card_words"]

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from typing import Final

from alerts.limits.due_feed import due_limits_at
from alerts.view.alarms.limit_lines import (
    LimitStatus,
    limit_statuses,
    limit_words,
    origin_words,
    raised_words,
    state_words,
)
from alerts.view.alarms.record_lines import record_line
from alerts.view.due_lines import day_text, due_name
from alerts.view.entries.advised_forms import about_limit, advised_paths
from alerts.view.format import age, local_time
from alerts.view.gas.blanket_lines import blanket_lines
from alerts.view.gas.cylinder_lines import cylinder_lines, cylinder_of
from alerts.view.gas.supply_lines import supply_line
from alerts.view.places.vessel_card import VesselCard, vessel_cards
from alerts.view.so2.so2_lines import so2_done_words, so2_lines
from alerts.view.so2.total_so2_lines import total_done_words, total_so2_lines
from alerts.view.status import CellarStatus
from alerts.view.vessel_contents import volume_text
from alerts.watch.due import DueLimit
from ingest.cellar import Cellar, EffectiveLimit
from ingest.journal.entry import Entry, kind_words
from ingest.journal.kinds import body_words, spread_words
from ingest.store import Store
from ingest.store.alarms.alarm_record import alarm_rows, last_raised_ms, last_steps, transitions
from ingest.store.journal.entries import entries

_MOST_ENTRIES: Final = 20
_MOST_STEPS: Final = 20
_RECORD_MS: Final = 30 * 86_400_000


@dataclass(frozen=True, slots=True)
class FoundWords:
    """A result of the journal: what was found, when, and what has changed it since then."""

    name: str
    value: str
    when: str
    since: str


@dataclass(frozen=True, slots=True)
class LimitWords:
    """A limit: when it alarms, its priority, where it stands, where it comes from, when it last raised an alarm."""

    key: str
    words: str
    priority: str
    state: str
    origin: str
    raised: str


@dataclass(frozen=True, slots=True)
class EntryWords:
    """An entry of the journal. struck: by whom and why it was crossed out, "" while it holds."""

    number: int
    when: str
    kind: str
    words: str
    who: str
    remarks: tuple[str, ...]
    struck: str


@dataclass(frozen=True, slots=True)
class CardWords:
    """A place's card.

    facts: name and value; done: what was done last; due: work with when it falls due and the path of the form that
    writes it down ("" for none), the first one first; so2, gas: lines, the most important first; record: the newest
    steps of the alarm record, newest first.
    """

    facts: tuple[tuple[str, str], ...]
    done: tuple[tuple[str, str], ...]
    found: tuple[FoundWords, ...]
    due: tuple[tuple[str, str, str], ...]
    so2: tuple[str, ...]
    gas: tuple[str, ...]
    limits: tuple[LimitWords, ...]
    entries: tuple[EntryWords, ...]
    record: tuple[str, ...]


def card_words(cellar: Cellar, store: Store, id: str, status: CellarStatus) -> CardWords:
    """Read and put together the card of a place as of the status. id: of a place of the cellar file, or of a vessel
    that an earlier one had. Not inside ``store.read()``.
    """
    zone, units, now_ms = cellar.site.zone, cellar.site.units, status.now_ms
    kinds = {place.id: place.kind for place in cellar.places}
    is_vessel = id not in kinds or any(vessel.id == id for vessel in cellar.vessel)
    with store.read():
        card = vessel_cards(cellar, store, now_ms, [id])[0] if is_vessel else None
        limits = [limit for limit in status.limits.values() if limit.at == id]
        statuses = limit_statuses(limits, alarm_rows(store), last_steps(store), last_raised_ms(store))
        due = due_limits_at(cellar, store.connection, now_ms).values()
        record = _record(store, id, status.limits, zone, units, now_ms)
    written = entries(store, vessel=id, newest=_MOST_ENTRIES)
    gas = _place_gas(status, id, cellar) if card is None else _vessel_gas(card, cellar)
    return CardWords(
        facts=() if card is None else tuple(_facts(card, units)),
        done=() if card is None else tuple(_done(card, zone, now_ms)),
        found=() if card is None else tuple(_found(card, zone, now_ms)),
        due=tuple(_due([work for work in due if work.limit.at == id], kinds.get(id, ""), zone, now_ms)),
        so2=() if card is None else tuple(_so2(card, zone)),
        gas=tuple(gas),
        limits=tuple(_limit_words(each, zone, now_ms) for each in statuses),
        entries=tuple(_entry_words(entry, zone, now_ms) for entry in reversed(written)),
        record=tuple(record),
    )


def _facts(card: VesselCard, units: str) -> Iterator[tuple[str, str]]:
    holds = card.contents
    if holds.style:
        yield "style", holds.style
    if holds.alcohol_percent_vol is not None:
        yield "alcohol", f"{holds.alcohol_percent_vol:.1f} % vol"
    if holds.sugar_g_l is not None:
        yield "sugar", f"{holds.sugar_g_l:.1f} g/L"
    if holds.capacity_l is not None:
        yield "capacity", volume_text(holds.capacity_l, units)


def _done(card: VesselCard, zone: tzinfo, now_ms: int) -> Iterator[tuple[str, str]]:
    for name, done_ms in (("racked", card.contents.last_racking_ms), ("topped", card.contents.last_topping_ms)):
        when = "not in the journal" if done_ms is None else _when(done_ms, zone, now_ms)
        yield f"last {name}", when


def _found(card: VesselCard, zone: tzinfo, now_ms: int) -> Iterator[FoundWords]:
    so2, total = card.so2, card.total_so2
    if so2 is not None:
        if so2.ph is None:
            yield FoundWords("pH", "not known", "", "")
        else:
            by = f", by {so2.ph.probe}" if so2.ph.probe else ""
            value = f"{so2.ph.ph:.2f} ± {so2.ph.u_ph:.2f}"
            yield FoundWords("pH", value, f"{_when(so2.ph.at_ms, zone, now_ms)}{by}", "")
        titration = so2.last_titration
        if titration is None:
            yield FoundWords("free SO2", "never titrated", "", "")
        else:
            at_most = "at most " if titration.upper_bound else ""
            value, when = f"{at_most}{titration.mg_l:.0f} mg/L", _when(titration.at_ms, zone, now_ms)
            yield FoundWords("free SO2", value, when, ", ".join(so2_done_words(so2, zone)))
    if total is not None:
        if total.found is None:
            yield FoundWords("total SO2", "never titrated", "", "")
        else:
            when = _when(total.found.at_ms, zone, now_ms)
            yield FoundWords("total SO2", f"{total.found.mg_l:.0f} mg/L", when, ", ".join(total_done_words(total)))


def _due(works: list[DueLimit], place_kind: str, zone: tzinfo, now_ms: int) -> Iterator[tuple[str, str, str]]:
    for limit, fact in sorted(works, key=lambda work: (work.fact.due_ms, work.limit.key)):
        when = "since" if fact.due_ms <= now_ms else "on"
        done = f" ({fact.finding} {day_text(fact.from_ms, zone, now_ms)})" if fact.finding else ""
        paths = advised_paths(limit.action, about_limit(limit, place_kind))
        yield due_name(limit), f"due {when} {day_text(fact.due_ms, zone, now_ms)}{done}", paths[0] if paths else ""


def _so2(card: VesselCard, zone: tzinfo) -> list[str]:
    lines = [f"SO2 not known: {card.why_no_so2}"] if card.so2 is None else so2_lines(card.so2, zone)
    return lines if card.total_so2 is None else [*lines, *total_so2_lines(card.total_so2, zone)]


def _vessel_gas(card: VesselCard, cellar: Cellar) -> list[str]:
    zone, units = cellar.site.zone, cellar.site.units
    lines = [] if card.blanket is None else blanket_lines(card.blanket, zone, units, card.at_ms)
    supply = "" if card.supply is None else supply_line(card.supply, zone, card.at_ms)
    return [*lines, supply] if supply else lines


def _place_gas(status: CellarStatus, id: str, cellar: Cellar) -> list[str]:
    place = next(place for place in status.places if place.id == id)
    shown = cylinder_of(place.judgements, status.now_ms)
    return [] if shown is None else cylinder_lines(shown, cellar.site.zone, cellar.site.units, status.now_ms)


def _limit_words(status: LimitStatus, zone: tzinfo, now_ms: int) -> LimitWords:
    limit = status.limit
    return LimitWords(
        limit.key,
        limit_words(limit),
        limit.priority,
        state_words(status, zone, now_ms),
        origin_words(limit),
        raised_words(status, zone, now_ms),
    )


def _entry_words(entry: Entry, zone: tzinfo, now_ms: int) -> EntryWords:
    remark = getattr(entry.body, "remark", None)
    more = "".join(f" ({words})" for words in (spread_words(entry.body), remark) if words)
    remarks = (*(f"warning: {text}" for text in entry.body.warnings), *(f"note: {text}" for text in entry.body.notes))
    struck = ""
    if entry.struck is not None:
        struck = f"{entry.struck.who}, {local_time(entry.struck.at_ms, zone, now_ms)}: {entry.struck.reason}"
    return EntryWords(
        number=entry.id,
        when=day_text(entry.at_ms, zone, now_ms),
        kind=kind_words(entry.kind),
        words=body_words(entry.body, entry.lot) + more,
        who=entry.who,
        remarks=remarks,
        struck=struck,
    )


def _record(
    store: Store, id: str, limits: Mapping[str, EffectiveLimit], zone: tzinfo, units: str, now_ms: int
) -> list[str]:
    keys = {key for key, limit in limits.items() if limit.at == id}
    steps = [
        step
        for step in transitions(store, now_ms - _RECORD_MS)
        if step.occurrence is not None and (step.key in keys or step.key.startswith(f"{id}/"))
    ]
    return [record_line(step, limits, zone, units, now_ms) for step in reversed(steps[-_MOST_STEPS:])]


def _when(at_ms: int, zone: tzinfo, now_ms: int) -> str:
    return f"{day_text(at_ms, zone, now_ms)}, {age(now_ms - at_ms)} ago"
