"""Samples that no probe takes, collected until there are enough of them for a proposal."""

from __future__ import annotations

__all__ = ["Discovery", "Proposal"]

from typing import Final, NamedTuple

from alerts.command.discovery.line_numbers import line_shape
from alerts.command.discovery.probe_table import SampleGroup, probe_tables
from ingest.cellar import Cellar
from ingest.sources.sample import Sample

ENOUGH_SAMPLES: Final = 3
LONGEST_WAIT_S: Final = 10.0
# A broker of a whole estate has thousands of topics; beyond this nobody would read on.
MOST_ADDRESSES: Final = 200


class Proposal(NamedTuple):
    """toml: tables for the cellar file; what is not clear in them stands as a comment."""

    source: str
    address: str
    toml: str


class Discovery:
    """Groups samples by address, and lines of text by their shape as well.

    began_mono: when listening began, seconds. What came in the first ten seconds is proposed when they are over, or
    with its third sample. left_out: samples of addresses beyond the bound.
    """

    def __init__(self, cellar: Cellar, began_mono: float) -> None:
        self._cellar = cellar
        self._encodings = {line.id: line.encoding for line in cellar.serial}
        self._ids = {probe.id for probe in cellar.probe}
        self._began_mono = began_mono
        # Groups that wait for more samples; None for those that have been proposed.
        self._groups: dict[tuple[str, str, str], tuple[float, SampleGroup] | None] = {}
        self.left_out = 0

    def add(self, sample: Sample) -> None:
        """Take one more sample that no probe takes."""
        encoding = self._encodings.get(sample.source)
        shape = line_shape(sample.payload, encoding) if encoding is not None else ""
        key = (sample.source, sample.address, shape)
        if key not in self._groups:
            if len(self._groups) >= MOST_ADDRESSES:
                self.left_out += 1
                return
            early = sample.arrival_mono <= self._began_mono + LONGEST_WAIT_S
            due_mono = (self._began_mono if early else sample.arrival_mono) + LONGEST_WAIT_S
            self._groups[key] = (due_mono, SampleGroup(sample.source, sample.address, encoding))
        waiting = self._groups[key]
        if waiting is not None:
            _, group = waiting
            group.newest = sample.payload
            if not sample.retained:
                # When the broker's memory of a message arrives says nothing about how often it is sent.
                group.arrivals_mono.append(sample.arrival_mono)

    def proposals(self, now_mono: float, now_ms: int, *, at_end: bool = False) -> list[Proposal]:
        """Return what can be proposed now and was not yet; at the end everything. now_ms: UTC milliseconds."""
        proposals = []
        for key, waiting in self._groups.items():
            if waiting is None:
                continue
            due_mono, group = waiting
            if len(group.arrivals_mono) < ENOUGH_SAMPLES and now_mono < due_mono and not at_end:
                continue
            self._groups[key] = None
            tables = probe_tables(group, self._cellar, self._ids, now_ms)
            self._ids.update(tables)
            if tables:
                proposals.append(Proposal(group.source, group.address, "\n".join(tables.values())))
        return proposals
