"""Which probe takes a sample, and what reading it makes of it.

A sample goes in, readings and refusals come out: no port, no clock, no store. A sample that cannot be read is never
dropped in silence: every refusal names the probe (or nobody), a reason that can be counted, and what was found.
"""

from __future__ import annotations

__all__ = ["NO_PATTERN", "NO_PROBE", "RETAINED", "Binding", "Decoded", "DecodedReading", "Decoder", "Refusal"]

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

from ingest.cellar import Counts, Dimension, LinePattern, Signal, from_wire
from ingest.errors import Unreadable
from ingest.plain_text import one_line
from ingest.probes.onewire import Thermometer, parse_w1
from ingest.probes.record_unit import value_in
from ingest.reading import LARGEST_VALUE, Quality, Reason, quality_class, quality_code
from ingest.sources.json_form import JsonPointer, decode_json, number_at, time_at
from ingest.sources.number import parse_number
from ingest.sources.sample import Sample
from ingest.sources.senml import SenmlRecord, decode_senml
from ingest.times import EARLIEST_MS

# An own time beyond these comes from a wrong clock or zone at the sender.
MOST_AHEAD_MS: Final = 10 * 60 * 1000
# A sender's clock that is ahead by more is not right; `leeside now` and messages show it.
AHEAD_MS: Final = 60 * 1000

# Reasons of refusals that others act upon.
NO_PROBE: Final = "no probe takes this address"
NO_PATTERN: Final = "no probe's pattern takes this line"
RETAINED: Final = "retained without a time of its own"  # nobody knows how old it is, so it is shown and not stored

_GOOD = quality_code(Quality.GOOD)
_OUT_OF_RANGE = quality_code(Quality.BAD, Reason.OUT_OF_RANGE)
_CLOCK = quality_code(Quality.UNCERTAIN, Reason.CLOCK)
_UNSETTLED = quality_code(Quality.UNCERTAIN, Reason.UNSETTLED)


@dataclass(frozen=True, slots=True)
class Binding:
    """A probe as the wire sees it.

    source, address: where its samples come from; low, high: the plausible range in the numbers that the wire carries,
    or with a signal in the unit of its label; gain, offset: what turns these numbers into the quantity's unit; pattern:
    for text lines, with a group ``value``; pointer, time_pointer: for JSON; signal, counts: what the number on the wire
    is turned by before it is stored. The supply of a ratiometric signal [V] stands at supply_pointer, or in the
    pattern's group ``supply``; without either it counts as nominal.

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
    gain: float = 1.0
    offset: float = 0.0
    decimal: Literal[".", ","] = "."
    pattern: LinePattern | None = None
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

    def quality_of(self, number: float) -> int:
        """Return the quality code of a number by the plausible range alone. Raises Unreadable ``not finite``."""
        if self.low <= number <= self.high:
            return _GOOD
        if not abs(self.gain * number + self.offset) <= LARGEST_VALUE:
            raise Unreadable("not finite", f"{number:g} is beyond {LARGEST_VALUE:g} in the quantity's unit")
        return _OUT_OF_RANGE

    def refusal(self, error: Unreadable, sample: Sample) -> Refusal:
        """Return why this probe got no reading from the sample."""
        return Refusal(self.probe, error.reason, error.detail or _excerpt(sample.payload))


class DecodedReading(NamedTuple):
    """own_ms: the payload's own time in UTC ms, None where it carries none; number, quality: as in a reading;
    relative: that time was counted from the arrival, so a repeat of the message cannot be recognised by it."""

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


_Decode = Callable[[Sample], Decoded]


class Decoder:
    """Decodes each sample for the probes at its address."""

    def __init__(self, bindings: Iterable[Binding]) -> None:
        self._own_times = _OwnTimes()
        by_address: dict[tuple[str, str], list[Binding]] = {}
        for binding in bindings:
            by_address.setdefault((binding.source, binding.address), []).append(binding)
        self._decoders = {address: self._decoder(group) for address, group in by_address.items()}

    def _decoder(self, group: Sequence[Binding]) -> _Decode:
        """Return the function for the probes of one address, which all have the same form."""
        match group[0].form:
            case "plain":
                return _plain_decoder(group[0])
            case "json":
                return _json_decoder(group, self._own_times)
            case "senml":
                return _senml_decoder(group, self._own_times)
            case "w1":
                return _w1_decoder(group[0])
            case "line":
                return _line_decoder(group)

    def believe_clock(self, right: bool) -> None:
        """Say whether arrival times are right; while they are not, no own time can be called one of the future."""
        self._own_times.clock_is_right = right

    def decode(self, sample: Sample) -> Decoded:
        """Return the readings and refusals of one sample; never raises for what the wire may carry."""
        decode = self._decoders.get((sample.source, sample.address))
        if decode is None:
            return Decoded([], [Refusal("", NO_PROBE, _excerpt(sample.payload))])
        return decode(sample)


@dataclass(slots=True)
class _OwnTimes:
    """Checks the times that payloads carry against the arrival."""

    clock_is_right: bool = True

    def check(self, own_ms: int, sample: Sample) -> None:
        """Raise Unreadable for an own time that cannot be true."""
        if self.clock_is_right and own_ms > sample.arrival_ms + MOST_AHEAD_MS:
            raise Unreadable("its own time is in the future")
        if own_ms < EARLIEST_MS:
            raise Unreadable("its own time is before the year 2000")

    def quality(self, own_ms: int | None, sample: Sample, quality: int) -> int:
        """Return the quality of a reading; a good one whose own time has not come yet is uncertain for its clock."""
        is_ahead = self.clock_is_right and own_ms is not None and own_ms > sample.arrival_ms + AHEAD_MS
        return _CLOCK if is_ahead and quality == _GOOD else quality


def _plain_decoder(binding: Binding) -> _Decode:
    series, low, high, decimal = binding.series, binding.low, binding.high, binding.decimal
    quality_of = binding.quality_of

    def decode(sample: Sample) -> Decoded:
        if sample.retained:
            return Decoded([], [Refusal(binding.probe, RETAINED, _excerpt(sample.payload))])
        try:
            number = parse_number(sample.payload, decimal=decimal)
            if binding.signal is not None:
                number, quality = _linearised(binding, number, None)
            else:
                quality = _GOOD if low <= number <= high else quality_of(number)
        except Unreadable as error:
            # Without the error's detail: the payload itself is as short as that.
            return Decoded([], [Refusal(binding.probe, error.reason, _excerpt(sample.payload))])
        return Decoded([DecodedReading(series, None, number, quality)], [])

    return decode


def _json_decoder(group: Sequence[Binding], own_times: _OwnTimes) -> _Decode:
    def decode(sample: Sample) -> Decoded:
        try:
            document = decode_json(sample.payload)
        except Unreadable as error:
            excerpt = _excerpt(sample.payload)
            return Decoded([], [Refusal(binding.probe, error.reason, excerpt) for binding in group])
        decoded = Decoded([], [])
        for binding in group:
            try:
                decoded.readings.append(_json_reading(binding, document, sample, own_times))
            except Unreadable as error:
                decoded.refusals.append(binding.refusal(error, sample))
        return decoded

    return decode


def _json_reading(binding: Binding, document: object, sample: Sample, own_times: _OwnTimes) -> DecodedReading:
    assert binding.pointer is not None
    number = number_at(document, binding.pointer)
    own_ms = None
    if binding.time_pointer is not None:
        own_ms = time_at(document, binding.time_pointer)
        own_times.check(own_ms, sample)
    elif sample.retained:
        raise Unreadable(RETAINED)
    if binding.signal is not None:
        supply = None if binding.supply_pointer is None else _supply_at(document, binding.supply_pointer)
        number, quality = _linearised(binding, number, supply)
    else:
        quality = binding.quality_of(number)
    return DecodedReading(binding.series, own_ms, number, own_times.quality(own_ms, sample, quality))


def _supply_at(document: object, pointer: JsonPointer) -> float:
    try:
        return number_at(document, pointer)
    except Unreadable as error:
        raise Unreadable("no supply voltage", error.detail) from error


def _senml_decoder(group: Sequence[Binding], own_times: _OwnTimes) -> _Decode:
    by_name = {binding.name: binding for binding in group}

    def decode(sample: Sample) -> Decoded:
        try:
            records = decode_senml(sample.payload, sample.arrival_ms)
        except Unreadable as error:
            excerpt = error.detail if error.reason == "not SenML" else _excerpt(sample.payload)
            return Decoded([], [Refusal(binding.probe, error.reason, excerpt) for binding in group])
        decoded = Decoded([], [])
        without_record = dict(by_name)
        unknown_names: dict[str, None] = {}
        for record in records:
            binding = by_name.get(record.name)
            if binding is None:
                unknown_names[record.name] = None
                continue
            without_record.pop(record.name, None)
            try:
                decoded.readings.append(_senml_reading(binding, record, sample, own_times))
            except Unreadable as error:
                decoded.refusals.append(binding.refusal(error, sample))
        if unknown_names:
            # One of them may be the probe's, under a name that is written otherwise.
            names = _excerpt(" ".join(unknown_names).encode())
            decoded.refusals.extend(
                Refusal(binding.probe, "no record of its name", names) for binding in without_record.values()
            )
        if not records:
            decoded.refusals.append(Refusal("", "a pack without a measurement", _excerpt(sample.payload)))
        return decoded

    return decode


def _senml_reading(binding: Binding, record: SenmlRecord, sample: Sample, own_times: _OwnTimes) -> DecodedReading:
    assert binding.dimension is not None
    number = value_in(record, binding.dimension, binding.unit, declared=binding.unit_declared)
    if sample.retained and (record.at_ms is None or record.relative):
        raise Unreadable(RETAINED)
    if record.at_ms is not None:
        own_times.check(record.at_ms, sample)
    quality = own_times.quality(record.at_ms, sample, binding.quality_of(number))
    return DecodedReading(binding.series, record.at_ms, number, quality, record.relative)


def _w1_decoder(binding: Binding) -> _Decode:
    family = binding.address[:2]
    thermometer = Thermometer()

    def decode(sample: Sample) -> Decoded:
        try:
            number = parse_w1(sample.payload, family)
        except Unreadable as error:
            return Decoded([], [Refusal(binding.probe, error.reason, _excerpt(sample.payload))])
        quality = binding.quality_of(number) if thermometer.settled(number) else _UNSETTLED
        return Decoded([DecodedReading(binding.series, None, number, quality)], [])

    return decode


def _line_decoder(group: Sequence[Binding]) -> _Decode:
    encoding = group[0].encoding

    def decode(sample: Sample) -> Decoded:
        try:
            text = sample.payload.decode(encoding)
        except UnicodeDecodeError:
            return Decoded([], [Refusal("", "not text in the line's encoding", _excerpt(sample.payload))])
        decoded = Decoded([], [])
        for binding in group:
            assert binding.pattern is not None
            # The whole line, never some number inside of it: noise holds digits too.
            match = binding.pattern.match(text)
            if match is None:
                continue
            try:
                number = parse_number(match["value"] or "", decimal=binding.decimal)
                if binding.signal is None:
                    quality = binding.quality_of(number)
                else:
                    number, quality = _linearised(binding, number, _supply_in(match, binding))
            except Unreadable as error:
                decoded.refusals.append(Refusal(binding.probe, error.reason, _excerpt(sample.payload)))
                continue
            decoded.readings.append(DecodedReading(binding.series, None, number, quality))
        if not decoded.readings and not decoded.refusals:
            decoded.refusals.append(Refusal("", NO_PATTERN, _excerpt(sample.payload)))
        return decoded

    return decode


def _supply_in(match: Mapping[str, str | None], binding: Binding) -> float | None:
    if "supply" not in match:
        return None
    try:
        return parse_number(match["supply"] or "", decimal=binding.decimal)
    except Unreadable as error:
        raise Unreadable("no supply voltage", error.detail) from error


def _linearised(binding: Binding, number: float, supply: float | None) -> tuple[float, int]:
    """Return the number in the unit of the label, and its quality by the signal first, then by the plausible range."""
    assert binding.signal is not None
    value, quality = from_wire(binding.signal, binding.counts, number, supply)
    by_range = binding.quality_of(value)
    return value, (quality if quality_class(quality) is Quality.BAD or by_range == _GOOD else by_range)


def _excerpt(payload: bytes) -> str:
    return one_line(payload[:60].decode("utf-8", "backslashreplace")) + ("..." if len(payload) > 60 else "")
