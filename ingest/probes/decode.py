"""Which probe takes a sample, and what reading it makes of it.

A sample goes in, readings and refusals come out: no port, no clock, no store. A sample that cannot be read is never
dropped in silence: every refusal names the probe (or nobody), a reason that can be counted, and what was found.
"""

from __future__ import annotations

__all__ = ["RETAINED", "Binding", "Decoded", "DecodedReading", "Decoder", "Refusal"]

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal, NamedTuple

from ingest.cellar.signal import Counts, Signal, from_wire
from ingest.cellar.units import Dimension
from ingest.errors import Unreadable
from ingest.probes.onewire import Thermometer, parse_w1
from ingest.probes.record_unit import value_in
from ingest.reading import Quality, Reason, quality_class, quality_code
from ingest.sources.json_form import JsonPointer, decode_json, number_at, time_at
from ingest.sources.number import parse_number
from ingest.sources.sample import Sample
from ingest.sources.senml import SenmlRecord, decode_senml

# An own time beyond these is a mistake of the sender's clock or zone, not a reading of then.
EARLIEST_MS = 946_684_800_000  # 2000-01-01T00:00:00Z
MOST_AHEAD_MS = 10 * 60 * 1000

_NO_END_MS = 1 << 62

# The reason of a sample that the broker had kept: how old it is nobody knows, so it is shown and not stored.
RETAINED = "retained without a time of its own"

_GOOD = quality_code(Quality.GOOD)
_OUT_OF_RANGE = quality_code(Quality.BAD, Reason.OUT_OF_RANGE)
_UNSETTLED = quality_code(Quality.UNCERTAIN, Reason.UNSETTLED)


@dataclass(frozen=True, slots=True)
class Binding:
    """A probe as the wire sees it.

    source, address: where its samples come from; low, high: the plausible range in the numbers that the wire carries,
    or with a signal in the unit of its label; pattern: for text lines, with a group ``value``; pointer, time_pointer:
    for JSON; signal, counts: what the number on the wire is turned by before it is stored. The supply of a ratiometric
    signal [V] stands at supply_pointer, or in the pattern's group ``supply``; without either it counts as nominal.

    name, dimension, unit, unit_declared: for SenML, the full name of the probe's records, and the unit of that
    dimension in which its numbers are stored; declared: somebody wrote it, so that a record without a unit is in it.
    """

    probe: str
    series: int
    source: str
    address: str
    form: Literal["plain", "json", "senml", "line", "w1"]
    low: float
    high: float
    decimal: Literal[".", ","] = "."
    pattern: re.Pattern[str] | None = None
    pointer: JsonPointer | None = None
    time_pointer: JsonPointer | None = None
    encoding: str = "utf-8"
    signal: Signal | None = None
    counts: Counts | None = None
    supply_pointer: JsonPointer | None = None
    name: str = ""
    dimension: Dimension | None = None
    unit: str = ""
    unit_declared: bool = True


class DecodedReading(NamedTuple):
    """own_ms: the payload's own time in UTC ms, None where it carries none; the next two as in a reading;
    relative: that time was counted from the arrival, so a repeat of the message cannot be known by it."""

    series: int
    own_ms: int | None
    number: float
    quality: int
    relative: bool = False


class Refusal(NamedTuple):
    """Why a sample gave no reading. probe is "" where no probe takes it."""

    probe: str
    reason: str
    found: str


class Decoded(NamedTuple):
    """What became of one sample."""

    readings: list[DecodedReading]
    refusals: list[Refusal]


@dataclass(slots=True)
class _Ahead:
    """How far a reading's own time may lie ahead of its arrival."""

    most_ms: int = MOST_AHEAD_MS


class Decoder:
    """Hands each sample to the probes at its address."""

    def __init__(self, bindings: Iterable[Binding]) -> None:
        self._ahead = _Ahead()
        by_address: dict[tuple[str, str], list[Binding]] = {}
        for binding in bindings:
            by_address.setdefault((binding.source, binding.address), []).append(binding)
        self._takers: dict[tuple[str, str], Callable[[Sample], Decoded]] = {}
        for address, group in by_address.items():
            if group[0].form == "plain":
                self._takers[address] = _plain_decoder(group[0])
            elif group[0].form == "json":
                self._takers[address] = _json_decoder(group, self._ahead)
            elif group[0].form == "senml":
                self._takers[address] = _senml_decoder(group, self._ahead)
            elif group[0].form == "w1":
                self._takers[address] = _w1_decoder(group[0])
            else:
                self._takers[address] = _line_decoder(group)

    def believe_clock(self, right: bool) -> None:
        """Whether arrival times are right; while they are not, no own time can be called one of the future."""
        self._ahead.most_ms = MOST_AHEAD_MS if right else _NO_END_MS

    def take(self, sample: Sample) -> Decoded:
        """Readings and refusals of one sample; never raises for what the wire may carry."""
        taker = self._takers.get((sample.source, sample.address))
        if taker is None:
            return Decoded([], [Refusal("", "no probe takes this address", _shown(sample.payload))])
        return taker(sample)


def _plain_decoder(binding: Binding) -> Callable[[Sample], Decoded]:
    series, low, high, decimal = binding.series, binding.low, binding.high, binding.decimal

    def take(sample: Sample) -> Decoded:
        if sample.retained:
            return Decoded([], [_retained(binding, sample)])
        try:
            number = parse_number(sample.payload, decimal=decimal)
        except Unreadable as error:
            return Decoded([], [Refusal(binding.probe, error.reason, _shown(sample.payload))])
        return Decoded([DecodedReading(series, None, number, _GOOD if low <= number <= high else _OUT_OF_RANGE)], [])

    def take_signal(sample: Sample) -> Decoded:
        if sample.retained:
            return Decoded([], [_retained(binding, sample)])
        try:
            number, quality = _linearised(binding, parse_number(sample.payload, decimal=decimal), None)
        except Unreadable as error:
            return Decoded([], [Refusal(binding.probe, error.reason, _shown(sample.payload))])
        return Decoded([DecodedReading(series, None, number, quality)], [])

    return take if binding.signal is None else take_signal


def _json_decoder(group: list[Binding], ahead: _Ahead) -> Callable[[Sample], Decoded]:
    def take(sample: Sample) -> Decoded:
        try:
            document = decode_json(sample.payload)
        except Unreadable as error:
            found = _shown(sample.payload)
            return Decoded([], [Refusal(binding.probe, error.reason, found) for binding in group])
        readings: list[DecodedReading] = []
        refusals: list[Refusal] = []
        for binding in group:
            try:
                readings.append(_json_reading(binding, document, sample, ahead))
            except Unreadable as error:
                refusals.append(Refusal(binding.probe, error.reason, error.detail or _shown(sample.payload)))
        return Decoded(readings, refusals)

    return take


def _json_reading(binding: Binding, document: object, sample: Sample, ahead: _Ahead) -> DecodedReading:
    assert binding.pointer is not None
    number = number_at(document, binding.pointer)
    own_ms = None
    if binding.time_pointer is not None:
        own_ms = time_at(document, binding.time_pointer)
        _refuse_time(own_ms, sample, ahead)
    elif sample.retained:
        raise Unreadable(RETAINED, _shown(sample.payload))
    if binding.signal is not None:
        supply = None if binding.supply_pointer is None else _supply_at(document, binding.supply_pointer)
        return DecodedReading(binding.series, own_ms, *_linearised(binding, number, supply))
    return DecodedReading(
        binding.series, own_ms, number, _GOOD if binding.low <= number <= binding.high else _OUT_OF_RANGE
    )


def _refuse_time(own_ms: int, sample: Sample, ahead: _Ahead) -> None:
    if own_ms > sample.arrival_ms + ahead.most_ms:
        raise Unreadable("its own time is in the future", _shown(sample.payload))
    if own_ms < EARLIEST_MS:
        raise Unreadable("its own time is before the year 2000", _shown(sample.payload))


def _supply_at(document: object, pointer: JsonPointer) -> float:
    try:
        return number_at(document, pointer)
    except Unreadable as error:
        raise Unreadable("no supply voltage", error.detail) from error


def _senml_decoder(group: list[Binding], ahead: _Ahead) -> Callable[[Sample], Decoded]:
    names = {binding.name: binding for binding in group}

    def take(sample: Sample) -> Decoded:
        try:
            records = decode_senml(sample.payload, sample.arrival_ms)
        except Unreadable as error:
            found = error.detail if error.reason == "not SenML" else _shown(sample.payload)
            return Decoded([], [Refusal(binding.probe, error.reason, found) for binding in group])
        readings: list[DecodedReading] = []
        refusals: list[Refusal] = []
        without = dict(names)
        strangers: dict[str, None] = {}
        for record in records:
            binding = names.get(record.name)
            if binding is None:
                strangers[record.name] = None
                continue
            without.pop(record.name, None)
            try:
                readings.append(_senml_reading(binding, record, sample, ahead))
            except Unreadable as error:
                refusals.append(Refusal(binding.probe, error.reason, error.detail or _shown(sample.payload)))
        if strangers:
            # One of them may be the probe's, under a name that is written otherwise.
            found = _shown(" ".join(strangers).encode())
            refusals += [Refusal(binding.probe, "no record of its name", found) for binding in without.values()]
        if not records:
            refusals.append(Refusal("", "a pack without a measurement", _shown(sample.payload)))
        return Decoded(readings, refusals)

    return take


def _senml_reading(binding: Binding, record: SenmlRecord, sample: Sample, ahead: _Ahead) -> DecodedReading:
    assert binding.dimension is not None
    number = value_in(record, binding.dimension, binding.unit, declared=binding.unit_declared)
    if sample.retained and (record.at_ms is None or record.relative):
        raise Unreadable(RETAINED, _shown(sample.payload))
    if record.at_ms is not None:
        _refuse_time(record.at_ms, sample, ahead)
    quality = _GOOD if binding.low <= number <= binding.high else _OUT_OF_RANGE
    return DecodedReading(binding.series, record.at_ms, number, quality, record.relative)


def _w1_decoder(binding: Binding) -> Callable[[Sample], Decoded]:
    family = binding.address[:2]
    thermometer = Thermometer()

    def take(sample: Sample) -> Decoded:
        try:
            number = parse_w1(sample.payload, family)
        except Unreadable as error:
            return Decoded([], [Refusal(binding.probe, error.reason, _shown(sample.payload))])
        if not thermometer.settled(number):
            return Decoded([DecodedReading(binding.series, None, number, _UNSETTLED)], [])
        quality = _GOOD if binding.low <= number <= binding.high else _OUT_OF_RANGE
        return Decoded([DecodedReading(binding.series, None, number, quality)], [])

    return take


def _line_decoder(group: list[Binding]) -> Callable[[Sample], Decoded]:
    encoding = group[0].encoding

    def take(sample: Sample) -> Decoded:
        try:
            text = sample.payload.decode(encoding)
        except UnicodeDecodeError:
            return Decoded([], [Refusal("", "not text in the line's encoding", _shown(sample.payload))])
        readings: list[DecodedReading] = []
        refusals: list[Refusal] = []
        for binding in group:
            assert binding.pattern is not None
            # The whole line, never some number inside of it: noise holds digits too.
            match = binding.pattern.fullmatch(text)
            if match is None:
                continue
            try:
                number = parse_number(match["value"] or "", decimal=binding.decimal)
                if binding.signal is None:
                    quality = _GOOD if binding.low <= number <= binding.high else _OUT_OF_RANGE
                else:
                    number, quality = _linearised(binding, number, _supply_in(match, binding))
            except Unreadable as error:
                refusals.append(Refusal(binding.probe, error.reason, _shown(sample.payload)))
                continue
            readings.append(DecodedReading(binding.series, None, number, quality))
        if not readings and not refusals:
            refusals.append(Refusal("", "no probe's pattern takes this line", _shown(sample.payload)))
        return Decoded(readings, refusals)

    return take


def _supply_in(match: re.Match[str], binding: Binding) -> float | None:
    if "supply" not in match.re.groupindex:
        return None
    try:
        return parse_number(match["supply"] or "", decimal=binding.decimal)
    except Unreadable as error:
        raise Unreadable("no supply voltage", error.detail) from error


def _linearised(binding: Binding, number: float, supply: float | None) -> tuple[float, int]:
    """The number in the unit of the label, and its quality: what the signal says of itself, then what can be."""
    assert binding.signal is not None
    value, quality = from_wire(binding.signal, binding.counts, number, supply)
    if quality_class(quality) is not Quality.BAD and not binding.low <= value <= binding.high:
        return value, _OUT_OF_RANGE
    return value, quality


def _retained(binding: Binding, sample: Sample) -> Refusal:
    # The broker kept it: how old it is nobody knows, so it is shown and not stored.
    return Refusal(binding.probe, RETAINED, _shown(sample.payload))


def _shown(payload: bytes) -> str:
    text = payload[:60].decode("utf-8", "backslashreplace")
    shown = "".join(letter if letter.isprintable() else f"\\x{ord(letter):02x}" for letter in text)
    return shown + ("..." if len(payload) > 60 else "")
