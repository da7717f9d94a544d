"""What limits on a rate remember, filled again from stored readings after a restart."""

from __future__ import annotations

__all__ = ["stored_windows"]

from collections.abc import Iterable, Mapping

from alerts.watch import rate
from alerts.watch.change_window import ChangeWindow
from alerts.watch.turn import Watch
from alerts.watch.turn_inputs import WatchReading
from alerts.watch.watch_state import NewestReading
from ingest.cellar import EffectiveLimit
from ingest.store import Store
from ingest.store.readings.series_history import raw


def stored_windows(
    store: Store,
    watch: Watch,
    limits: Iterable[EffectiveLimit],
    series_of: Mapping[str, int],
    newest: Mapping[str, NewestReading],
) -> dict[str, ChangeWindow]:
    """Read what limits on a rate had seen, by limit key.

    series_of: probe -> series; newest: probe -> the newest reading that was judged. Readings after that are judged in
    the next turn.
    """
    windows = {}
    for limit in limits:
        probe = limit.probe
        if limit.kind != "rate" or probe not in newest or probe not in series_of:
            continue
        until_ms = newest[probe].at_ms + 1
        rows = raw(store, series_of[probe], until_ms - round(limit.within_s * 1000), until_ms)
        readings = (WatchReading(probe, *row) for row in rows)
        windows[limit.key] = rate.remembered(limit, readings, fresh_s=watch.fresh_s(probe))
    return windows
