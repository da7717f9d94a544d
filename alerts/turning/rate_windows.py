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
from ingest.store.readings.series_history import together


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
    of_series: dict[int, list[EffectiveLimit]] = {}
    for limit in limits:
        if limit.kind == "rate" and limit.probe in newest and limit.probe in series_of:
            of_series.setdefault(series_of[limit.probe], []).append(limit)
    spans = []
    for series, rates in of_series.items():
        until_ms = newest[rates[0].probe].at_ms
        spans.append((series, until_ms - round(max(limit.within_s for limit in rates) * 1000), until_ms))
    windows = {}
    for series, arrays in together(store, spans):
        columns = (arrays.at_ms.tolist(), arrays.number.tolist(), arrays.quality.tolist())
        for limit in of_series[series]:
            readings = (WatchReading(limit.probe, *row) for row in zip(*columns, strict=True))
            windows[limit.key] = rate.remembered(limit, readings, fresh_s=watch.fresh_s(limit.probe))
    return windows
