"""Messages that belong to no alarm: what leeside found out about the machine's clock."""

from __future__ import annotations

__all__ = ["put_report", "wrong_future"]

import sqlite3
from datetime import tzinfo

from alerts.message.hours import first_moment
from alerts.message.message_id import stable_message_id
from alerts.message.wording import MessageText
from alerts.view.format import exact_time
from ingest.cellar import Cellar
from ingest.store.alarms.messages import NewMessage, add_message


def wrong_future(future_ms: int, file: str, zone: tzinfo) -> MessageText:
    """Write that the machine's clock was ahead and is right again. future_ms: how far it had been, UTC ms."""
    return MessageText(
        "NOTE: the machine's clock was ahead and is right again",
        f"The machine's clock had run ahead, up to {exact_time(future_ms, zone)}. It is right again, and leeside has "
        "gone back to it. Readings with times that have not come yet are kept, and marked as uncertain (clock).\n\n"
        f"`leeside check {file} --clock` lists them.\n",
    )


def put_report(
    connection: sqlite3.Connection,
    text: MessageText,
    cellar: Cellar,
    name: str,
    now_ms: int,
    not_before_ms: int | None = None,
) -> int:
    """Put a message into the outbox for everybody who gets every alarm at once; give their number.

    name: of this report alone; not_before_ms: when it may first go out, by default as soon as it may wake them.
    """
    count = 0
    for number, recipient in enumerate(cellar.recipients):
        if not recipient.gets_reports:
            continue
        count += 1
        add_message(
            connection,
            NewMessage(
                message_id=stable_message_id("report", name, number, sender=cellar.sender),
                occasion="report",
                channel=recipient.channel,
                recipient=recipient.name,
                subject=text.subject,
                body=text.body,
                created_ms=now_ms,
                not_before_ms=first_moment(recipient, now_ms, cellar.site.zone)
                if not_before_ms is None
                else not_before_ms,
            ),
        )
    return count
