"""The way of a message about an alarm to a person: whether they get it, and from when on. Pure but for
whether anybody is away.
"""

from __future__ import annotations

__all__ = ["AWAY", "Wait", "absence_of", "first_route", "wait_of"]

import sqlite3
from typing import Final, NamedTuple

from alerts.absence.routing import Route, route_of
from alerts.message.digest import DIGEST
from alerts.message.digest_times import HELD_FOR_DIGEST_MS, next_digest_ms
from alerts.message.hours import earliest, hours_for, hours_of
from alerts.view.absence_lines import stands_in
from alerts.watch.own_limits import channel_key
from ingest.cellar import Cellar, EffectiveLimit, Recipient
from ingest.store.alarms.absences import Absence, absence_at

# Why a message waits for the owner, who is away.
AWAY: Final = "away"


class Wait(NamedTuple):
    """not_before_ms: when a message may go out [UTC ms]; hold: why it waits until then, "" where it does not."""

    not_before_ms: int
    hold: str


def absence_of(cellar: Cellar, connection: sqlite3.Connection, now_ms: int) -> Absence | None:
    """Read the absence that is under way now [UTC ms]; None where there is none, or nobody can stand in."""
    absence = absence_at(connection, now_ms)
    return absence if absence is not None and stands_in(absence, cellar) else None


def first_route(
    limit: EffectiveLimit | None, recipient: Recipient, absence: Absence | None, step: str, *, got_it: bool
) -> Route:
    """Say how a recipient hears of a step of an alarm.

    limit: None where it has left the cellar file; absence: that is under way; step: what a helper can do, "" for
    nothing; got_it: whether the recipient was sent this alarm.
    """
    if limit is not None and limit.key == channel_key(recipient.channel):
        return Route(False)  # the message would wait for what it is about
    is_theirs = limit is None or limit.priority in recipient.priorities
    usual = Route(got_it or (is_theirs and recipient.after_s is None))
    if absence is None:
        return usual
    away = route_of(absence, limit, step, recipient.person, got_it=got_it)
    return away if recipient.person == absence.helper or usual.hears else usual


def wait_of(cellar: Cellar, limit: EffectiveLimit | None, recipient: Recipient, route: Route, now_ms: int) -> Wait:
    """Say until when a message of now [UTC ms] waits, and for what."""
    hours = hours_for(recipient, hours_of(limit), limit.priority if limit is not None else "low")
    zone = cellar.site.zone
    not_before_ms = earliest(now_ms, hours, recipient.waking, zone)
    if hours == DIGEST and cellar.digest is not None:
        not_before_ms = next_digest_ms(cellar.digest, now_ms, zone) + HELD_FOR_DIGEST_MS
    if route.held_until_ms is not None:
        hours, not_before_ms = AWAY, max(not_before_ms, route.held_until_ms)
    return Wait(not_before_ms, hours if not_before_ms > now_ms else "")
