"""How often probes read, and what follows from it: which readings are too many, and which numbers the broker had kept.

Pure: monotonic seconds come in as arguments. Two questions are answered by it. A probe that babbles must not fill the
store, nor hold up what other probes report. And after a connection came about a bare number may be an old one: messages
that come no faster than the probes send them are new, since a broker sends what it had kept as fast as it can.
"""

from __future__ import annotations

__all__ = ["BABBLES", "ProbePaces"]

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from ingest.cellar import Probe
from ingest.token_bucket import TokenBucket

# The reason of a refusal.
BABBLES: Final = "more readings than this probe should send"

# So many readings a second are taken of any probe, or so many within its `every` if that is more; and so many at once.
# Far more than the file says, because many files say nothing: this project's choice.
TAKEN_A_SECOND: Final = 5.0
TAKEN_WITHIN_EVERY: Final = 20.0
TAKEN_AT_ONCE: Final = 200.0
# A pause of this length between two readings of a probe ends a backlog.
PAUSE_S: Final = 1.0
# A reading whose own time is older than this was kept somewhere, so it is no babble.
LIVE_S: Final = 10.0
# For a probe that has never been read: what the broker may have kept for it meanwhile.
NEVER_READ_S: Final = 86_400.0

# A number that comes this share of `every` after the one before, on one connection, is as new as that.
_LIVE_SHARE: Final = 0.5
# So many times more messages than the probes send, and a few, are a backlog.
_BACKLOG_TIMES: Final = 3.0
_BACKLOG_MORE: Final = 3.0


@dataclass(slots=True)
class _ProbePace:
    """tokens: the readings that may be taken, filled when the last one came; generation: on which connection."""

    probe: str
    every_s: float
    tokens: TokenBucket
    generation: int = 0


def _pace(probe: Probe) -> _ProbePace:
    a_second = max(TAKEN_A_SECOND, TAKEN_WITHIN_EVERY / probe.every_s)
    return _ProbePace(probe.id, probe.every_s, TokenBucket(TAKEN_AT_ONCE, 1.0 / a_second, TAKEN_AT_ONCE))


class ProbePaces:
    """Follows the readings of all series. series: probe -> its series."""

    def __init__(self, probes: Iterable[Probe], series: Mapping[str, int]) -> None:
        self._series: dict[int, _ProbePace] = {}
        # How many messages a second the broker passes on when it has kept none.
        self._a_second = 0.0
        for probe in probes:
            self._series[series[probe.id]] = _pace(probe)
            if probe.topic is not None:
                self._a_second += 1.0 / probe.every_s

    def probe(self, series: int) -> str:
        """The probe of a series."""
        return self._series[series].probe

    def takes(self, series: int, mono: float, generation: int, silence_s: float | None) -> bool:
        """Whether a reading that comes now is to be taken; False for one that is too many.

        generation: the connection that brought it, 0 where none keeps anything for us; silence_s: time since the
        newest stored reading, None where there is none. After a silence the broker may have kept a reading for each
        moment of it.
        """
        state = self._series.get(series)
        if state is None:
            return True
        tokens = state.tokens
        if tokens.at_s is None or mono - tokens.at_s >= PAUSE_S:
            tokens.left = min(tokens.left, tokens.most)
        tokens.fill(mono)
        if generation not in (0, state.generation):
            state.generation = generation
            away_s = NEVER_READ_S if silence_s is None else silence_s
            tokens.left = max(tokens.left, tokens.most + away_s / tokens.every_s)
        return tokens.take()

    def is_live(self, series: int, since_s: float) -> bool:
        """Whether a number that came so long after the one before, on one connection, cannot be one that was kept."""
        state = self._series.get(series)
        return state is not None and since_s >= _LIVE_SHARE * state.every_s

    def is_backlog(self, messages: int, within_s: float) -> bool:
        """Whether so many messages are more than the probes send in that time."""
        return messages > _BACKLOG_TIMES * self._a_second * within_s + _BACKLOG_MORE
