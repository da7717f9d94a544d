"""Which probe takes a sample, and what reading it makes of it.

A sample goes in, readings and refusals come out: no port, no clock, no store. A sample that cannot be read is never
dropped in silence: every refusal names the probe (or nobody), a reason that can be counted, and what was found.
"""

from __future__ import annotations

__all__ = ["Binding", "Refusal", "Taken", "Taker", "Took"]

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal, NamedTuple

from ingest.errors import Unreadable
from ingest.probes.reading import Quality, Reason, quality_code
from ingest.sources.json_form import JsonPointer, decode_json, number_at, time_at
from ingest.sources.number import parse_number
from ingest.sources.sample import Sample

# An own time beyond these is a mistake of the sender's clock or zone, not a reading of then.
EARLIEST_MS = 946_684_800_000  # 2000-01-01T00:00:00Z
MOST_AHEAD_MS = 10 * 60 * 1000

_GOOD = quality_code(Quality.GOOD)
_OUT_OF_RANGE = quality_code(Quality.BAD, Reason.OUT_OF_RANGE)


@dataclass(frozen=True, slots=True)
class Binding:
    """A probe as the wire sees it.

    source, address: where its samples come from; low, high: the plausible range in the numbers that the wire carries;
    pattern: for text lines, with a group ``value``; pointer, time_pointer: for JSON.
    """

    probe: str
    series: int
    source: str
    address: str
    form: Literal["plain", "json", "line"]
    low: float
    high: float
    decimal: Literal[".", ","] = "."
    pattern: re.Pattern[str] | None = None
    pointer: JsonPointer | None = None
    time_pointer: JsonPointer | None = None
    encoding: str = "utf-8"


class Took(NamedTuple):
    """own_ms: the payload's own time in UTC ms, None where it carries none; the other three as in a reading."""

    series: int
    own_ms: int | None
    number: float
    quality: int


class Refusal(NamedTuple):
    """Why a sample gave no reading. probe is "" where no probe takes it."""

    probe: str
    reason: str
    found: str


class Taken(NamedTuple):
    """What became of one sample."""

    readings: list[Took]
    refusals: list[Refusal]


class Taker:
    """Hands each sample to the probes at its address."""

    def __init__(self, bindings: Iterable[Binding]) -> None:
        by_address: dict[tuple[str, str], list[Binding]] = {}
        for binding in bindings:
            by_address.setdefault((binding.source, binding.address), []).append(binding)
        self._takers: dict[tuple[str, str], Callable[[Sample], Taken]] = {}
        for address, group in by_address.items():
            if group[0].form == "plain":
                self._takers[address] = _plain_taker(group[0])
            elif group[0].form == "json":
                self._takers[address] = _json_taker(group)
            else:
                self._takers[address] = _line_taker(group)

    def take(self, sample: Sample) -> Taken:
        """Readings and refusals of one sample; never raises for what the wire may carry."""
        taker = self._takers.get((sample.source, sample.address))
        if taker is None:
            return Taken([], [Refusal("", "no probe takes this address", _shown(sample.payload))])
        return taker(sample)


def _plain_taker(binding: Binding) -> Callable[[Sample], Taken]:
    series, low, high, decimal = binding.series, binding.low, binding.high, binding.decimal

    def take(sample: Sample) -> Taken:
        if sample.retained:
            return Taken([], [_retained(binding, sample)])
        try:
            number = parse_number(sample.payload, decimal=decimal)
        except Unreadable as error:
            return Taken([], [Refusal(binding.probe, error.reason, _shown(sample.payload))])
        return Taken([Took(series, None, number, _GOOD if low <= number <= high else _OUT_OF_RANGE)], [])

    return take


def _json_taker(group: list[Binding]) -> Callable[[Sample], Taken]:
    def take(sample: Sample) -> Taken:
        try:
            document = decode_json(sample.payload)
        except Unreadable as error:
            found = _shown(sample.payload)
            return Taken([], [Refusal(binding.probe, error.reason, found) for binding in group])
        readings: list[Took] = []
        refusals: list[Refusal] = []
        for binding in group:
            try:
                readings.append(_json_reading(binding, document, sample))
            except Unreadable as error:
                refusals.append(Refusal(binding.probe, error.reason, error.detail or _shown(sample.payload)))
        return Taken(readings, refusals)

    return take


def _json_reading(binding: Binding, document: object, sample: Sample) -> Took:
    assert binding.pointer is not None
    number = number_at(document, binding.pointer)
    own_ms = None
    if binding.time_pointer is not None:
        own_ms = time_at(document, binding.time_pointer)
        if own_ms > sample.arrival_ms + MOST_AHEAD_MS:
            raise Unreadable("its own time is in the future", _shown(sample.payload))
        if own_ms < EARLIEST_MS:
            raise Unreadable("its own time is before the year 2000", _shown(sample.payload))
    elif sample.retained:
        raise Unreadable("retained without a time of its own", _shown(sample.payload))
    return Took(binding.series, own_ms, number, _GOOD if binding.low <= number <= binding.high else _OUT_OF_RANGE)


def _line_taker(group: list[Binding]) -> Callable[[Sample], Taken]:
    encoding = group[0].encoding

    def take(sample: Sample) -> Taken:
        try:
            text = sample.payload.decode(encoding)
        except UnicodeDecodeError:
            return Taken([], [Refusal("", "not text in the line's encoding", _shown(sample.payload))])
        readings: list[Took] = []
        refusals: list[Refusal] = []
        for binding in group:
            assert binding.pattern is not None
            # The whole line, never some number inside of it: noise holds digits too.
            match = binding.pattern.fullmatch(text)
            if match is None:
                continue
            try:
                number = parse_number(match["value"] or "", decimal=binding.decimal)
            except Unreadable as error:
                refusals.append(Refusal(binding.probe, error.reason, _shown(sample.payload)))
                continue
            quality = _GOOD if binding.low <= number <= binding.high else _OUT_OF_RANGE
            readings.append(Took(binding.series, None, number, quality))
        if not readings and not refusals:
            refusals.append(Refusal("", "no probe's pattern takes this line", _shown(sample.payload)))
        return Taken(readings, refusals)

    return take


def _retained(binding: Binding, sample: Sample) -> Refusal:
    # The broker kept it: how old it is nobody knows, so it is shown and not stored.
    return Refusal(binding.probe, "retained without a time of its own", _shown(sample.payload))


def _shown(payload: bytes) -> str:
    text = payload[:60].decode("utf-8", "backslashreplace")
    shown = "".join(letter if letter.isprintable() else f"\\x{ord(letter):02x}" for letter in text)
    return shown + ("..." if len(payload) > 60 else "")
