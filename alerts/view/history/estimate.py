"""The estimate of the wine's SO2 over a span of time, as bands. It takes longer than all else, so it is asked apart."""

from __future__ import annotations

__all__ = ["so2_estimates"]

from typing import Final

from alerts.so2.band import both_so2_bands
from alerts.view.history.answer import BandColumns, EstimateAnswer
from alerts.view.history.span import HistorySpan
from alerts.view.history.subject import HistorySubject
from alerts.wine.molecular import simple_pk
from ingest.cellar import Cellar
from ingest.store import Store

# Points between entries; before and at each entry there is one more. An estimate bends slowly between two entries, and
# each point takes a millisecond.
_POINTS: Final = 48
_FREE_DIGITS: Final = 1
_MOLECULAR_DIGITS: Final = 3


def so2_estimates(
    cellar: Cellar, store: Store, subject: HistorySubject, span: HistorySpan, now_ms: int
) -> EstimateAnswer:
    """Work out free and molecular SO2, vessel by vessel, up to now and no further. Call inside ``store.read()``."""
    free: list[BandColumns] = []
    molecular: list[BandColumns] = []
    for vessel in subject.vessels:
        for from_ms, to_ms in subject.times_in(vessel, span.from_ms, min(span.to_ms, now_ms + 1)):
            points = both_so2_bands(cellar, store, vessel, from_ms, to_ms - 1, _POINTS)
            times = [point.at_ms for point in points]
            if times:
                free.append(_band(vessel, times, [point.free_mg_l for point in points], _FREE_DIGITS))
            if any(point.molecular_mg_l is not None for point in points):
                ends = [point.molecular_mg_l for point in points]
                molecular.append(_band(vessel, times, ends, _MOLECULAR_DIGITS))
    return EstimateAnswer(free_so2=free, molecular_so2=molecular, model=simple_pk(cellar.site.so2_pk).name)


def _band(
    vessel: str,
    times: list[int],
    ends: list[tuple[float, float, float]] | list[tuple[float, float, float] | None],
    digits: int,
) -> BandColumns:
    low, middle, high = ([None if each is None else round(each[place], digits) for each in ends] for place in range(3))
    return BandColumns("estimate", vessel, 0, times, low, middle, high)
