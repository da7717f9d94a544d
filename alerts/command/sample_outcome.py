"""What became of a sample: the probe that takes it and what it makes of it, in words and as JSON."""

from __future__ import annotations

__all__ = ["SampleOutcome", "TrialDecoder", "outcome_json", "outcome_line", "reason_words"]

from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from alerts.view.format import local_time, quality_text, value_text
from ingest.cellar import QUANTITIES, Cellar
from ingest.plain_text import one_line
from ingest.probes.binding import bindings
from ingest.probes.decode import NO_PATTERN, NO_PROBE, RETAINED, Decoder, Refusal
from ingest.probes.file_scale import file_scale
from ingest.reading import quality_class, quality_reason
from ingest.sources.sample import Sample
from ingest.times import iso_utc, iso_utc_known

_SHOWN_CHARACTERS: Final = 60

# The reasons of ``Refusal`` in words that say what to do about it; a reason that is not here speaks for itself.
_REASONS: Final = {
    NO_PROBE: "no probe takes it",
    NO_PATTERN: "no probe's pattern takes this line; a pattern must fit the whole of it",
    "empty": "it is empty",
    "too long": "it is longer than any number",
    "not a number": "it is not a number; a plain payload is one number and nothing else",
    "not finite": "NaN, infinity, or too large for a number",
    "decimal comma": 'it has a decimal comma; write decimal = "," at the probe',
    "too large": "it is larger than 64 KiB",
    "not UTF-8": "it is not UTF-8",
    "not JSON": "it is not JSON",
    "duplicate key": "a key stands in it twice",
    "nested too deep": "it is nested deeper than 32 levels",
    "no such place in the JSON": "the pointer leads nowhere in it",
    "not a time": "time_pointer leads to something that is not a time",
    "its own time is in the future": "its own time is more than ten minutes ahead; is the sender's clock right?",
    "its own time is before the year 2000": "its own time is before the year 2000; is the sender's clock right?",
    "not text in the line's encoding": "it is not text in the line's encoding; noise, or the wrong baud rate?",
    "not SenML": "it is not a SenML pack",
    "no record of its name": "the pack has no record of the probe's name",
    "no unit": "the record has no unit; write unit at the probe",
    "unknown unit": "the record's unit is not known",
    "unit does not fit": "the record's unit is not one of the probe's quantity",
    "CRC": "the check sum is wrong; a long or loose cable?",
    "bus shorted": "the data wire is shorted to ground",
    "no chip (-127 °C)": "the chip did not answer (-127 °C)",
    "no supply voltage": "the supply voltage that the signal needs is not in it",
}


def reason_words(reason: str) -> str:
    """Return a refusal's reason in plain words."""
    return _REASONS.get(reason, reason)


@dataclass(frozen=True, slots=True)
class OutcomeReading:
    """number: as stored; value: in the quantity's unit, by the cellar file's scale; own_ms: UTC ms of the payload's own
    time, None where it carries none."""

    probe: str
    quantity: str
    number: float
    value: float
    quality: str
    reason: str
    own_ms: int | None


@dataclass(frozen=True, slots=True)
class SampleOutcome:
    """What became of one sample."""

    sample: Sample
    readings: tuple[OutcomeReading, ...]
    refusals: tuple[Refusal, ...]

    @property
    def unclaimed(self) -> bool:
        """Whether no probe takes it at all."""
        return not self.readings and all(refusal.reason in (NO_PROBE, NO_PATTERN) for refusal in self.refusals)


class TrialDecoder:
    """Decodes samples as the running leeside would, and stores nothing."""

    def __init__(self, cellar: Cellar) -> None:
        numbers = {probe.id: number for number, probe in enumerate(cellar.probe)}
        self._probes = cellar.probe
        self._scales = [file_scale(probe, cellar.site.altitude_m) for probe in cellar.probe]
        self._decoder = Decoder(bindings(cellar, numbers))

    def decode(self, sample: Sample) -> SampleOutcome:
        """Return what the probes make of it. A retained message counts as one that has just come."""
        decoded = self._decoder.decode(sample)
        if sample.retained and any(refusal.reason == RETAINED for refusal in decoded.refusals):
            decoded = self._decoder.decode(sample._replace(retained=False))
        readings = []
        for reading in decoded.readings:
            probe, (gain, offset) = self._probes[reading.series], self._scales[reading.series]
            reason = quality_reason(reading.quality).name.lower().replace("_", " ")
            readings.append(
                OutcomeReading(
                    probe=probe.id,
                    quantity=probe.quantity,
                    number=reading.number,
                    value=gain * reading.number + offset,
                    quality=quality_class(reading.quality).name.lower(),
                    reason="" if reason == "none" else reason,
                    own_ms=reading.own_ms,
                )
            )
        return SampleOutcome(sample, tuple(readings), tuple(decoded.refusals))


def outcome_line(outcome: SampleOutcome, zone: ZoneInfo, units: str) -> str:
    """Write one line: when, where, what came, and what became of it. units: "metric" or "us"."""
    sample = outcome.sample
    words = [_reading_words(reading, zone, units, sample.arrival_ms) for reading in outcome.readings]
    words += [
        (f"{refusal.probe}: refused, " if refusal.probe else "") + reason_words(refusal.reason)
        for refusal in outcome.refusals
    ]
    kept = " (retained: the broker had kept it; its age is not known)" if sample.retained else ""
    where = sample.address if sample.source in ("mqtt", sample.address) else f"{sample.source} {sample.address}"
    return (
        f"{local_time(sample.arrival_ms, zone, sample.arrival_ms)}  {one_line(where)}  "
        f"{_payload_shown(sample.payload)}{kept}  ->  {'; '.join(words)}"
    )


def outcome_json(outcome: SampleOutcome) -> dict[str, object]:
    """Return the same for programs; values in the unit that stands beside them."""
    sample = outcome.sample
    return {
        "kind": "sample",
        "at": iso_utc(sample.arrival_ms),
        "source": sample.source,
        "address": sample.address,
        "payload": sample.payload.decode("utf-8", "backslashreplace"),
        "retained": sample.retained,
        "readings": [
            {
                "probe": reading.probe,
                "number": reading.number,
                "value": reading.value,
                "unit": QUANTITIES[reading.quantity].unit,
                "quality": reading.quality,
                "reason": reading.reason,
                "own_time": iso_utc_known(reading.own_ms),
            }
            for reading in outcome.readings
        ],
        "refusals": [
            {"probe": refusal.probe, "reason": refusal.reason, "in_words": reason_words(refusal.reason)}
            for refusal in outcome.refusals
        ],
    }


def _reading_words(reading: OutcomeReading, zone: ZoneInfo, units: str, now_ms: int) -> str:
    own = "" if reading.own_ms is None else f", its own time {local_time(reading.own_ms, zone, now_ms)}"
    shown = value_text(reading.quantity, reading.value, units)
    return f"{reading.probe}: {reading.number:g} = {shown}, {quality_text(reading.quality, reading.reason)}{own}"


def _payload_shown(payload: bytes) -> str:
    text = payload.decode("utf-8", "backslashreplace").strip("\r\n")
    return f'"{one_line(text[:_SHOWN_CHARACTERS])}{"..." if len(text) > _SHOWN_CHARACTERS else ""}"'
