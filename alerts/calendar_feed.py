"""The address of the calendar feed. A phone's calendar cannot log in, so the address itself is the secret.

The token is kept in a file beside the store that only leeside's user can read. When that file is removed, the feed gets
a new address with the next call of ``feed_token``, and the old one is no longer answered.
"""

from __future__ import annotations

__all__ = ["FEED_PATH", "feed_address", "feed_token", "is_feed_token"]

import hmac
from pathlib import Path
from typing import Final

from alerts.errors import AlertsError
from alerts.kept_secret import find_secret, kept_secret, secret_file
from ingest.cellar import Cellar

FEED_PATH: Final = "/calendar/{token}.ics"
_SUFFIX: Final = ".calendar-token"


def feed_token(cellar: Cellar) -> str:
    """Read the token, and make one where there is none. Raises AlertsError where the file cannot be read or written."""
    return kept_secret(_file(cellar), "the calendar's token")


def is_feed_token(cellar: Cellar, given: str) -> bool:
    """Whether this is the token, in the same time for any other text; False where there is no token yet."""
    token = find_secret(_file(cellar))
    return bool(token) and hmac.compare_digest(token.encode(), given.encode("utf-8", "replace"))


def feed_address(cellar: Cellar) -> str:
    """Give the whole address of the feed. Raises AlertsError without ``[page]``."""
    if cellar.page is None:
        raise AlertsError(
            "the calendar's feed is a part of the page, and the cellar file has no [page]; --ical FILE works"
        )
    base = cellar.page.url or f"http://{cellar.page.address}"
    return base + FEED_PATH.format(token=feed_token(cellar))


def _file(cellar: Cellar) -> Path:
    return secret_file(cellar.store_path, _SUFFIX)
