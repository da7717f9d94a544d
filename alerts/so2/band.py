"""The estimate of a vessel's SO2 over time, as a band: at each time what was known by then."""

from __future__ import annotations

__all__ = ["BAND_QUANTITIES", "BandPoint", "BandQuantity", "BothBandsPoint", "both_so2_bands", "so2_band"]

from collections.abc import Iterator, Sequence
from math import ceil
from typing import Final, Literal, NamedTuple

from alerts.so2.histories import histories_of
from alerts.so2.vessel_so2 import acidity_of
from alerts.so2.wine_facts import So2Fact, WineFacts
from alerts.so2.wine_fold import WineFold
from alerts.so2.wine_readings import WineReadings
from alerts.wine.molecular import Pk, simple_pk
from alerts.wine.so2_estimate import both_bands, estimate_band, molecular_band
from alerts.wine.so2_history import FreeTitrated
from ingest.cellar import Cellar
from ingest.store import Store
from ingest.store.journal.stored_ledger import equipment_of, load_ledger

BandQuantity = Literal["free_so2", "molecular_so2"]
BAND_QUANTITIES: Final[tuple[BandQuantity, ...]] = ("free_so2", "molecular_so2")

_DAY_MS: Final = 86_400_000
# Points between entries, at most so many over the whole span; before and after each entry there is one more.
_MOST_POINTS: Final = 300


class BandPoint(NamedTuple):
    """The estimate at a time [UTC ms]: median and ends of the 80 % interval [mg/L], None where it is not known.

    titrated_mg_l, u_titrated_mg_l: what was titrated then, None where nothing was; free SO2 only.
    """

    at_ms: int
    median_mg_l: float | None
    low_80_mg_l: float | None
    high_80_mg_l: float | None
    titrated_mg_l: float | None = None
    u_titrated_mg_l: float | None = None


def so2_band(
    cellar: Cellar, store: Store, vessel: str, quantity: BandQuantity, from_ms: int, to_ms: int
) -> list[BandPoint]:
    """Work out the band of whatever wine lay in a vessel from from_ms to to_ms [UTC ms, both included], by time.

    There are no points for times when it was empty or nothing was known of it. Call inside ``store.read()``.
    """
    readings, pk = WineReadings(cellar, store), simple_pk(cellar.site.so2_pk)
    points: list[BandPoint] = []
    for wine, begin_ms, end_ms in _wines(cellar, store, vessel, from_ms, to_ms):
        times = _times(wine.facts, begin_ms, end_ms, _step_days(from_ms, to_ms, _MOST_POINTS))
        points = _points(wine, times, quantity, readings, pk) + points
    return points


class BothBandsPoint(NamedTuple):
    """Free and molecular SO2 at a time [UTC ms]: (low end, median, high end) of the 80 % interval [mg/L]; molecular:
    None where no pH is known.
    """

    at_ms: int
    free_mg_l: tuple[float, float, float]
    molecular_mg_l: tuple[float, float, float] | None


def both_so2_bands(
    cellar: Cellar, store: Store, vessel: str, from_ms: int, to_ms: int, most: int
) -> list[BothBandsPoint]:
    """``so2_band`` of both quantities, for charts. most: points between entries over the whole span, about."""
    readings, pk = WineReadings(cellar, store), simple_pk(cellar.site.so2_pk)
    points: list[BothBandsPoint] = []
    for wine, begin_ms, end_ms in _wines(cellar, store, vessel, from_ms, to_ms):
        times = _times(wine.facts, begin_ms, end_ms, _step_days(from_ms, to_ms, most))
        if not times:
            continue
        (history,) = histories_of([wine], times[-1], readings.temperatures)
        acidities = [acidity_of(readings.ph(wine, time), time, pk)[0] for time in times]
        bands = both_bands(history, times, acidities)
        points = [BothBandsPoint(time, *ends) for time, ends in zip(times, bands, strict=True)] + points
    return points


def _wines(cellar: Cellar, store: Store, vessel: str, from_ms: int, to_ms: int) -> Iterator[tuple[WineFacts, int, int]]:
    """The wines that lay in a vessel, from the last one back, each with when it was there within the span."""
    end_ms = to_ms
    # Each came into the vessel at a time, and what was before is another's.
    while end_ms >= from_ms:
        ledger = load_ledger(store.connection, equipment_of(store.connection, cellar, end_ms), to_ms=end_ms)
        fold = WineFold(ledger)
        wine = fold.wines.get(vessel)
        if wine is None:
            empty_since_ms = fold.state(vessel).since_ms
            if empty_since_ms is None:
                break
            end_ms = empty_since_ms - 1
            continue
        begin_ms = max(wine.begin_ms, wine.stays[-1].from_ms)
        yield wine, max(begin_ms, from_ms), end_ms
        end_ms = begin_ms - 1


def _step_days(from_ms: int, to_ms: int, most: int) -> int:
    return ceil((to_ms - from_ms) / most / _DAY_MS)


def _times(facts: Sequence[So2Fact], from_ms: int, to_ms: int, step_days: int) -> list[int]:
    """Every so many days, and just before and at each fact."""
    step_ms = max(step_days, 1) * _DAY_MS
    times = {from_ms, to_ms, *range(-(-from_ms // step_ms) * step_ms, to_ms, step_ms)}
    times |= {time for fact in facts for time in (fact.effect.at_ms - 1, fact.effect.at_ms)}
    return sorted(time for time in times if from_ms <= time <= to_ms)


def _points(
    wine: WineFacts, times: Sequence[int], quantity: BandQuantity, readings: WineReadings, pk: Pk
) -> list[BandPoint]:
    if not times:
        return []
    (history,) = histories_of([wine], times[-1], readings.temperatures)
    band: Sequence[tuple[float, float, float] | None]
    if quantity == "free_so2":
        band = estimate_band(history, times)
    else:
        acidities = [acidity_of(readings.ph(wine, time), time, pk)[0] for time in times]
        band = molecular_band(history, times, acidities)
    titrated = (
        {fact.effect.at_ms: fact.effect for fact in wine.facts if isinstance(fact.effect, FreeTitrated)}
        if quantity == "free_so2"
        else {}
    )
    points = []
    for time, ends in zip(times, band, strict=True):
        found = titrated.get(time)
        value, u_value = (None, None) if found is None else (found.free_mg_l, found.u_mg_l)
        low, median, high = (None, None, None) if ends is None else ends
        points.append(BandPoint(time, median, low, high, value, u_value))
    return points
