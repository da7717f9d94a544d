"""Readings and changes of alarms as lines of the InfluxDB line protocol. Pure.

A point is known by its measurement, its tags and its time; sent again, it replaces itself. So tags must never change
for a point: a reading carries the names that site, place and probe had at its own time, whatever they are called now.

Line protocol: InfluxData, "Line protocol" in the documentation of InfluxDB v2. Where it leaves text without an escape
(line breaks, a backslash at the end of a tag) this does what the client library's own points do.
"""

from __future__ import annotations

__all__ = [
    "NS_PER_MS",
    "Head",
    "PointLines",
    "alarm_line",
    "heads",
    "reading_lines",
    "reading_ms",
    "tags_text",
    "text_field",
]

import math
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np

from ingest.reading import ESTIMATED, quality_class
from ingest.store.alarms.alarm_record import TransitionRow
from ingest.store.readings.block import Arrays

NS_PER_MS: Final = 1_000_000
_READING: Final = "reading"

_BREAKS: Final = {"\n": "\\n", "\r": "\\r", "\t": "\\t"}
_TAG: Final = str.maketrans({",": "\\,", "=": "\\=", " ": "\\ ", **_BREAKS})
_TEXT: Final = str.maketrans({'"': '\\"', "\\": "\\\\", "\n": " ", "\r": " "})

# States of the alarm journal in which what the limit watches for is still so.
_ACTIVE: Final = ("unacknowledged", "acknowledged")


class Head(NamedTuple):
    """From from_ms (UTC ms) on, a series' lines begin with ``text``: the measurement and its tags."""

    from_ms: int
    text: str


class PointLines(NamedTuple):
    """Lines, and how many readings make none: no finite value, or a time that is an estimate and may still move."""

    lines: list[str]
    left_out: int


def heads(
    names: tuple[str, str], former: Iterable[tuple[int, str, str]], quantity: str, sites: Sequence[tuple[int, str]]
) -> list[Head]:
    """A series' heads in order of time.

    names: its probe and place now; former: (until_ms, probe, place) of each renaming; sites: (from_ms, name) of each
    cellar file that ran, in order of time, at least one.
    """
    renamed = sorted(former)
    changes = sorted({0, *(until for until, _, _ in renamed), *(from_ms for from_ms, _ in sites[1:])})
    made: list[Head] = []
    for from_ms in changes:
        probe, place = next(((probe, place) for until, probe, place in renamed if until > from_ms), names)
        site = sites[max(0, bisect_right(sites, from_ms, key=_first) - 1)][1]
        text = _READING + tags_text({"place": place, "probe": probe, "quantity": quantity, "site": site})
        if not made or made[-1].text != text:
            made.append(Head(from_ms, text))
    return made


def _first(pair: tuple[int, str]) -> int:
    return pair[0]


def tags_text(tags: Mapping[str, str]) -> str:
    """Tags as they follow a measurement, in the order of their keys, which servers like best; no text, no tag."""
    return "".join(f",{key}={_tag(text)}" for key, text in sorted(tags.items()) if text)


def text_field(key: str, text: str) -> str:
    """A field that holds text."""
    return f'{key}="{text.translate(_TEXT)}"'


def _tag(text: str) -> str:
    escaped = text.translate(_TAG)
    return escaped + " " if escaped.endswith("\\") else escaped


def reading_lines(readings: Arrays, dated: Sequence[Head]) -> PointLines:
    """Readings in our units as lines. Fields: ``value``, a float; ``quality``, 0 good, 1 uncertain, 2 bad."""
    sound = np.isfinite(readings.number) & (readings.quality < ESTIMATED)
    kept = readings.part(sound)
    begins = np.array([head.from_ms for head in dated])
    places = np.maximum(np.searchsorted(begins, kept.at_ms, side="right") - 1, 0)
    texts = [head.text for head in dated]
    lines = [
        f"{texts[place]} value={value!r},quality={int(quality_class(quality))}i {at}000000"
        for place, at, value, quality in zip(
            places.tolist(), kept.at_ms.tolist(), kept.number.tolist(), kept.quality.tolist(), strict=True
        )
    ]
    return PointLines(lines, len(readings.at_ms) - len(kept.at_ms))


def reading_ms(line: str) -> int | None:
    """The time of a reading's line [UTC ms], None for another line."""
    return int(line[line.rfind(" ") + 1 :]) // NS_PER_MS if line.startswith(_READING) else None


def alarm_line(id: int, row: TransitionRow, site: str) -> str:
    """A change of a limit's state as a line: measurement ``alarm``, tags ``limit`` and ``site``.

    ``active`` is 1 while what the limit watches for is so. Two changes of one limit can fall into one millisecond; what
    the nanoseconds have to spare keeps them apart.
    """
    fields = [f"active={int(row.to_state in _ACTIVE)}i"]
    texts = {
        "event": row.event,
        "from_state": row.from_state,
        "to_state": row.to_state,
        "occurrence": row.occurrence or "",
        "who": row.who,
        "note": row.note,
    }
    fields += [text_field(key, text) for key, text in texts.items() if text]
    if row.value is not None and math.isfinite(row.value):
        fields.append(f"value={float(row.value)!r}")
    at_ns = row.at_ms * NS_PER_MS + id % NS_PER_MS
    return f"alarm{tags_text({'limit': row.key, 'site': site})} {','.join(fields)} {at_ns}"
