"""The cellars of config_examples, and the readings that their probes make of the bytes of their instruments."""

from __future__ import annotations

__all__ = ["DATA", "EXAMPLES", "GOOD", "Heard", "assert_near", "example", "payloads"]

from pathlib import Path
from typing import Final

import pytest
from a_store import NOW

from ingest.cellar import Cellar, load_cellar
from ingest.probes.binding import bindings
from ingest.probes.decode import Decoder, Refusal
from ingest.probes.file_scale import file_scale
from ingest.reading import Quality, quality_code
from ingest.sources.framing import LineFramer
from ingest.sources.sample import Sample

DATA: Final = Path(__file__).parent / "data"
EXAMPLES: Final = Path(__file__).parent.parent / "config_examples"
GOOD: Final = quality_code(Quality.GOOD)


class Heard:
    """The readings of a cellar's probes: (value in the quantity's unit, quality) of each probe, and refusals."""

    def __init__(self, cellar: Cellar) -> None:
        self._probes = list(cellar.probe)
        self._scales = [file_scale(probe, cellar.site.altitude_m) for probe in self._probes]
        self._decoder = Decoder(bindings(cellar, {probe.id: place for place, probe in enumerate(self._probes)}))
        self.values: dict[str, list[tuple[float, int]]] = {probe.id: [] for probe in self._probes}
        self.own_times: dict[str, list[int | None]] = {probe.id: [] for probe in self._probes}
        self.refusals: list[Refusal] = []

    def hear(self, sample: Sample) -> None:
        decoded = self._decoder.decode(sample)
        for reading in decoded.readings:
            gain, offset = self._scales[reading.series]
            self.values[self._probes[reading.series].id].append((gain * reading.number + offset, reading.quality))
            self.own_times[self._probes[reading.series].id].append(reading.own_ms)
        self.refusals += decoded.refusals

    def hear_line(self, line: str, file: Path, *, chunk: int) -> None:
        """Feed all bytes of a file, chunk by chunk, through the framer of a line that was just opened."""
        framer, data = LineFramer(), file.read_bytes()
        for start in range(0, len(data), chunk):
            for text in framer.feed(data[start : start + chunk]):
                self.hear(Sample(line, line, text, NOW, 0.0))

    def hear_topic(self, topic: str, file: Path) -> None:
        for payload in payloads(file):
            self.hear(Sample("mqtt", topic, payload.encode(), NOW, 0.0))

    def refused(self) -> list[tuple[str, str]]:
        return [(refusal.probe, refusal.reason) for refusal in self.refusals]


def example(name: str) -> Cellar:
    return load_cellar(EXAMPLES / f"{name}.toml")


def payloads(file: Path) -> list[str]:
    return file.read_text("utf-8").splitlines()


def assert_near(found: list[tuple[float, int]], expected: list[tuple[float, int]]) -> None:
    assert [quality for _, quality in found] == [quality for _, quality in expected]
    assert [value for value, _ in found] == pytest.approx([value for value, _ in expected], abs=5e-5)
