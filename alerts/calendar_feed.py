"""The address of the calendar feed. A phone's calendar cannot log in, so the address itself is the secret.

The token is kept in a file beside the store that only leeside's user can read. When that file is removed, the feed gets
a new address with the next call of ``feed_token``, and the old one is no longer answered.
"""

from __future__ import annotations

__all__ = ["FEED_PATH", "feed_address", "feed_token", "is_feed_token"]

import hmac
import os
import re
import secrets
from pathlib import Path
from typing import Final

from alerts.errors import AlertsError
from ingest.cellar import Cellar

FEED_PATH: Final = "/calendar/{token}.ics"
_SUFFIX: Final = ".calendar-token"
# 32 bytes, twice what RFC 6819 section 5.1.4.2.2 asks of a secret that cannot be guessed (128 bits).
_BYTES: Final = 32
_FORM: Final = re.compile(r"[A-Za-z0-9_-]{43}")


def feed_token(cellar: Cellar) -> str:
    """Read the token, and make one where there is none. Raises AlertsError where the file cannot be read or written."""
    file = _file(cellar)
    try:
        try:
            descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            token = file.read_text(encoding="ascii").strip()
        else:
            token = secrets.token_urlsafe(_BYTES)
            with os.fdopen(descriptor, "w", encoding="ascii") as out:
                out.write(f"{token}\n")
    except (OSError, UnicodeDecodeError) as error:
        raise AlertsError(f"the calendar's token cannot be kept in {file}: {error}") from error
    if not _FORM.fullmatch(token):
        raise AlertsError(f"{file} holds no token of a calendar; remove it, and the calendar gets a new address")
    return token


def is_feed_token(cellar: Cellar, given: str) -> bool:
    """Whether this is the token, in the same time for any other text; False where there is no token yet."""
    try:
        token = _file(cellar).read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        return False
    return bool(_FORM.fullmatch(token)) and hmac.compare_digest(token.encode(), given.encode("utf-8", "replace"))


def feed_address(cellar: Cellar) -> str:
    """Give the whole address of the feed. Raises AlertsError without ``[page]``."""
    if cellar.page is None:
        raise AlertsError(
            "the calendar's feed is a part of the page, and the cellar file has no [page]; --ical FILE works"
        )
    base = cellar.page.url or f"http://{cellar.page.address}"
    return base + FEED_PATH.format(token=feed_token(cellar))


def _file(cellar: Cellar) -> Path:
    return cellar.store_path.with_name(cellar.store_path.name + _SUFFIX)
