"""Test messages that nobody has confirmed, in a line each."""

from __future__ import annotations

__all__ = ["ring_json", "ring_line", "unconfirmed"]

import shlex
from collections.abc import Iterable

from alerts.view.format import age
from ingest.cellar import Cellar
from ingest.store.alarms.rings import Ring
from ingest.times import iso_utc


def unconfirmed(rings: Iterable[Ring], cellar: Cellar) -> list[Ring]:
    """The test messages whose code nobody has said, to people who are still in the cellar file."""
    names = {recipient.name for recipient in cellar.recipients}
    return [ring for ring in rings if ring.confirmed_ms is None and ring.recipient in names]


def ring_line(ring: Ring, cellar: Cellar, now_ms: int) -> str:
    """Say how a test message stands and what to do. now_ms: UTC ms."""
    ago = age(max(0, now_ms - ring.written_ms))
    if ring.state == "sent":
        confirm = f"leeside check {shlex.quote(cellar.file)} --confirm CODE"
        return f"test message to {ring.recipient}: sent {ago} ago, not confirmed. Ask for its code, then `{confirm}`"
    why = f": {ring.error}" if ring.error else ""
    return f"test message to {ring.recipient}: not sent, written {ago} ago{why}"


def ring_json(ring: Ring) -> dict[str, object]:
    """Give a test message as an object, without its code."""
    return {
        "recipient": ring.recipient,
        "written": iso_utc(ring.written_ms),
        "sent": ring.state == "sent",
        "last_error": ring.error or None,
    }
