"""What a limit says at a moment."""

from __future__ import annotations

__all__ = ["Condition"]

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Condition:
    """A limit's condition after it last changed.

    key: the limit's key; active: whether what must not be, is; since_ms: own time (UTC milliseconds) of the reading
    that first crossed, or, when not active, of the one that first came back; value: the newest value judged, in our
    unit of the quantity (seconds of silence for a limit on missing data, None when data came back); finding: the
    explanation that gas or wine gives, or ""; extreme: the farthest value beyond the setpoint since the condition
    began.
    """

    key: str
    active: bool
    since_ms: int
    value: float | None
    finding: str = ""
    extreme: float | None = None
