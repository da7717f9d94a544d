"""Notices: what a turn's transitions say to each person, put into the outbox inside the turn's transaction.

Several of one turn to one person become one, so that a broker that dies does not send a dozen mails. Nothing waits for
anything here: only what one turn brought, and what may go out at the same moment, is put together.
"""

from __future__ import annotations

__all__ = ["MOST_APART", "Notice", "Notifier", "combine", "gather", "stable_message_id"]

import re
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from alerts.message.hours import earliest
from alerts.message.wording import PRIORITY_WORDS, SAFETY, SUBJECT_LIMIT, MessageText, compose, tail_of, view_of
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import Occasion
from ingest.cellar import Cellar, EffectiveLimit
from ingest.store.alarms.messages import MessageRow, NewMessage, add_message, cancel_waiting, thread_of, unsent_raise
from ingest.store.readings.series_history import HistoryRow

# More than this many from one turn to one person are put together; this project's choice.
MOST_APART: Final = 3
# Of what is put together, this many stand in full; the rest by subject.
MOST_IN_FULL: Final = 10

# News that something must not stay as it is.
_ALARMS: Final = (Occasion.RAISED, Occasion.CHATTERING)
_RANK: Final = {"high": 0, "medium": 1, "low": 2}


@dataclass(frozen=True, slots=True)
class Notice:
    """A message to one person that is not stored yet, or not sent yet.

    occurrences: what it is about (several once gathered); occasion: of several the most urgent; priority: of the limit,
    of several the highest; not_before_ms: when it may first go out, UTC milliseconds.
    """

    occurrences: tuple[str, ...]
    occasion: Occasion
    draft: MessageText
    priority: str
    not_before_ms: int


class Notifier:
    """Writes what a turn has to say to each recipient of ``[mail]``.

    limits: every limit that is watched; last_readings: gives the newest readings of a probe, for the message's end.
    """

    def __init__(
        self,
        cellar: Cellar,
        limits: Mapping[str, EffectiveLimit],
        last_readings: Callable[[str], Sequence[HistoryRow]],
    ) -> None:
        self._cellar = cellar
        self._limits = limits
        self._last_readings = last_readings

    def notify(self, connection: sqlite3.Connection, transitions: Mapping[int, Transition], now_ms: int) -> int:
        """Put the messages that the transitions cause into the outbox; give their number.

        transitions: by the id of the row in the alarm record, which makes the Message-ID. Without ``[mail]`` nothing
        is written.
        """
        mail = self._cellar.mail
        announced = {row: transition for row, transition in transitions.items() if transition.occasion is not None}
        if mail is None or not announced:
            return 0
        count = 0
        for recipient in mail.to:
            notices = [self._notice(connection, transition, recipient, now_ms) for transition in announced.values()]
            for notice in gather(notices, self._cellar.site.name):
                # The row of the first transition in the message names it; a row goes into one message only.
                row = next(
                    row for row, transition in announced.items() if _occurrence(transition) in notice.occurrences
                )
                self._put(connection, notice, row, recipient, now_ms)
                count += 1
        return count

    def _notice(self, connection: sqlite3.Connection, transition: Transition, recipient: str, now_ms: int) -> Notice:
        limit = self._limits.get(transition.key)
        occurrence = _occurrence(transition)
        thread = thread_of(connection, occurrence, recipient)
        assert transition.occasion is not None
        draft = compose(
            transition,
            limit,
            view_of(self._cellar, limit.at if limit else transition.key.split("/", 1)[0]),
            readings=self._last_readings(limit.probe) if limit is not None and limit.kind != "no data" else (),
            thread_subject=thread[1] if thread and transition.occasion is not Occasion.RAISED else None,
        )
        hours = limit.hours if limit is not None else "any"
        site = self._cellar.site
        return Notice(
            occurrences=(occurrence,),
            occasion=transition.occasion,
            draft=draft,
            priority=limit.priority if limit is not None else "low",
            not_before_ms=earliest(now_ms, hours, site.waking, site.zone),
        )

    def _put(self, connection: sqlite3.Connection, notice: Notice, row: int, recipient: str, now_ms: int) -> None:
        mail = self._cellar.mail
        assert mail is not None
        single = notice.occurrences[0] if len(notice.occurrences) == 1 else None
        occasion = notice.occasion
        thread_id = None
        if single is not None and notice.occasion is not Occasion.RAISED:
            ends_it = notice.occasion in (Occasion.RETURNED, Occasion.REMOVED)
            raised = unsent_raise(connection, single, recipient) if ends_it else None
            if raised is not None:
                cancel_waiting(connection, raised.id, now_ms, "sent together with the return to normal")
                notice = combine(_as_notice(raised, single), notice)
            else:
                thread = thread_of(connection, single, recipient)
                thread_id = thread[0] if thread else None
        recipient_number = mail.to.index(recipient)
        add_message(
            connection,
            NewMessage(
                message_id=stable_message_id(single or "several", row, recipient_number, sender=mail.sender),
                thread_id=thread_id,
                occurrence=" ".join(notice.occurrences),
                occasion=occasion.value,
                channel="mail",
                recipient=recipient,
                subject=notice.draft.subject,
                body=notice.draft.body,
                created_ms=now_ms,
                not_before_ms=notice.not_before_ms,
            ),
        )


def stable_message_id(*parts: str | int, sender: str) -> str:
    """Make a Message-ID (RFC 5322 section 3.6.4) of parts that name one event and recipient, under the sender's domain.

    The same parts give the same id. Characters that such an id cannot carry become a dash.
    """
    left = ".".join(re.sub(r"[^A-Za-z0-9_-]+", "-", str(part)).strip("-") or "x" for part in parts)
    right = re.sub(r"[^A-Za-z0-9.-]+", "-", sender.rpartition("@")[2]).strip(".-") or "leeside.invalid"
    return f"<{left}@{right}>"


def _occurrence(transition: Transition) -> str:
    return transition.occurrence or transition.key


def _as_notice(row: MessageRow, occurrence: str) -> Notice:
    return Notice((occurrence,), Occasion.RAISED, MessageText(row.subject, row.body), "medium", row.not_before_ms)


def combine(raised: Notice, returned: Notice) -> Notice:
    """Make one notice of a raise that never went out and of the return that overtook it.

    It goes out when the raise would have. Where the raise was tried before, the result needs a Message-ID of its own:
    the server may have taken the raise and lost its answer, and a receiver drops what it thinks it has.
    """
    later, earlier = returned.draft, raised.draft
    body = (
        f"{later.body.rstrip()}\n\n"
        "It was over before the message about its beginning could go out. That message said:\n\n"
        f"{_without_safety(earlier.body).rstrip()}\n"
    )
    return replace(
        returned,
        draft=MessageText(f"CAME AND WENT: {tail_of(earlier.subject)}"[:SUBJECT_LIMIT], body),
        priority=raised.priority,
        not_before_ms=raised.not_before_ms,
    )


def gather(notices: Sequence[Notice], site: str) -> list[Notice]:
    """Put together what one turn has to say to one person.

    A raise and the return of the same occurrence become one. Of those that may go out at the same moment, more than
    ``MOST_APART`` become one. site: the cellar's name.
    """
    folded: list[Notice] = []
    for notice in notices:
        raised = next((index for index, each in enumerate(folded) if _is_raise_of(each, notice)), None)
        if raised is None:
            folded.append(notice)
        else:
            folded[raised] = combine(folded[raised], notice)
    moments: dict[int, list[Notice]] = {}
    for notice in folded:
        moments.setdefault(notice.not_before_ms, []).append(notice)
    gathered: list[Notice] = []
    for group in moments.values():
        gathered += group if len(group) <= MOST_APART else [_together(group, site)]
    return gathered


def _is_raise_of(earlier: Notice, later: Notice) -> bool:
    return (
        earlier.occasion is Occasion.RAISED
        and later.occasion is Occasion.RETURNED
        and earlier.occurrences == later.occurrences
    )


def _together(group: Sequence[Notice], site: str) -> Notice:
    ordered = sorted(group, key=lambda each: (each.occasion not in _ALARMS, _RANK[each.priority]))
    first = ordered[0]
    raised = sum(each.occasion in _ALARMS for each in group)
    if raised:
        others = len(group) - raised
        count = f"{raised} alarms" if raised > 1 else "1 alarm"
        count += f" and {others} other news" if others else ""
        word = PRIORITY_WORDS[first.priority]
    else:
        word, count = "NEWS", f"{len(group)} alarms"
    lines = "\n".join(f"  {each.draft.subject}" for each in ordered)
    in_full = ordered[:MOST_IN_FULL]
    parts = [f"{count} at {site} at once:\n{lines}"]
    parts += [f"---- {each.draft.subject}\n\n{_without_safety(each.draft.body).rstrip()}" for each in in_full]
    if len(ordered) > len(in_full):
        parts.append(f"---- The other {len(ordered) - len(in_full)} stand above by their subject only.")
    if any(each.draft.body.startswith(SAFETY) for each in group):
        parts.insert(0, SAFETY)
    subject = f"{word}: {count} at {site}, first {tail_of(first.draft.subject)}"
    if len(subject) > SUBJECT_LIMIT:
        subject = subject[: SUBJECT_LIMIT - 1] + "…"
    return Notice(
        occurrences=tuple(name for each in ordered for name in each.occurrences),
        occasion=first.occasion,
        draft=MessageText(subject, "\n\n".join(parts) + "\n"),
        priority=min((each.priority for each in ordered), key=_RANK.__getitem__),
        not_before_ms=first.not_before_ms,
    )


def _without_safety(body: str) -> str:
    return body.removeprefix(SAFETY).lstrip("\n")
