"""What a message says beside the alarm itself: newest readings, the wine at its place, and the gas around it."""

from __future__ import annotations

__all__ = ["StoredBackground", "earlier_times", "judged_ago", "values_ago"]

from collections.abc import Mapping, Sequence
from typing import Final

from alerts.blanket.details import BlanketShown
from alerts.cylinders.details import CylinderShown
from alerts.cylinders.gas_in_rooms import QuickGasInRooms
from alerts.gas.stock import RoomGas
from alerts.message import SHOWN_READINGS, Ago
from alerts.so2.judge import is_upper_bound
from alerts.view.gas.blanket_lines import blanket_of
from alerts.view.gas.cylinder_lines import cylinder_of
from ingest.cellar import Cellar, WinePlaces, is_judged_id
from ingest.store import Store
from ingest.store.judgements import judgement_history, newest_judgements
from ingest.store.readings.earlier import Earlier
from ingest.store.readings.series_history import HistoryRow, newest, recent

_HOUR_MS: Final = 3_600_000
# In words, how long ago, and how much older a reading may be than that.
_AGO: Final = (("an hour ago", _HOUR_MS, _HOUR_MS // 4), ("a day ago", 24 * _HOUR_MS, _HOUR_MS))

# Of each hour the judgement of its last ten minutes is kept: the closest is no farther away than this.
_JUDGED_WITHIN_MS: Final = 36 * 60_000


def earlier_times(store: Store, now_ms: int) -> Sequence[tuple[str, Earlier]]:
    """Look for the times of which messages give earlier values, each with its words. now_ms: UTC milliseconds."""
    return [(words, Earlier(store, now_ms - ago_ms, within_ms)) for words, ago_ms, within_ms in _AGO]


def values_ago(times: Sequence[tuple[str, Earlier]], series: int) -> Sequence[Ago]:
    """What a series read at these times, as far as that is known."""
    values = [(words, earlier.value(series)) for words, earlier in times]
    return [Ago(words, value) for words, value in values if value is not None]


def judged_ago(store: Store, judged: str, now_ms: int) -> Sequence[Ago]:
    """What was judged at these times, as far as that is known. judged: the id under which a limit knows it."""
    place, _, name = judged.partition("/")
    lot = next((each.lot for each in newest_judgements(store, place=place) if each.name == name), "")
    found = []
    for words, ago_ms, _ in _AGO:
        then_ms = now_ms - ago_ms
        hours = judgement_history(store, (place,), name, then_ms - _JUDGED_WITHIN_MS, then_ms + _JUDGED_WITHIN_MS, lot)
        known = [(abs(hour.at_ms - then_ms), hour.value) for hour in hours if hour.value is not None]
        found += [Ago(words, min(known)[1])] if known else []
    return found


class StoredBackground:
    """Reads from the store. series_of: the series of each probe, by its id; wine: where wine lies, by the journal."""

    def __init__(self, cellar: Cellar, store: Store, series_of: Mapping[str, int]) -> None:
        self._gas = QuickGasInRooms(cellar, store)
        self._store = store
        self._series_of = series_of
        self.wine = WinePlaces()
        self._now_ms: int | None = None
        self._looked: Sequence[tuple[str, Earlier]] = ()

    def newest(self, probe: str) -> Sequence[HistoryRow]:
        """The newest readings of a probe, oldest first; none for an id that no probe has."""
        series = self._series_of.get(probe)
        return () if series is None else newest(self._store, series, SHOWN_READINGS)

    def earlier(self, probe: str, now_ms: int) -> Sequence[Ago]:
        """What a probe read, or what was judged, an hour and a day before now (UTC ms), as far as that is known."""
        if is_judged_id(probe):
            return judged_ago(self._store, probe, now_ms)
        series = self._series_of.get(probe)
        if series is None:
            return ()
        if now_ms != self._now_ms:
            # The alarms of one turn look for the same times.
            self._now_ms = now_ms
            self._looked = earlier_times(self._store, now_ms)
        return values_ago(self._looked, series)

    def since(self, probe: str, since_ms: int) -> Sequence[HistoryRow]:
        """The fresh readings of a probe from a time (UTC ms) on, oldest first."""
        series = self._series_of.get(probe)
        return () if series is None else recent(self._store, series, since_ms)

    def lots_in(self, place: str) -> Sequence[str]:
        """The lots that lie in a vessel by the journal, by name; none for any other place."""
        return sorted(self.wine.lots.get(place, ()))

    def blanket(self, place: str, now_ms: int) -> BlanketShown | None:
        """How the gas in a vessel was judged last, as of now (UTC ms); None where it is not judged."""
        return blanket_of(newest_judgements(self._store, place=place), now_ms)

    def cylinder(self, place: str, now_ms: int) -> CylinderShown | None:
        """How a gas cylinder was judged last, as of now (UTC ms); None for any other place."""
        return cylinder_of(newest_judgements(self._store, place=place), now_ms)

    def upper_bound(self, place: str) -> bool:
        """Whether what is judged of the SO2 of the wine at a place is at most so much."""
        return is_upper_bound(newest_judgements(self._store, place=place))

    def gas_around(self, place: str, now_ms: int) -> RoomGas | None:
        """The gas that a leak at a place can let out into its room; None where none is kept."""
        return self._gas.around(place, now_ms)

    def gas_beside(self, place: str, now_ms: int) -> RoomGas | None:
        """All gas that somebody who goes to a place may meet; None where there is none."""
        return self._gas.beside(place, now_ms)
