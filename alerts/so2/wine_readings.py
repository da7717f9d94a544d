"""pH and temperature of a wine at a time: what probes read and people measured, with age and uncertainty."""

from __future__ import annotations

__all__ = ["ASSUMED_C", "KnownPh", "KnownTemperature", "WineReadings"]

from dataclasses import dataclass
from math import hypot
from typing import Final, NamedTuple

from alerts.so2.wine_facts import Stay, WineFacts
from alerts.wine.molecular import USUAL_U_PH
from alerts.wine.so2_steps import REFERENCE_C
from ingest.cellar import Cellar
from ingest.journal.ph_record import PhRecord
from ingest.store import Store
from ingest.store.journal.ph_records import ph_records
from ingest.store.readings.series import Series, all_series
from ingest.store.readings.series_history import newest_good, span
from ingest.store.readings.summaries import summary
from ingest.times import short_day

# Where nothing is known of a wine's temperature [°C].
ASSUMED_C: Final = REFERENCE_C

_DAY_MS: Final = 86_400_000
_YEAR_MS: Final = 365 * _DAY_MS
# A wine that rests keeps its pH within this in a year, as tartrate falls out; and a temperature by hand says something
# of a cellar for so long (working defaults, no source).
_U_PH_IN_A_YEAR: Final = 0.03
_HAND_FRESH_MS: Final = 31 * _DAY_MS
# Standard uncertainty of pH by a probe that never was calibrated, or is not to be used (working default, no source).
_U_UNCALIBRATED_PH: Final = 2.0 * USUAL_U_PH
_MOST_U_PH: Final = 0.3
# No wine in a cellar is colder or warmer [°C]; such a number is of an instrument, not of the wine.
_WINE_C: Final = (-5.0, 40.0)


class KnownPh(NamedTuple):
    """A pH with its standard uncertainty, when it was read or measured [UTC ms], and the probe that read it, None for a
    hand measurement.
    """

    ph: float
    u_ph: float
    at_ms: int
    probe: str | None


class KnownTemperature(NamedTuple):
    """A wine's temperature [°C], when it was read or measured [UTC ms], and the probe, None by hand."""

    celsius: float
    at_ms: int
    probe: str | None


@dataclass(frozen=True, slots=True)
class _Lying:
    """A wine's time in a vessel: from_ms <= at < to_ms [UTC ms]."""

    vessel: str
    from_ms: int
    to_ms: int


class WineReadings:
    """Finds pH and temperature of wines; use it inside ``store.read()``, so that all is of one moment."""

    def __init__(self, cellar: Cellar, store: Store) -> None:
        self._store = store
        self._cellar = cellar
        mounted = {probe.id: probe.mounted for probe in cellar.probe}
        self._thermometers: dict[str, list[Series]] = {}
        self._ph_probes: dict[str, list[Series]] = {}
        for series in all_series(store):
            if series.quantity == "temperature" and mounted.get(series.probe) in ("wine", "wall"):
                self._thermometers.setdefault(series.place, []).append(series)
            elif series.quantity == "pH":
                self._ph_probes.setdefault(series.place, []).append(series)
        self._records: dict[str, PhRecord] | None = None

    # ---- temperature ----------------------------------------------------------------------------------------------

    def temperatures(self, wine: WineFacts, until_ms: int) -> tuple[tuple[int, float], ...]:
        """List the wine's temperatures up to a time: daily means of probes in it or on the vessel's wall, and what was
        measured by hand.
        """
        points = {value.at_ms: value.value for value in wine.temperatures if value.at_ms <= until_ms}
        for lying in _lyings(wine.stays, until_ms):
            for series in self._thermometers.get(lying.vessel, ()):
                # Only days that were over by then.
                days = summary(self._store, series.id, lying.from_ms - _DAY_MS + 1, lying.to_ms - _DAY_MS, "day")
                for from_ms, celsius in zip(days.from_ms.tolist(), days.mean.tolist(), strict=True):
                    points[max(int(from_ms), lying.from_ms)] = celsius
        low, high = _WINE_C
        return tuple(sorted((at_ms, celsius) for at_ms, celsius in points.items() if low <= celsius <= high))

    def temperature(self, wine: WineFacts, at_ms: int) -> KnownTemperature | None:
        """Find the wine's temperature at a time: by a probe, else by hand not long before; None if unknown."""
        lying = _lyings(wine.stays, at_ms)[-1]
        for series in self._thermometers.get(lying.vessel, ()):
            read = newest_good(self._store, series.id, max(lying.from_ms, at_ms - _DAY_MS), at_ms)
            if read is not None:
                return KnownTemperature(read.value, read.at_ms, series.probe)
        by_hand = [value for value in wine.temperatures if at_ms - _HAND_FRESH_MS <= value.at_ms <= at_ms]
        if by_hand:
            return KnownTemperature(by_hand[-1].value, by_hand[-1].at_ms, None)
        return None

    # ---- pH -------------------------------------------------------------------------------------------------------

    def ph(self, wine: WineFacts, at_ms: int) -> KnownPh | None:
        """Find the wine's newest pH at a time, of a probe or by hand; None if none was ever found of it.

        A probe that is not to be used counts only where nobody measured.
        """
        known = _by_hand(wine, at_ms)
        for lying in reversed(_lyings(wine.stays, at_ms)):
            for series in self._ph_probes.get(lying.vessel, ()):
                last = span(self._store, series.id, lying.from_ms, lying.to_ms)
                if last is None or (known is not None and last[1] <= known.at_ms):
                    continue
                read = newest_good(self._store, series.id, max(lying.from_ms, last[1] - _DAY_MS), last[1])
                if read is None:
                    continue
                read_ms, ph = read.at_ms, read.value
                record = self._record(series.probe)
                is_refused = record is not None and record.is_refused(read_ms)
                if known is None or (read_ms > known.at_ms and not is_refused):
                    known = KnownPh(ph, self._u_of_probe(record, ph, read_ms, at_ms), read_ms, series.probe)
        return known

    def ph_probe_remarks(self, vessel: str, at_ms: int) -> list[str]:
        """Say which pH probes of a vessel are worn or not to be used, by what was found until a time."""
        remarks = []
        for probe in self._cellar.probes_at(vessel):
            record = self._record(probe.id) if probe.quantity == "pH" else None
            last = None if record is None else record.newest_line(at_ms)
            if last is not None and last[1].fault is not None:
                fault, to_do = last[1].fault
                day = short_day(last[0], at_ms, self._cellar.site.zone)
                remarks.append(f"pH probe {probe.id}: {fault} on {day}: {to_do}")
        return remarks

    def _record(self, probe: str) -> PhRecord | None:
        if self._records is None:
            self._records = ph_records(self._store.connection)
        return self._records.get(probe)

    @staticmethod
    def _u_of_probe(record: PhRecord | None, ph: float, read_ms: int, at_ms: int) -> float:
        """Carry the probe's calibration to the time of the reading, and the reading to the time that is asked for."""
        u_ph = None if record is None else record.u_ph(ph, read_ms, ASSUMED_C)
        return _with_age(_U_UNCALIBRATED_PH if u_ph is None else u_ph, at_ms - read_ms)


def _by_hand(wine: WineFacts, at_ms: int) -> KnownPh | None:
    """The newest pH that a person had measured by then."""
    hand = max((value for value in wine.phs if value.at_ms <= at_ms), key=lambda value: value.at_ms, default=None)
    if hand is None:
        return None
    return KnownPh(
        hand.value, _with_age(USUAL_U_PH if hand.u is None else hand.u, at_ms - hand.at_ms), hand.at_ms, None
    )


def _with_age(u_ph: float, age_ms: int) -> float:
    return min(hypot(u_ph, _U_PH_IN_A_YEAR * max(0, age_ms) / _YEAR_MS), _MOST_U_PH)


def _lyings(stays: tuple[Stay, ...], until_ms: int) -> list[_Lying]:
    """The times in vessels up to a moment, which is included; at least one."""
    ends = [*(stay.from_ms for stay in stays[1:]), max(until_ms + 1, stays[-1].from_ms + 1)]
    return [_Lying(stay.vessel, stay.from_ms, end) for stay, end in zip(stays, ends, strict=True)]
