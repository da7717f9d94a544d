"""Which series say how the gas of each vessel is, those of former probes too, and by which scales."""

from __future__ import annotations

__all__ = ["InstrumentSeries", "VesselInstruments", "vessel_instruments"]

import sqlite3
import tomllib
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Final, NamedTuple

from alerts.blanket.setting import BlanketSetting
from ingest.cellar import Probe
from ingest.reading import Part, Scale
from ingest.store import Store
from ingest.store.readings.scales import compose
from ingest.store.readings.series import Series, all_series

# A barometer may have moved the scale of a sensor many times a day.
_PARTS: Final = (
    "SELECT from_ms, kind, gain, offset, unit, because FROM scale WHERE series = ? AND kind <> 'barometer'"
    " ORDER BY from_ms, id"
)

# A value is held for so long, or for so many of its probe's intervals.
_HELD_MS: Final = 15 * 60_000
_HELD_INTERVALS: Final = 3


class InstrumentSeries(NamedTuple):
    """A series and its scales, oldest first, without what a barometer takes off: an absolute pressure stays counted
    from the mean air pressure.
    """

    series: int
    scales: tuple[Scale, ...]


class VesselInstruments(NamedTuple):
    """The series of each role, those of former probes first; the last one is read now. hold_ms: how long a value of
    each role may be old.
    """

    pressure: tuple[InstrumentSeries, ...]
    temperature: tuple[InstrumentSeries, ...]
    barometer: tuple[InstrumentSeries, ...]
    room: tuple[InstrumentSeries, ...]
    hold_ms: tuple[int, int, int]

    @property
    def all(self) -> tuple[InstrumentSeries, ...]:
        """Every series of every role."""
        return (*self.pressure, *self.temperature, *self.barometer, *self.room)


def vessel_instruments(store: Store, settings: Iterable[BlanketSetting]) -> dict[str, VesselInstruments]:
    """Find the instruments of each vessel. Only series that the store knows already."""
    rows = all_series(store)
    by_place: dict[tuple[str, str], list[Series]] = {}
    for row in rows:
        by_place.setdefault((row.place, row.quantity), []).append(row)
    mounted = _mounted_ever(store.connection)
    scales: dict[int, InstrumentSeries] = {}

    def of(probe: Probe | None, *mountings: str) -> tuple[InstrumentSeries, ...]:
        if probe is None:
            return ()
        former, living = [], []
        for row in by_place.get((probe.at, probe.quantity), ()):
            if row.probe == probe.id and row.ended_ms is None:
                living.append(row)
            elif row.ended_ms is not None and (not mountings or mounted.get((row.probe, row.place)) in mountings):
                former.append(row)
        if not living:
            return ()
        found = (_with_scales(store, row.id, scales) for row in (*former, *living))
        return tuple(each for each in found if each.scales)

    return {
        setting.vessel.id: VesselInstruments(
            of(setting.pressure),
            of(setting.temperature, "wine", "wall"),
            of(setting.barometer),
            of(setting.room, "air") if setting.room is not None and setting.room.mounted == "air" else of(setting.room),
            (_held_ms(setting.temperature), _held_ms(setting.barometer), _held_ms(setting.room)),
        )
        for setting in settings
    }


def _with_scales(store: Store, series: int, known: dict[int, InstrumentSeries]) -> InstrumentSeries:
    if series not in known:
        rows = store.connection.execute(_PARTS, (series,))
        known[series] = InstrumentSeries(series, tuple(compose(Part(*row) for row in rows)))
    return known[series]


def _held_ms(probe: Probe | None) -> int:
    every_ms = 0 if probe is None else round(1000 * probe.every_s)
    return max(_HELD_MS, _HELD_INTERVALS * every_ms)


def _mounted_ever(connection: sqlite3.Connection) -> Mapping[tuple[str, str], str]:
    """Where temperature probes were mounted, by probe and place, in every cellar file that ran; the newest counts."""
    found: dict[tuple[str, str], str] = {}
    for (text,) in connection.execute("SELECT text FROM cellar_file ORDER BY id"):
        found |= _mounted(text)
    return found


@lru_cache(maxsize=64)
def _mounted(text: str) -> dict[tuple[str, str], str]:
    try:
        tables = tomllib.loads(text).get("probe", [])
    except tomllib.TOMLDecodeError:
        return {}
    return {
        (str(raw["id"]), str(raw["at"])): str(raw["mounted"])
        for raw in tables
        if isinstance(raw, dict) and {"id", "at", "mounted"} <= raw.keys()
    }
