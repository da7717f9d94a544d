"""What became of mail that has not gone out, in a line."""

from __future__ import annotations

__all__ = ["undelivered_line"]

from alerts.view.format import age, counted
from ingest.store.alarms.messages import Undelivered


def undelivered_line(mail: Undelivered, now_ms: int) -> str:
    """Say how much mail has not gone out, and what the server answered. now_ms: UTC ms."""
    messages = counted(mail.messages, "message")
    oldest = f"the oldest has waited {age(max(0, now_ms - mail.since_ms))}, {counted(mail.attempts, 'try', 'tries')}"
    return f"{messages} not sent; {oldest}: {mail.error}"
