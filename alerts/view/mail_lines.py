"""What became of messages that has not gone out, in a line."""

from __future__ import annotations

__all__ = ["undelivered_head", "undelivered_line"]

from alerts.view.format import age, counted
from ingest.cellar import MAIL_CHANNEL
from ingest.store.alarms.messages import Undelivered


def undelivered_head(mail: Undelivered) -> str:
    """Say what is wrong in general."""
    return f"{'mail does' if mail.channel == MAIL_CHANNEL else 'messages do'} not get out"


def undelivered_line(mail: Undelivered, now_ms: int) -> str:
    """Say how many messages have not gone out, and what the oldest one's channel answered. now_ms: UTC ms."""
    messages = counted(mail.messages, "message")
    oldest = f"the oldest has waited {age(max(0, now_ms - mail.since_ms))}, {counted(mail.attempts, 'try', 'tries')}"
    by = "" if mail.channel == MAIL_CHANNEL else f" by {mail.channel}"
    return f"{messages} not sent; {oldest}{by}: {mail.error}"
