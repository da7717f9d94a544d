"""A sample: what came over the wire, as it came."""

from __future__ import annotations

__all__ = ["Sample", "Ticket"]

from typing import NamedTuple


class Ticket(NamedTuple):
    """How an MQTT message is acknowledged: the connection that brought it, and its packet id there.

    A ticket of an earlier connection is void: the same packet id means another message by then.
    """

    generation: int
    packet_id: int
    qos: int


class Sample(NamedTuple):
    """What a source delivers.

    source: ``mqtt`` or the id of a serial line; address: the topic, or the line's id for serial text;
    payload: the bytes as they came (a serial line without its terminator);
    arrival_ms: UTC milliseconds at which it arrived; arrival_mono: ``time.monotonic()`` then, seconds;
    retained: the broker had kept it, so its age is unknown; repeat: the broker says it may have been sent before;
    ticket: what to hand to the source once the sample is on disk, None where nothing waits for it.
    """

    source: str
    address: str
    payload: bytes
    arrival_ms: int
    arrival_mono: float
    retained: bool = False
    repeat: bool = False
    ticket: Ticket | None = None
