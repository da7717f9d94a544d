"""What a person asks for about an alarm: command and page write it down, and the next turn applies it."""

from __future__ import annotations

__all__ = ["OperatorEvent", "OperatorEventKind", "OperatorRequest"]

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


class OperatorRequest(NamedTuple):
    """kind: an ``OperatorEventKind``; target: an occurrence's short id or a limit's key, "" for all; note: free text,
    of what mutes a limit the reason; span_s: for how long to shelve, seconds.
    """

    kind: str
    target: str
    note: str = ""
    span_s: float | None = None


class OperatorEvent(NamedTuple):
    """A request as it was written down.

    id: the row that it is stored under; written_ms: when it was asked, UTC milliseconds; kind: also one that a later
    version wrote; who: the person; the rest as in ``OperatorRequest``.
    """

    id: int
    written_ms: int
    kind: str
    target: str
    who: str
    note: str = ""
    span_s: float | None = None
