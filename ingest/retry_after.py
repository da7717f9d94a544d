"""The Retry-After header of HTTP (RFC 9110 section 10.2.3): how long a server asks not to be asked again."""

from __future__ import annotations

__all__ = ["LONGEST_RETRY_AFTER_S", "retry_after_s"]

from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Final

# A server may ask for patience, but a slip in its header must not end what is sent there.
LONGEST_RETRY_AFTER_S: Final = 24 * 3600.0


def retry_after_s(header: str, now_ms: int) -> float | None:
    """Return the seconds that a Retry-After header (a number or a date) asks for, None if it cannot be read."""
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
