"""Samples that nobody takes, gathered until there are enough of them for a proposal."""

from __future__ import annotations

__all__ = ["UnclaimedSamples"]

from collections.abc import Mapping
from dataclasses import dataclass, field
from statistics import median
from typing import Final

from alerts.command.found_numbers import line_shape
from alerts.command.proposal import Unclaimed
from ingest.sources.sample import Sample

ENOUGH_SAMPLES: Final = 3
LONGEST_WAIT_S: Final = 10.0
# A broker of a whole house has thousands of topics; beyond this a person would not read on.
MOST_ADDRESSES: Final = 200


@dataclass(slots=True)
class _Group:
    unclaimed: Unclaimed
    due_mono: float
    payloads: list[bytes] = field(default_factory=list)
    arrivals_mono: list[float] = field(default_factory=list)
    proposed: bool = False


class UnclaimedSamples:
    """Groups samples by address, and lines of text by their shape as well.

    began_mono: when listening began, seconds; what came in the first ten seconds is ready when they are over, or with
    its third sample. encodings: of each serial line's text.
    """

    def __init__(self, began_mono: float, encodings: Mapping[str, str]) -> None:
        self._began_mono = began_mono
        self._encodings = encodings
        self._groups: dict[tuple[str, str, str], _Group] = {}
        self.left_out = 0

    def add(self, sample: Sample) -> None:
        """One more sample that nobody takes."""
        encoding = self._encodings.get(sample.source)
        shape = line_shape(sample.payload, encoding) if encoding is not None else ""
        key = (sample.source, sample.address, shape)
        group = self._groups.get(key)
        if group is None:
            if len(self._groups) >= MOST_ADDRESSES:
                self.left_out += 1
                return
            early = sample.arrival_mono <= self._began_mono + LONGEST_WAIT_S
            due = (self._began_mono if early else sample.arrival_mono) + LONGEST_WAIT_S
            group = _Group(Unclaimed(sample.source, sample.address, (), encoding), due)
            self._groups[key] = group
        group.payloads = [*group.payloads, sample.payload][-ENOUGH_SAMPLES:]
        if not sample.retained:
            # When the broker's memory of a message arrives says nothing about how often it is sent.
            group.arrivals_mono = [*group.arrivals_mono, sample.arrival_mono][-ENOUGH_SAMPLES:]

    def ready(self, now_mono: float, *, at_end: bool = False) -> list[Unclaimed]:
        """What a proposal can be made for now and was not yet; at the end everything."""
        ready = []
        for group in self._groups.values():
            enough = len(group.arrivals_mono) >= ENOUGH_SAMPLES
            if group.proposed or not (enough or at_end or now_mono >= group.due_mono):
                continue
            group.proposed = True
            gaps = [later - sooner for sooner, later in zip(group.arrivals_mono, group.arrivals_mono[1:], strict=False)]
            known = group.unclaimed
            every_s = median(gaps) if gaps else None
            ready.append(Unclaimed(known.source, known.address, tuple(group.payloads), known.encoding, every_s))
        return ready
