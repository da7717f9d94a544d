"""Links that acknowledge an alarm: signed, for one alarm and one person, good for a time. Pure but for the key's file.

A link holds the alarm's occurrence, the person and its end, and an HMAC-SHA-256 (RFC 2104) of them. What has been
acknowledged or is over already, the page finds in the store: so a link is good for one acknowledgement.
"""

from __future__ import annotations

__all__ = ["ACK_PATH", "GOOD_FOR_MS", "AckLink", "link_key", "signed_link", "verified_link"]

import hmac
from base64 import urlsafe_b64decode, urlsafe_b64encode
from datetime import tzinfo
from hashlib import sha256
from typing import Final, NamedTuple

from alerts.errors import LinkRefused
from alerts.kept_secret import kept_secret, secret_file
from alerts.view.format import exact_time
from ingest.cellar import Cellar

ACK_PATH: Final = "/acknowledge/{token}"
# An alarm that stands longer has been reminded of several times, with a new link each time. This project's choice.
GOOD_FOR_MS: Final = 7 * 86_400_000
_SUFFIX: Final = ".link-key"
_WHAT: Final = b"leeside acknowledge 1\0"
# 160 bits of the 256: RFC 2104 section 5 asks for half of them at least.
_MAC_BYTES: Final = 20
_NOT_OURS: Final = (
    "this link was not made by this leeside, or a part of it is missing; copy the whole link from the message"
)


class AckLink(NamedTuple):
    """occurrence: the alarm's short id; person: in whose name it is acknowledged; until_ms: its end, UTC ms."""

    occurrence: str
    person: str
    until_ms: int


def link_key(cellar: Cellar) -> bytes:
    """Read the key that links are signed with, and make one where there is none. Raises AlertsError."""
    return kept_secret(secret_file(cellar.store_path, _SUFFIX), "the key of links").encode()


def signed_link(key: bytes, link: AckLink) -> str:
    """Write a link's token: letters, digits, ``-``, ``_`` and one full stop. until_ms is cut to seconds."""
    body = _text(f"{link.until_ms // 1000}\n{link.occurrence}\n{link.person}".encode())
    return f"{body}.{_text(_mac(key, body))}"


def verified_link(key: bytes, token: str, now_ms: int, zone: tzinfo) -> AckLink:
    """Read a token. Raises LinkRefused that says why: forged or cut off, or too old by now_ms (UTC ms)."""
    body, _, mac = token.partition(".")
    if not token.isascii() or not hmac.compare_digest(_text(_mac(key, body)), mac):
        raise LinkRefused(_NOT_OURS)
    seconds, occurrence, person = urlsafe_b64decode(body + "=" * (-len(body) % 4)).decode().split("\n")
    link = AckLink(occurrence, person, int(seconds) * 1000)
    if now_ms >= link.until_ms:
        raise LinkRefused(
            f"this link was good until {exact_time(link.until_ms, zone)}; a newer message has another, and "
            f"`leeside acknowledge` works without one"
        )
    return link


def _mac(key: bytes, body: str) -> bytes:
    return hmac.new(key, _WHAT + body.encode(), sha256).digest()[:_MAC_BYTES]


def _text(data: bytes) -> str:
    return urlsafe_b64encode(data).rstrip(b"=").decode()
