"""While the store takes nothing: what has arrived is read once more, for alerts to judge."""

from __future__ import annotations

__all__ = ["UnstoredReadings"]

from collections.abc import Callable, Sequence
from typing import Final

from ingest.probes.decode import Decoder
from ingest.probes.steadiness import Steadiness
from ingest.reading import Row
from ingest.sources.sample import Sample
from ingest.writing.batch import BURST_S

# So many at one time, so that a flood does not keep the writer from its next try.
_AT_ONCE: Final = 2000


class UnstoredReadings:
    """Hands on each waiting sample's readings once. send: gives how many of the rows got through.

    decoder, steadiness: of their own, since the writer's will see the same samples when the store is back.
    """

    def __init__(self, decoder: Decoder, steadiness: Steadiness, send: Callable[[Sequence[Row]], int]) -> None:
        self._decoder = decoder
        self._steadiness = steadiness
        self._send = send
        self._rows: list[Row] = []
        self._sent = 0
        self._samples = 0
        self._generation = -1
        self._generation_mono = 0.0
        self._held: Sequence[Row] | None = None

    def hand_on(
        self,
        held: Sequence[Row],
        waiting: Callable[[int, int], Sequence[Sample]],
        connection: tuple[int, float],
    ) -> None:
        """Hand on what is new since the last call.

        held: rows of the batch that could not be committed; waiting: gives samples of the queue, from a place on and so
        many; connection: number and begin (monotonic seconds) of the broker's connection, as the writer last saw it.
        """
        if connection[0] >= self._generation:
            self._generation, self._generation_mono = connection
        if held is not self._held:
            # What waited in the queue is in this batch now.
            self._held = held
            self._rows += held
            self._samples = 0
        samples = waiting(self._samples, _AT_ONCE)
        self._samples += len(samples)
        for sample in samples:
            self._rows += map(self._steadiness.judged, self._readings(sample))
        self._sent += self._send(self._rows[self._sent :])

    def stored(self) -> None:
        """Forget all of it: the store has taken what waited."""
        if self._held is not None:
            self._rows, self._sent, self._samples, self._held = [], 0, 0, None

    def _readings(self, sample: Sample) -> list[Row]:
        ticket = sample.ticket
        if ticket is not None and ticket.generation != self._generation:
            self._generation, self._generation_mono = ticket.generation, sample.arrival_mono
        # A bare number that the broker may have kept for long is not taken for one of now.
        may_be_old = ticket is not None and (sample.repeat or sample.arrival_mono - self._generation_mono < BURST_S)
        return [
            (series, sample.arrival_ms if own_ms is None else own_ms, number, quality)
            for series, own_ms, number, quality, relative in self._decoder.decode(sample).readings
            if not may_be_old or (own_ms is not None and not relative)
        ]
