"""Every limit that is watched now: those of the cellar file, and those that depend on what the journal says."""

from __future__ import annotations

__all__ = ["limits_now"]

from alerts.due_feed import due_limits_at
from alerts.watch.due import limit_of_gone_work
from alerts.watch.own_limits import watched_limits
from alerts.watch.watch_state import LimitRecord, WatchStateUnreadable
from ingest.cellar import Cellar, EffectiveLimit
from ingest.store import Store
from ingest.store.alarms.alarm_record import alarm_rows


def limits_now(cellar: Cellar, store: Store, now_ms: int) -> dict[str, EffectiveLimit]:
    """List the limits as of now (UTC ms), by key; call inside ``store.read()``."""
    limits = watched_limits(cellar)
    limits |= {key: made.limit for key, made in due_limits_at(cellar, store.connection, now_ms).items()}
    for row in alarm_rows(store):
        if row.key not in limits and row.occurrence is not None:
            try:
                rule = LimitRecord.from_json(row.entry, 0.0).rule
            except WatchStateUnreadable:
                continue  # the alerts daemon says so when it starts
            if rule.kind == "due":
                limits[row.key] = limit_of_gone_work(row.key, rule.setpoint)
    return limits
