"""The report after a gap in the watch: how long nothing was judged, and what is found now."""

from __future__ import annotations

__all__ = ["Found", "NotJudged", "not_judged", "put_gap_report"]

import sqlite3
from datetime import tzinfo
from typing import NamedTuple

from alerts.message.bundle import listed, most_urgent_first, notice_of
from alerts.message.hours import first_moment
from alerts.message.message_id import stable_message_id
from alerts.message.notices import GAP
from alerts.message.subject import SUBJECT_LIMIT, shortened
from alerts.message.wording import MessageText
from alerts.view.format import counted, duration_text, exact_time
from ingest.cellar import Cellar
from ingest.store.alarms.held_messages import held_for, replace_held
from ingest.store.alarms.messages import NewMessage


class NotJudged(NamedTuple):
    """From when to when (UTC ms) no turn was made. settled: readings of that time may have been packed unseen."""

    from_ms: int
    to_ms: int
    settled: bool = False


class Found(NamedTuple):
    """What is found after a gap, in a line each.

    standing: alarms that stand, the most urgent first; high: how many of them are of high priority; worst: values that
    went beyond a limit whose alarm does not stand, with the newest ones; silent: probes that are not heard.
    """

    standing: tuple[str, ...] = ()
    high: int = 0
    worst: tuple[str, ...] = ()
    silent: tuple[str, ...] = ()


def not_judged(gap: NotJudged, found: Found, file: str, zone: tzinfo) -> MessageText:
    """Write that no limit was judged for a while. file: the cellar file as a command names it."""
    begin, end = exact_time(gap.from_ms, zone), exact_time(gap.to_ms, zone)
    span = duration_text((gap.to_ms - gap.from_ms) / 1000)
    judged = (
        "Some of the readings of that time have been settled meanwhile and were not judged. Look at them: "
        f"`leeside history {file}`. The others have been judged since."
        if gap.settled
        else "The readings of that time have been judged since, in their order."
    )
    count = counted(len(found.standing), "alarm")
    stands = f"{count} {'stands' if len(found.standing) == 1 else 'stand'} now" if found.standing else ""
    urgency = f", {found.high} of HIGH PRIORITY" if found.high else ""
    parts = [
        f"Leeside judged no limit from {begin} to {end} ({span}): its alerts daemon was stopped, hung or "
        f"could not write. No alarm was raised in that time. {judged}",
        _lines(f"{stands}:" if stands else "No alarm stands now.", found.standing),
        _lines("Not heard:", found.silent) if found.silent else "",
        _lines("Went beyond a limit; no alarm about it stands now:", found.worst) if found.worst else "",
    ]
    subject = f"NOTE: no limit was judged for {span}; {stands or 'no alarm stands now'}{urgency}"
    return MessageText(shortened(subject, SUBJECT_LIMIT), "\n\n".join(part for part in parts if part) + "\n")


def put_gap_report(
    connection: sqlite3.Connection, text: MessageText, gap: NotJudged, cellar: Cellar, now_ms: int
) -> int:
    """Put the report into the outbox for each recipient, with what was held back for it; give their number."""
    count = 0
    for number, recipient in enumerate(cellar.recipients):
        held = held_for(connection, GAP, recipient.name)
        if not recipient.gets_reports and not held:
            continue
        notices = most_urgent_first([notice_of(row) for row in held])
        body = f"{text.body}\nIn detail:\n{listed(notices)}" if notices else text.body
        message = NewMessage(
            message_id=stable_message_id("report", f"not-judged-{gap.from_ms}", number, sender=cellar.sender),
            occurrence=" ".join(name for each in notices for name in each.occurrences) or None,
            occasion="report",
            channel=recipient.channel,
            recipient=recipient.name,
            subject=text.subject,
            body=body,
            created_ms=now_ms,
            not_before_ms=first_moment(recipient, now_ms, cellar.site.zone),
        )
        replace_held(connection, held, message, now_ms)
        count += 1
    return count


def _lines(head: str, lines: tuple[str, ...]) -> str:
    return "\n".join([head, *(f"  {line}" for line in lines)])
