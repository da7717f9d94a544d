"""What a person asks for about an alarm: command and page write it down, and the next turn applies it."""

from __future__ import annotations

__all__ = ["OperatorEvent", "OperatorEventKind"]

from enum import StrEnum
from typing import NamedTuple


class OperatorEventKind(StrEnum):
    """What a person can ask for."""

    ACKNOWLEDGE = "acknowledge"
    ACKNOWLEDGE_ALL = "acknowledge all"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    TAKE_OUT_OF_SERVICE = "take out of service"
    RETURN_TO_SERVICE = "return to service"


class OperatorEvent(NamedTuple):
    """id: the row that it is stored under; kind: an ``OperatorEventKind``, or what a later version wrote; target: an
    occurrence's short id or a limit's key, "" for all; who: the person; written_ms: when it was asked, UTC
    milliseconds; note: free text, of what mutes a limit the reason; span_s: for how long to shelve, seconds.
    """

    id: int
    written_ms: int
    kind: str
    target: str
    who: str
    note: str = ""
    span_s: float | None = None
