"""A place in the cellar view: the words of its line, and what in it needs a person."""

from __future__ import annotations

__all__ = ["Note", "PlaceLine", "ReadingWords", "Tone", "alarm_note", "place_line"]

from dataclasses import dataclass
from datetime import tzinfo
from typing import Final, Literal

from alerts.view.alarms.alarm_lines import alarm_what, chatter_text, finding_suffix, since_suffix
from alerts.view.alarms.muted_lines import mute_text
from alerts.view.due_lines import day_text
from alerts.view.entries.advised_forms import NOTHING, About, about_limit
from alerts.view.format import local_time, quality_text, quantity_name, value_text, with_capital
from alerts.view.gas.blanket_lines import blanket_line, blanket_of
from alerts.view.gas.cylinder_lines import cylinder_lines, cylinder_of
from alerts.view.gas.supply_lines import supply_line
from alerts.view.racking_lines import racking_line
from alerts.view.so2.so2_lines import So2Summary, judged_so2
from alerts.view.status import AlarmStatus, CellarStatus, MutedStatus, PlaceStatus, ReadingStatus
from alerts.view.vessel_contents import free_text, lots_text, volume_text
from ingest.cellar import Cellar
from ingest.journal.contents import Contents

# How a mark is drawn: by its name in templates/marks.html.
Mark = Literal["high", "medium", "low", "due", "muted", "open", "silent", "unknown", "order", "none"]
# What it asks of a person: act, see to it, nothing.
Tone = Literal["high", "medium", "low", "quiet"]
_RANK: Final[dict[str, int]] = {"high": 0, "medium": 1, "low": 2, "quiet": 3}


@dataclass(frozen=True, slots=True)
class Note:
    """Something about a place that is not as it should be, or waits for a person.

    mark: its shape; tone: how loud; seen: somebody has acknowledged it; past: back to normal, but not acknowledged;
    word: what it is ("high alarm"); text: what it is about; more: what can come of it and what to do, "" for nothing;
    occurrence: of an alarm, "" for anything else; about: what ``more`` advises on.
    """

    mark: Mark
    tone: Tone
    word: str
    text: str
    more: str = ""
    seen: bool = False
    past: bool = False
    occurrence: str = ""
    about: About = NOTHING

    @property
    def rank(self) -> tuple[int, int]:
        """What comes first: by tone, those that nobody has seen before the others."""
        return (_RANK[self.tone], 2 if self.past else 1 if self.seen else 0)


@dataclass(frozen=True, slots=True)
class ReadingWords:
    """The newest reading of a probe in words. at_ms: its time, None while there is none; doubt: its quality where that
    is not good; silent: nothing has come for longer than it should.
    """

    probe: str
    quantity: str
    name: str
    value: str
    at_ms: int | None
    doubt: str
    silent: bool


@dataclass(frozen=True, slots=True)
class PlaceLine:
    """A place in words. filled: which part of the vessel is wine, 0 to 1, None where nobody knows; amount, wine, more:
    how much, of what, and what else is known of it; rows: name and words of what is judged, blanket before supply.
    """

    id: str
    kind: str
    name: str
    notes: tuple[Note, ...]
    state: Note
    filled: float | None
    amount: str
    wine: str
    more: str
    readings: tuple[ReadingWords, ...]
    so2: So2Summary | None
    rows: tuple[tuple[str, str], ...]


def place_line(status: CellarStatus, place: PlaceStatus, cellar: Cellar) -> PlaceLine:
    """Put a place of the cellar into words, as of the status."""
    zone, units, now_ms = cellar.site.zone, cellar.site.units, status.now_ms
    notes = sorted(_notes(status, place, zone, units), key=lambda note: note.rank)
    so2 = judged_so2(place.judgements, now_ms)
    amount, wine, more = _wine_words(place.contents, zone, units, now_ms, with_free=so2 is None)
    return PlaceLine(
        id=place.id,
        kind=place.kind,
        name=place.name,
        notes=tuple(notes),
        state=_state(status, place, notes),
        filled=_filled(place.contents),
        amount=amount,
        wine=wine,
        more=more,
        readings=tuple(_reading_words(reading, units) for reading in place.readings),
        so2=so2,
        rows=tuple(_rows(place, zone, units, now_ms)),
    )


def alarm_note(alarm: AlarmStatus, zone: tzinfo, units: str, now_ms: int, place_kind: str = "") -> Note:
    """Put an open alarm into words. place_kind: of its place, which decides what a form asks for."""
    limit = alarm.limit
    is_due = limit is not None and limit.kind == "due"
    priority = limit.priority if limit is not None else "low"
    what = alarm_what(alarm, zone, units, now_ms)
    if not is_due:
        what += since_suffix(alarm, zone, now_ms) + finding_suffix(alarm, zone, now_ms)
        if chatter := chatter_text(alarm, zone, now_ms):
            what += f", {chatter}"
    past, seen = alarm.state == "returned", alarm.state == "acknowledged"
    word = "work due" if is_due else f"{priority} alarm"
    if past:
        word = f"{word}, back to normal, not acknowledged"
    elif seen:
        word = f"{word}, seen by {alarm.acknowledged_by}"
    more = "" if limit is None or past else f"{limit.consequence} {limit.action}".strip()
    about = NOTHING if limit is None else about_limit(limit, place_kind)
    return Note("due" if is_due else priority, priority, word, what, more, seen, past, alarm.occurrence, about)


def _notes(status: CellarStatus, place: PlaceStatus, zone: tzinfo, units: str) -> list[Note]:
    now_ms = status.now_ms
    notes = [alarm_note(alarm, zone, units, now_ms, place.kind) for alarm in place.alarms]
    notes += [
        Note("open", "quiet" if racking.lasts(now_ms) else "low", "racking", racking_line(racking, zone, now_ms))
        for racking in place.open_rackings
    ]
    notes += [_muted_note(muted, zone, now_ms) for muted in status.muted if muted.at == place.id]
    return notes


def _muted_note(muted: MutedStatus, zone: tzinfo, now_ms: int) -> Note:
    what = muted.key.removeprefix(f"{muted.at}/")
    if muted.active:
        since = "" if muted.since_ms is None else f" since {local_time(muted.since_ms, zone, now_ms)}"
        what += f", which would alarm{since}"
    return Note("muted", "quiet", "muted", f"{what}: {mute_text(muted.alarm, zone, now_ms)}")


def _state(status: CellarStatus, place: PlaceStatus, notes: list[Note]) -> Note:
    """The worst of the notes in a word or two; where there are none, whether that means anything."""
    if notes and notes[0].tone != "quiet":
        worst = notes[0]
        word = "back to normal" if worst.past else worst.word.partition(",")[0]
        return Note(worst.mark, worst.tone, f"{word}, seen" if worst.seen else word, "", "", worst.seen, worst.past)
    if status.store_trouble or not all(daemon.responds for daemon in status.daemons):
        return Note("unknown", "quiet", "not watched", "")
    if any(reading.silent and reading.at_ms is not None for reading in place.readings):
        return Note("silent", "low", "silent", "")
    if notes:
        return Note(notes[0].mark, "quiet", notes[0].word, "")
    return _calm(place)


def _calm(place: PlaceStatus) -> Note:
    if place.contents is not None and place.contents.out_of_use:
        return Note("none", "quiet", "out of use", "")
    if not place.readings:
        return Note("none", "quiet", "no probe", "")
    return Note("order", "quiet", "in order", "")


def _filled(contents: Contents | None) -> float | None:
    if contents is None or contents.volume_l is None or not contents.capacity_l:
        return None
    return min(1.0, max(0.0, contents.volume_l / contents.capacity_l))


def _wine_words(
    contents: Contents | None, zone: tzinfo, units: str, now_ms: int, *, with_free: bool
) -> tuple[str, str, str]:
    """How much, of what, and the rest of the line about a vessel's contents."""
    if contents is None:
        return "", "", ""
    out_of_use = ", out of use" if contents.out_of_use else ""
    if not contents.known:
        return "", f"contents not entered yet{out_of_use}", ""
    since = "" if contents.since_ms is None else f"since {day_text(contents.since_ms, zone, now_ms)}"
    if contents.empty:
        return "", f"empty{out_of_use}", since
    amount = "an unknown volume" if contents.volume_l is None else volume_text(contents.volume_l, units)
    headspace = "" if contents.headspace_l is None else f"headspace {volume_text(contents.headspace_l, units)}"
    free = free_text(contents, zone, now_ms) if with_free else ""
    return amount, lots_text(contents) + out_of_use, ", ".join(part for part in (headspace, since, free) if part)


def _reading_words(reading: ReadingStatus, units: str) -> ReadingWords:
    name = quantity_name(reading.quantity)
    if reading.value is None or reading.at_ms is None or reading.quality is None:
        return ReadingWords(reading.probe, reading.quantity, name, "", None, "", reading.silent)
    doubt = "" if reading.quality == "good" else quality_text(reading.quality, reading.reason)
    value = value_text(reading.quantity, reading.value, units)
    return ReadingWords(reading.probe, reading.quantity, name, value, reading.at_ms, doubt, reading.silent)


def _rows(place: PlaceStatus, zone: tzinfo, units: str, now_ms: int) -> list[tuple[str, str]]:
    rows = []
    if (blanket := blanket_of(place.judgements, now_ms)) is not None:
        name, _, words = blanket_line(blanket, zone, units, now_ms).partition(": ")
        rows.append((name, words))
    if place.supply is not None and (supply := supply_line(place.supply, zone, now_ms)):
        name, _, words = supply.partition(": ")
        rows.append((name, words))
    if (cylinder := cylinder_of(place.judgements, now_ms)) is not None:
        for line in cylinder_lines(cylinder, zone, units, now_ms):
            rows.append(_cylinder_row(line))
    return rows


def _cylinder_row(line: str) -> tuple[str, str]:
    for name, begin in (("holds", "holds "), ("note", "note: "), ("supply", "supply ")):
        if line.startswith(begin):
            return name, line.removeprefix(begin)
    return "gas", with_capital(line)
