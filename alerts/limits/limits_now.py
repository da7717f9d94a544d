"""Every limit that is watched now: those of the cellar file, and those that depend on what the journal says."""

from __future__ import annotations

__all__ = ["limits_now"]

import logging

from alerts.limits.due_feed import due_limits_at
from alerts.so2.limits import so2_limits
from alerts.watch.due import limit_of_gone_work
from alerts.watch.own_limits import watched_limits
from alerts.watch.watch_state import LimitRecord, WatchStateUnreadable
from ingest.cellar import Cellar, EffectiveLimit
from ingest.errors import IngestError
from ingest.journal.said_of_wine import said_of_wines
from ingest.journal.wine_places import wine_places
from ingest.store import Store
from ingest.store.alarms.alarm_record import alarm_rows
from ingest.store.journal.stored_ledger import ledger_at

log = logging.getLogger("alerts")


def limits_now(cellar: Cellar, store: Store, now_ms: int) -> dict[str, EffectiveLimit]:
    """List the limits as of now (UTC ms), by key; call inside ``store.read()``."""
    try:
        ledger = ledger_at(store.connection, now_ms, cellar)
        wine = wine_places(ledger.states_at(now_ms))
        so2 = so2_limits(cellar, said_of_wines(ledger, now_ms), cellar.limits_with(wine))
        due = due_limits_at(cellar, store.connection, now_ms)
    except IngestError as error:
        # An entry that cannot be read must not keep anybody from acknowledging an alarm.
        log.warning("limits that depend on the journal are left out: %s", error)
        wine, so2, due = None, {}, {}
    limits = {**watched_limits(cellar, wine), **so2}
    limits |= {key: due_limit.limit for key, due_limit in due.items()}
    for row in alarm_rows(store):
        if row.key not in limits and row.occurrence is not None:
            try:
                rule = LimitRecord.from_json(row.entry, 0.0).rule
            except WatchStateUnreadable:
                continue  # the alerts daemon says so when it starts
            if rule.kind == "due":
                limits[row.key] = limit_of_gone_work(row.key, rule.setpoint)
    return limits
