"""Message-IDs that stay the same on every try, so that a receiver can drop what it has already."""

from __future__ import annotations

__all__ = ["stable_message_id"]

import re


def stable_message_id(*parts: str | int, sender: str) -> str:
    """Make a Message-ID (RFC 5322 section 3.6.4) of parts that name one event and recipient, under the sender's domain.

    The same parts give the same id. Characters that such an id cannot carry become a dash.
    """
    left = ".".join(re.sub(r"[^A-Za-z0-9_-]+", "-", str(part)).strip("-") or "x" for part in parts)
    right = re.sub(r"[^A-Za-z0-9.-]+", "-", sender.rpartition("@")[2]).strip(".-") or "leeside.invalid"
    return f"<{left}@{right}>"
