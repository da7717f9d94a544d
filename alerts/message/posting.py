"""From a turn's transitions to rows of the outbox, inside the turn's transaction."""

from __future__ import annotations

__all__ = ["Poster"]

import sqlite3
from collections.abc import Callable, Mapping, Sequence

from alerts.message.hours import earliest
from alerts.message.mail import stable_message_id
from alerts.message.turn_digest import Notice, combine, gather
from alerts.message.wording import MessageText, ShownReading, compose, view_of
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import Tells
from ingest.cellar import Cellar, EffectiveLimit
from ingest.store.alarms.messages import MessageRow, NewMessage, add_message, cancel_waiting, thread_of, untried_raise


class Poster:
    """Writes what a turn has to say to each recipient of ``[mail]``.

    limits: every limit that is watched; last_readings: the newest readings of a probe, for the message's end.
    """

    def __init__(
        self,
        cellar: Cellar,
        limits: Mapping[str, EffectiveLimit],
        last_readings: Callable[[str], Sequence[ShownReading]],
    ) -> None:
        self._cellar = cellar
        self._limits = limits
        self._last_readings = last_readings

    def post(self, connection: sqlite3.Connection, transitions: Sequence[tuple[int, Transition]], now_ms: int) -> int:
        """Put the messages that the transitions cause into the outbox; give their number.

        transitions: each with the id of its row in the alarm journal, which makes the Message-ID. Without ``[mail]``
        nobody is told and nothing is written.
        """
        mail = self._cellar.mail
        telling = [(row, transition) for row, transition in transitions if transition.tells is not None]
        if mail is None or not telling:
            return 0
        count = 0
        for recipient in mail.to:
            notices = [self._notice(connection, transition, recipient, now_ms) for _, transition in telling]
            for notice in gather(notices, self._cellar.site.name):
                # The journal row of the first transition in the message names it; a row is told in one message only.
                row = next(row for row, transition in telling if _occurrence(transition) in notice.occurrences)
                self._store(connection, notice, row, recipient, now_ms)
                count += 1
        return count

    def _notice(self, connection: sqlite3.Connection, transition: Transition, recipient: str, now_ms: int) -> Notice:
        limit = self._limits.get(transition.key)
        occurrence = _occurrence(transition)
        thread = thread_of(connection, occurrence, recipient)
        assert transition.tells is not None
        draft = compose(
            transition,
            limit,
            view_of(self._cellar, limit.at if limit else transition.key.split("/", 1)[0]),
            readings=self._last_readings(limit.probe) if limit is not None and limit.kind != "no data" else (),
            thread_subject=thread[1] if thread and transition.tells is not Tells.RAISED else None,
        )
        hours = limit.hours if limit is not None else "any"
        site = self._cellar.site
        return Notice(
            occurrences=(occurrence,),
            tells=transition.tells,
            draft=draft,
            priority=limit.priority if limit is not None else "low",
            not_before_ms=earliest(now_ms, hours, site.waking, site.zone),
        )

    def _store(self, connection: sqlite3.Connection, notice: Notice, row: int, recipient: str, now_ms: int) -> None:
        mail = self._cellar.mail
        assert mail is not None
        single = notice.occurrences[0] if len(notice.occurrences) == 1 else None
        occasion = notice.tells.value
        thread_id = None
        if single is not None and notice.tells is not Tells.RAISED:
            waiting = untried_raise(connection, single, recipient)
            if waiting is not None:
                cancel_waiting(connection, waiting.id, now_ms, "told together with the return to normal")
                notice = combine(_as_notice(waiting, single), notice)
            else:
                thread = thread_of(connection, single, recipient)
                thread_id = thread[0] if thread else None
        recipient_number = mail.to.index(recipient)
        add_message(
            connection,
            NewMessage(
                message_id=stable_message_id(single or "several", row, recipient_number, sender=mail.sender),
                thread_id=thread_id,
                occurrence=single,
                occasion=occasion,
                channel="mail",
                recipient=recipient,
                subject=notice.draft.subject,
                body=notice.draft.body,
                created_ms=now_ms,
                not_before_ms=notice.not_before_ms,
            ),
        )


def _occurrence(transition: Transition) -> str:
    return transition.occurrence or transition.key


def _as_notice(row: MessageRow, occurrence: str) -> Notice:
    return Notice((occurrence,), Tells.RAISED, MessageText(row.subject, row.body), "medium", row.not_before_ms)
