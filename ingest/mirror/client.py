"""What each answer of the server calls for: one table. Pure.

Meaning of the codes: InfluxData, "Write API" of InfluxDB v2 (POST /api/v2/write); Retry-After: RFC 9110 section 10.2.3.
Sending points again is harmless, since an equal point replaces itself; so whatever leaves it open whether a batch was
written is answered by the same batch again.
"""

from __future__ import annotations

__all__ = ["NETWORK", "Reply", "ReplyMeaning", "meaning_of", "retry_after_s"]

from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from enum import Enum
from typing import Final, NamedTuple

# Stands for the status where none came: refused, dropped, timed out.
NETWORK: Final = 0

# A server may ask for patience, but a slip in its header must not end the mirror.
LONGEST_RETRY_AFTER_S: Final = 24 * 3600.0


class Reply(NamedTuple):
    """status: the HTTP code or NETWORK; said: the body or the error in words; retry_after: that header, or ""."""

    status: int
    said: str = ""
    retry_after: str = ""


class ReplyMeaning(Enum):
    """What to do after a reply."""

    TAKEN = "all is written: go on"
    PARTLY = "some points will never be taken, the rest is written: note it, go on"
    SEARCH = "a line is wrong, and nothing is written: look for it"
    HALVE = "too much at once: send half"
    AGAIN = "nobody knows, or the server is busy: the same again, later"
    SHUT = "the server will not have us: nothing to gain by haste"


_ANSWERS: Final = {
    NETWORK: ReplyMeaning.AGAIN,
    204: ReplyMeaning.TAKEN,
    400: ReplyMeaning.SEARCH,
    401: ReplyMeaning.SHUT,
    403: ReplyMeaning.SHUT,
    404: ReplyMeaning.SHUT,
    408: ReplyMeaning.AGAIN,
    413: ReplyMeaning.HALVE,
    422: ReplyMeaning.PARTLY,
    425: ReplyMeaning.AGAIN,
    429: ReplyMeaning.AGAIN,
}


def meaning_of(status: int) -> ReplyMeaning:
    """What a status calls for. Codes from 500 on: again; any other unknown one is no answer of such a server: shut.

    That holds for 200 too: a log-in page or a wrong path answers so, and has stored nothing.
    """
    return _ANSWERS.get(status, ReplyMeaning.AGAIN if status >= 500 else ReplyMeaning.SHUT)


def retry_after_s(header: str, now_ms: int) -> float | None:
    """Seconds that a Retry-After header asks for, given as a number or as a date; None if it says nothing readable."""
    text = header.strip()
    if text.isascii() and text.isdigit():
        return min(float(text[:12]), LONGEST_RETRY_AFTER_S)
    try:
        date = parsedate_to_datetime(text)
    except ValueError:
        return None
    if date.tzinfo is None:  # "-0000": the date is UTC, RFC 5322 section 3.3
        date = date.replace(tzinfo=UTC)
    wait_s = (date - datetime.fromtimestamp(now_ms / 1000, UTC)).total_seconds()
    return min(max(wait_s, 0.0), LONGEST_RETRY_AFTER_S)
