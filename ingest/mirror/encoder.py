"""Readings, changes of alarms, and entries of the journal as lines of the InfluxDB line protocol. Pure.

A point is known by its measurement, its tags and its time; sent again, it replaces itself. So tags must never change
for a point: a reading carries the names that site, place and probe had at its own time, whatever they are called now.
A strike sends the points of its entry again with ``struck`` 1 instead of 0, since no point can be taken back by
writing; so tags hold only what a strike does not change.

Line protocol: InfluxData, "Line protocol" in the documentation of InfluxDB v2. Where it leaves text without an escape
(line breaks, a backslash at the end of a tag) this does what the client library's own points do.
"""

from __future__ import annotations

__all__ = ["Head", "alarm_line", "entry_lines", "heads", "reading_lines", "reading_ms", "site_at"]

import math
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from operator import itemgetter
from typing import Final, NamedTuple

import numpy as np

from ingest.journal.body import body_data
from ingest.journal.entry import Entry
from ingest.journal.kinds import body_words
from ingest.reading import ESTIMATED, quality_class
from ingest.store.alarms.alarm_record import TransitionRow
from ingest.store.readings.block import Arrays

_NS_PER_MS: Final = 1_000_000
_READING: Final = "reading"

_BREAKS: Final = {"\n": "\\n", "\r": "\\r", "\t": "\\t"}
_TAG: Final = str.maketrans({",": "\\,", "=": "\\=", " ": "\\ ", **_BREAKS})
_TEXT: Final = str.maketrans({'"': '\\"', "\\": "\\\\", "\n": " ", "\r": " "})

# States of the alarm record in which what the limit watches for is still so.
_ACTIVE: Final = ("unacknowledged", "acknowledged")


class Head(NamedTuple):
    """From from_ms (UTC ms) on, a series' lines begin with ``text``: the measurement and its tags."""

    from_ms: int
    text: str


def heads(
    names: tuple[str, str], former: Iterable[tuple[int, str, str]], quantity: str, sites: Sequence[tuple[int, str]]
) -> list[Head]:
    """Return a series' heads in order of time.

    names: its probe and place now; former: (until_ms, probe, place) of each renaming; sites: (from_ms, name) of each
    cellar file that ran, in order of time, at least one.
    """
    renamed = sorted(former)
    changes = sorted({0, *(until for until, _, _ in renamed), *(from_ms for from_ms, _ in sites[1:])})
    dated: list[Head] = []
    for from_ms in changes:
        probe, place = next(((probe, place) for until, probe, place in renamed if until > from_ms), names)
        tags = {"place": place, "probe": probe, "quantity": quantity, "site": site_at(sites, from_ms)}
        text = _READING + _tags(tags)
        if not dated or dated[-1].text != text:
            dated.append(Head(from_ms, text))
    return dated


def site_at(sites: Sequence[tuple[int, str]], at_ms: int) -> str:
    """Return the site's name at a moment, the first one before all; sites: as in ``heads``."""
    return sites[max(0, bisect_right(sites, at_ms, key=itemgetter(0)) - 1)][1]


def reading_lines(readings: Arrays, dated: Sequence[Head]) -> list[str]:
    """Write readings in our units as lines. Fields: ``value``, a float; ``quality``, 0 good, 1 uncertain, 2 bad.

    There is no line for a value that is not finite, or for a time that is an estimate and may still move.
    """
    sound = readings.part(np.isfinite(readings.number) & (readings.quality < ESTIMATED))
    begins = np.array([head.from_ms for head in dated])
    places = np.maximum(np.searchsorted(begins, sound.at_ms, side="right") - 1, 0)
    texts = [head.text for head in dated]
    return [
        f"{texts[place]} value={value!r},quality={int(quality_class(quality))}i {at}000000"
        for place, at, value, quality in zip(
            places.tolist(), sound.at_ms.tolist(), sound.number.tolist(), sound.quality.tolist(), strict=True
        )
    ]


def reading_ms(line: str) -> int | None:
    """Return the time of a reading's line [UTC ms], None for another line."""
    return int(line[line.rfind(" ") + 1 :]) // _NS_PER_MS if line.startswith(_READING) else None


def alarm_line(id: int, row: TransitionRow, site: str) -> str:
    """Write a change of a limit's state as a line: measurement ``alarm``, tags ``limit`` and ``site``.

    ``active`` is 1 while what the limit watches for is so.
    """
    fields: dict[str, _Field] = {
        "active": int(row.to_state in _ACTIVE),
        "event": row.event,
        "from_state": row.from_state,
        "to_state": row.to_state,
        "occurrence": row.occurrence or None,
        "who": row.who or None,
        "note": row.note or None,
        "value": float(row.value) if row.value is not None and math.isfinite(row.value) else None,
    }
    return _line("alarm", {"limit": row.key, "site": site}, fields, row.at_ms, id)


def entry_lines(entry: Entry, site: str) -> list[str]:
    """Write an entry as lines: measurement ``entry``, a point for each place that it speaks of (one without a place if
    it speaks of none), and measurement ``result``, a point for each number that it adds to a history.

    Places are called as they were when the entry was written.
    """
    state: dict[str, _Field] = {"entry": entry.id, "struck": int(entry.struck is not None)}
    fields = {
        **state,
        "written_ms": entry.written_ms,
        "body": body_data(entry.body),
        "said": body_words(entry.body, entry.lot),
        "who": entry.who,
        "remark": getattr(entry.body, "remark", None),
    }
    if entry.struck is not None:
        strike = entry.struck
        fields |= {"struck_by": strike.who, "struck_reason": strike.reason, "struck_ms": strike.at_ms}
    tags = {"kind": entry.kind, "lot": entry.lot or "", "site": site}
    lines = [_line("entry", {**tags, "place": place}, fields, entry.at_ms, entry.id) for place in entry.places or ("",)]
    for result in entry.body.results:
        tags = {"place": entry.place or "", "lot": entry.lot or "", "quantity": result.quantity, "site": site}
        number = {"value": float(result.value), "u": None if result.u is None else float(result.u)}
        lines.append(_line("result", tags, {**state, "unit": result.unit or None, **number}, entry.at_ms, entry.id))
    return lines


_Field = int | float | str | None


def _line(measurement: str, tags: Mapping[str, str], fields: Mapping[str, _Field], at_ms: int, id: int) -> str:
    """Write one point; a field without a value is left out.

    Two changes of a limit, or two entries, can fall into one millisecond: what the nanoseconds have to spare keeps them
    apart by ``id``.
    """
    text = ",".join(f"{key}={_field(value)}" for key, value in fields.items() if value is not None)
    return f"{measurement}{_tags(tags)} {text} {at_ms * _NS_PER_MS + id % _NS_PER_MS}"


def _field(value: int | float | str) -> str:
    if isinstance(value, str):
        return f'"{value.translate(_TEXT)}"'
    return f"{value}i" if isinstance(value, int) else repr(value)


def _tags(tags: Mapping[str, str]) -> str:
    """Write tags as they follow a measurement, in the order of their keys, which servers like best; an empty one is
    left out."""
    return "".join(f",{key}={_tag(text)}" for key, text in sorted(tags.items()) if text)


def _tag(text: str) -> str:
    escaped = text.translate(_TAG)
    return escaped + " " if escaped.endswith("\\") else escaped
