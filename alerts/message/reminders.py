"""An alarm that nobody acknowledges: who is reminded of it, and to whom it is passed on. Pure but for what was written.

Each reminder is put into the outbox once, which also remembers it over a restart.
"""

from __future__ import annotations

__all__ = ["PASSED_ON", "REMINDER", "FollowUp", "Reminders", "next_reminder_ms", "passed_on_after_ms", "reminder_ms"]

import sqlite3
from collections.abc import Iterable, Mapping
from hashlib import sha256
from typing import Final, NamedTuple

from alerts.message.message_id import stable_message_id
from alerts.message.routes import absence_of
from alerts.watch.alarm_table import State
from alerts.watch.watch_state import LimitRecord
from ingest.cellar import Cellar, EffectiveLimit, Recipient
from ingest.store.alarms.messages import has_message, was_written

# The occasions of these messages.
REMINDER: Final = "reminder"
PASSED_ON: Final = "passed on"

_HOUR_MS: Final = 3_600_000
# How long after an alarm of high priority was raised it is reminded of; later once a day. Each wait is two to four
# times the one before, so that a night has a handful of reminders and not a stream. This project's choice.
_REMINDED_AFTER_MS: Final = (_HOUR_MS // 4, _HOUR_MS, 4 * _HOUR_MS, 12 * _HOUR_MS, 24 * _HOUR_MS)
_DAY_MS: Final = 24 * _HOUR_MS
# An urgent alarm that stands for so long goes to whoever gets such alarms and has not got this one: a new or corrected
# address, a helper who stands in since. This project's choice.
_NEW_AFTER_MS: Final = _HOUR_MS // 4
# An urgent alarm that a helper has not acknowledged for so long goes to those who are away too. This project's choice.
_OWNER_AFTER_MS: Final = _HOUR_MS


class FollowUp(NamedTuple):
    """A message about an alarm that nobody has acknowledged.

    occasion: ``REMINDER`` or ``PASSED_ON``; key: of the limit; record: where it stands; age_ms: for how long nobody has
    acknowledged it,
    of what is passed on in whole minutes; message_id: the same whenever this one is written.
    """

    occasion: str
    recipient: Recipient
    key: str
    record: LimitRecord
    age_ms: int
    message_id: str


def reminder_ms(age_ms: int) -> int | None:
    """Give the last reminder that is due of an alarm of this age, by the age at which it is; None before the first."""
    if age_ms >= _DAY_MS:
        return age_ms // _DAY_MS * _DAY_MS
    return next((after_ms for after_ms in reversed(_REMINDED_AFTER_MS) if age_ms >= after_ms), None)


def next_reminder_ms(age_ms: int) -> int:
    """Give the age at which an alarm of this age is reminded of next."""
    later = (after_ms for after_ms in _REMINDED_AFTER_MS if after_ms > age_ms)
    return next(later, (age_ms // _DAY_MS + 1) * _DAY_MS)


def passed_on_after_ms(limit: EffectiveLimit, recipient: Recipient, helper: str) -> int | None:
    """Give how long nobody must have acknowledged an alarm until it is passed on to a recipient; None where it is not.

    helper: while the owner is away, else "".
    """
    if recipient.after_s is not None:
        return round(recipient.after_s * 1000)
    if limit.priority != "high":
        return None
    return _NEW_AFTER_MS if helper in ("", recipient.person) else _OWNER_AFTER_MS


class Reminders:
    """Knows which alarms stand that nobody has acknowledged, so that a turn without one asks nothing."""

    def __init__(self, cellar: Cellar) -> None:
        self._cellar = cellar
        self._standing: list[tuple[LimitRecord, EffectiveLimit]] = []
        self._settled: set[str] = set()

    def see(self, records: Mapping[str, LimitRecord], limits: Mapping[str, EffectiveLimit]) -> None:
        """Take the records as they stand after a step of some alarm. limits: those that are watched, by key."""
        self._standing = [
            (record, limits[key])
            for key, record in records.items()
            if record.alarm.state is State.UNACKNOWLEDGED and key in limits and record.alarm.raised_ms is not None
        ]

    def due(self, connection: sqlite3.Connection, records: Mapping[str, LimitRecord], now_ms: int) -> list[FollowUp]:
        """List what is due at a time (UTC ms) and was not written yet."""
        due = []
        absence = absence_of(self._cellar, connection, now_ms) if self._standing else None
        helper = "" if absence is None else absence.helper
        for seen, limit in self._standing:
            record = records.get(limit.key, seen)
            for follow_up in self._of(record, limit, helper, now_ms):
                if follow_up.message_id in self._settled:
                    continue
                if self._is_news(connection, follow_up, is_away=absence is not None):
                    due.append(follow_up)
                else:
                    self._settled.add(follow_up.message_id)
        return due

    def handled(self, follow_ups: Iterable[FollowUp]) -> None:
        """These were written, or are left out for good; the transaction was committed."""
        self._settled.update(each.message_id for each in follow_ups)

    def _of(self, record: LimitRecord, limit: EffectiveLimit, helper: str, now_ms: int) -> Iterable[FollowUp]:
        """What would be due, whether it was written or not. helper: while the owner is away, else ""."""
        alarm, chatter = record.alarm, record.chatter
        since_ms = alarm.raised_ms or 0
        # What comes and goes is raised anew each time; nobody has acknowledged it since it began to.
        unacknowledged_ms = since_ms if chatter.since_ms is None else chatter.since_ms
        for recipient in self._cellar.recipients:
            # A helper while the owner is away gets alarms though they usually get nothing.
            is_theirs = limit.priority in recipient.priorities or helper == recipient.person
            after_ms = passed_on_after_ms(limit, recipient, helper)
            gets_at_once = recipient.after_s is None and helper in ("", recipient.person)
            # Who usually gets it at once has the report on the chatter, but not each time that it comes.
            is_passed_on = is_theirs and not (gets_at_once and chatter.since_ms is not None)
            if is_passed_on and after_ms is not None and now_ms - unacknowledged_ms >= after_ms:
                name = self._name(PASSED_ON, limit, unacknowledged_ms, recipient)
                age_ms = (now_ms - unacknowledged_ms) // 60_000 * 60_000
                yield FollowUp(PASSED_ON, recipient, limit.key, record, age_ms, name)
            step_ms = reminder_ms(now_ms - since_ms) if limit.priority == "high" else None
            if step_ms is not None and (gets_at_once or after_ms is None or step_ms > after_ms):
                name = self._name(f"{REMINDER} {step_ms // 60_000}", limit, since_ms, recipient)
                yield FollowUp(REMINDER, recipient, limit.key, record, step_ms, name)

    def _name(self, what: str, limit: EffectiveLimit, since_ms: int, recipient: Recipient) -> str:
        # Not their number in the file, which changes; and a message's id shows no address.
        who = sha256(recipient.name.encode()).hexdigest()[:12]
        return stable_message_id(what, limit.key, since_ms, who, sender=self._cellar.sender)

    def _is_news(self, connection: sqlite3.Connection, follow_up: FollowUp, *, is_away: bool) -> bool:
        if has_message(connection, follow_up.message_id):
            return False
        alarm, recipient = follow_up.record.alarm, follow_up.recipient.name
        occurrence = alarm.occurrence or follow_up.key
        if follow_up.occasion == PASSED_ON:
            return not was_written(connection, occurrence, recipient, away=is_away)
        # Who heard of it only after the reminder was due needs none.
        due_ms = (alarm.raised_ms or 0) + follow_up.age_ms
        return was_written(connection, occurrence, recipient, due_ms, away=is_away)
