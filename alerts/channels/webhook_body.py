"""The body of a webhook and its signature, both documented in docs/alarms.md.

The signature is HMAC-SHA-256 (RFC 2104) of the time of sending, a full stop and the body, so that a receiver can refuse
what it has seen before. The names of the headers are ours.
"""

from __future__ import annotations

__all__ = ["headers_of", "signature", "webhook_body"]

import hashlib
import hmac
import math
from collections.abc import Sequence

from alerts.channels.alarms_of import AlarmOf
from ingest.cellar import Recipient
from ingest.json_text import json_text
from ingest.store.alarms.messages import MessageRow
from ingest.times import iso_utc


def webhook_body(message: MessageRow, recipient: Recipient, site: str, alarms: Sequence[AlarmOf]) -> bytes:
    """Write a message as JSON, UTF-8; the same on every try. site: the cellar's name."""
    body = {
        "id": message.message_id,
        "thread": message.thread_id,
        "site": site,
        "person": recipient.person,
        "name": recipient.called,
        "address": recipient.address,
        "occasion": message.occasion,
        "priority": message.priority,
        "subject": message.subject,
        "text": message.body,
        "written_at": iso_utc(message.created_ms),
        "alarms": [
            {
                "occurrence": alarm.occurrence,
                "limit": alarm.limit,
                "state": alarm.state,
                "value": alarm.value if alarm.value is not None and math.isfinite(alarm.value) else None,
                "unit": alarm.unit or None,
                "at": iso_utc(alarm.at_ms),
            }
            for alarm in alarms
        ],
    }
    return json_text(body).encode("utf-8", "replace")


def signature(secret: str, stamp: str, body: bytes) -> str:
    """Sign a body. stamp: the time of sending in seconds since 1970, as text."""
    return "sha256=" + hmac.new(secret.encode(), stamp.encode() + b"." + body, hashlib.sha256).hexdigest()


def headers_of(message_id: str, secret: str, now_ms: int, body: bytes) -> dict[str, str]:
    """Give the headers of one try. now_ms: UTC ms."""
    stamp = str(now_ms // 1000)
    return {
        "Content-Type": "application/json",
        # A string of Structured Fields (RFC 8941), as the draft of the IETF's HTTPAPI group writes it.
        "Idempotency-Key": f'"{message_id}"',
        "Leeside-Timestamp": stamp,
        "Leeside-Signature": signature(secret, stamp, body),
        "User-Agent": "leeside",
    }
