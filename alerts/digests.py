"""The digest of ``[digest]``: written at its time, once for each day or week, also when leeside was off then.

Which moment is next is worked out again after each digest, at the start and when the clock was set, so that a clock
change moves nothing. Whether a digest was written is read from the outbox, so that a restart writes none twice.
"""

from __future__ import annotations

__all__ = ["ScheduledDigest", "write_digest"]

import logging
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Final

from apscheduler.schedulers.base import BaseScheduler

from alerts.limits.due_feed import due_limits_at
from alerts.message.bundle import notice_of
from alerts.message.cellar_digest import DigestFacts, cellar_digest
from alerts.message.digest import DIGEST
from alerts.message.digest_times import digest_before_ms, digest_day, next_digest_ms
from alerts.message.hours import first_moment
from alerts.message.message_id import stable_message_id
from alerts.view.status import cellar_status
from alerts.watch.due import DAY_MS
from ingest.cellar import Cellar, DigestSettings, Recipient
from ingest.errors import IngestError
from ingest.machine_clock import EvenTime, even_time
from ingest.store import Store, open_existing
from ingest.store.alarms.alarm_record import transitions
from ingest.store.alarms.held_messages import held_for, replace_held
from ingest.store.alarms.messages import NewMessage, add_message, has_message
from ingest.store.pulse_rows import pulses

log = logging.getLogger("alerts")

_JOB: Final = "digest"
_LATE_JOB: Final = "digest that was missed"
# So that probes have been heard again after the machine was off.
AFTER_START_MS: Final = 10 * 60_000
# What is older than this is not written any more: the next one says it all.
_LATEST_MS: Final = {"day": DAY_MS // 2, "week": 3 * DAY_MS}
# A clock that lies so far behind what was written last is not right, and would write the digest of another day.
_BEHIND_MS: Final = 3_600_000


class ScheduledDigest:
    """The scheduler's jobs for ``[digest]``; none without that table. clock: UTC ms; written: called after a digest."""

    def __init__(
        self,
        cellar: Cellar,
        scheduler: BaseScheduler,
        clock: Callable[[], int],
        written: Callable[[], None] = lambda: None,
    ) -> None:
        self._cellar = cellar
        self._scheduler = scheduler
        self._clock = clock
        self._written = written

    def anchor(self, now_ms: int) -> None:
        """Set up the jobs, at the start and after a step of the clock. now_ms: UTC milliseconds."""
        digest = self._cellar.digest
        if digest is None:
            return
        zone = self._cellar.site.zone
        next_ms = next_digest_ms(digest, now_ms, zone)
        self._job(_JOB, next_ms)
        if now_ms - digest_before_ms(digest, now_ms, zone) < _LATEST_MS[digest.every]:
            self._job(_LATE_JOB, min(now_ms + AFTER_START_MS, next_ms))

    def run(self) -> None:
        """Write the digest if it is time and it was not written, and set up the next. Never raises."""
        now_ms = self._clock()
        try:
            with open_existing(self._cellar.store_path) as store:
                if write_digest(self._cellar, store, now_ms, even_time()):
                    self._written()
        except IngestError as error:
            log.warning("the digest could not be written: %s", error)
        except Exception:
            log.exception("the digest could not be written")
        if self._cellar.digest is not None:
            self._job(_JOB, next_digest_ms(self._cellar.digest, max(now_ms, self._clock()), self._cellar.site.zone))

    def _job(self, name: str, at_ms: int) -> None:
        when = datetime.fromtimestamp(at_ms / 1000, UTC)
        self._scheduler.add_job(self.run, "date", run_date=when, id=name, replace_existing=True)


def write_digest(cellar: Cellar, store: Store, now_ms: int, even: EvenTime | None = None) -> int:
    """Put the digest whose time has come into the outbox, for everybody who has not got it; give their number.

    now_ms: UTC milliseconds; even: the same moment by the even clock. Raises IngestError.
    """
    digest = cellar.digest
    if digest is None or not _clock_is_right(store, now_ms):
        return 0
    zone = cellar.site.zone
    moment_ms = digest_before_ms(digest, now_ms, zone)
    if now_ms - moment_ms >= _LATEST_MS[digest.every]:
        return 0
    name = str(digest_day(moment_ms, zone))
    wanting = {
        stable_message_id(DIGEST, name, number, sender=cellar.sender): recipient
        for number, recipient in enumerate(cellar.recipients)
        if recipient.gets_digest
    }
    with store.read() as connection:
        wanting = {id: recipient for id, recipient in wanting.items() if not has_message(connection, id)}
        if not wanting:
            return 0
        facts = _facts(cellar, digest, store, connection, moment_ms, now_ms, even)
    with store.write() as connection:
        for id, recipient in wanting.items():
            _put(connection, cellar, facts, recipient, id, now_ms)
    return len(wanting)


def _clock_is_right(store: Store, now_ms: int) -> bool:
    known = [pulse.at_ms for pulse in pulses(store) if pulse is not None]
    return now_ms > max(known, default=0) - _BEHIND_MS


def _facts(
    cellar: Cellar,
    digest: DigestSettings,
    store: Store,
    connection: sqlite3.Connection,
    moment_ms: int,
    now_ms: int,
    even: EvenTime | None,
) -> DigestFacts:
    before_ms = digest_before_ms(digest, moment_ms - 1, cellar.site.zone)
    return DigestFacts(
        status=cellar_status(cellar, store, now_ms, even),
        due=due_limits_at(cellar, connection, now_ms),
        steps=transitions(store, since_ms=before_ms),
        before_ms=before_ms,
    )


def _put(
    connection: sqlite3.Connection, cellar: Cellar, facts: DigestFacts, recipient: Recipient, id: str, now_ms: int
) -> None:
    """Put it into the outbox in place of what was held back for it."""
    held = held_for(connection, DIGEST, recipient.name)
    notices = [notice_of(row) for row in held]
    text = cellar_digest(cellar, facts, notices)
    not_before_ms = first_moment(recipient, now_ms, cellar.site.zone, "low")
    message = NewMessage(
        message_id=id,
        occurrence=" ".join(name for each in notices for name in each.occurrences) or None,
        occasion=DIGEST,
        channel=recipient.channel,
        recipient=recipient.name,
        subject=text.subject,
        body=text.body,
        created_ms=now_ms,
        not_before_ms=not_before_ms,
        priority="low" if any(each.is_active for each in notices) else "",
    )
    if held:
        replace_held(connection, held, message, now_ms)
    else:
        add_message(connection, message)
