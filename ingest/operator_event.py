"""What a person asks for about an alarm: command and page write it down, and the next turn applies it."""

from __future__ import annotations

__all__ = ["OperatorEvent"]

from typing import NamedTuple


class OperatorEvent(NamedTuple):
    """id: the row that it is stored under; kind: ``acknowledge`` is the only one so far; target: an occurrence's short
    id or a limit's key; who: the person; written_ms: when it was asked, UTC milliseconds; note: free text.
    """

    id: int
    written_ms: int
    kind: str
    target: str
    who: str
    note: str = ""
