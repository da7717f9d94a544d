"""The pictures of a review: temperature of the last weeks, pressure since the last racking, free SO2 with its band."""

from __future__ import annotations

__all__ = ["CHARTS", "ChartName", "charts_of", "review_chart", "review_charts"]

from collections.abc import Sequence
from typing import Final, Literal, get_args

import numpy as np
import numpy.typing as npt

from alerts.pictures import Chart, ChartBand, ChartLimit, ChartLine, ChartPane, ChartPoints
from alerts.review.vessel_facts import VesselFacts
from alerts.so2.band import BandPoint
from alerts.view.format import unit_name, value_text
from ingest.cellar import value_in_unit

ChartName = Literal["temperature", "pressure", "free_so2"]
CHARTS: Final[tuple[ChartName, ...]] = get_args(ChartName)

_HOUR_MS: Final = 3_600_000
_DAY_MS: Final = 24 * _HOUR_MS
_WEEKS_MS: Final = 28 * _DAY_MS
# A chart that is shorter shows nothing but noise.
_SHORTEST_MS: Final = 7 * _DAY_MS
# So many values of a line: more than its width has dots.
_MOST_VALUES: Final = 1500
_WIDTH_MM: Final = 116.0
_HEIGHT_MM: Final = 47.0


def review_charts(facts: VesselFacts, band: Sequence[BandPoint], *, dots_per_inch: int = 150) -> tuple[Chart, ...]:
    """Chart what the points of a review rest on; what nothing is known of is left out. band: of free SO2."""
    charts = (review_chart(name, facts, band, dots_per_inch=dots_per_inch) for name in CHARTS)
    return tuple(chart for chart in charts if chart is not None)


def review_chart(
    name: ChartName, facts: VesselFacts, band: Sequence[BandPoint] = (), *, dots_per_inch: int = 150
) -> Chart | None:
    """Chart one of them; None where nothing is known of it. band: needed for free SO2 only."""
    drawn = {"temperature": _temperature, "pressure": _pressure}.get(name)
    chart = _free_so2(facts, band) if drawn is None else drawn(facts)
    if chart is None:
        return None
    title, from_ms, pane = chart
    return Chart(
        title=title,
        from_ms=from_ms,
        until_ms=facts.at_ms,
        zone=str(facts.zone),
        panes=(pane,),
        width_mm=_WIDTH_MM,
        height_mm=_HEIGHT_MM,
        dots_per_inch=dots_per_inch,
    )


def charts_of(facts: VesselFacts) -> tuple[ChartName, ...]:
    """Name the charts that there is something for; quick, since it reads no band."""
    titrated = facts.so2 is not None and facts.so2.last_titration is not None
    there = {"temperature": _temperature(facts) is not None, "pressure": _pressure(facts) is not None}
    return tuple(name for name in CHARTS if there.get(name, titrated))


def _temperature(facts: VesselFacts) -> tuple[str, int, ChartPane] | None:
    hours = facts.temperature
    if hours is None or not np.isfinite(hours.mean).any():
        return None
    unit = unit_name("temperature", facts.units)
    line = _line(hours.from_ms + _HOUR_MS // 2, hours.mean, "temperature", unit, "", "raw")
    where = {"wine": "in the wine", "wall": "at the wall"}.get(hours.mounted, "of the air")
    pane = ChartPane(title=f"Temperature {where}, {unit}", lines=(line,), least_span=4.0)
    return f"{facts.vessel}: temperature of the last four weeks", facts.at_ms - _WEEKS_MS, pane


def _pressure(facts: VesselFacts) -> tuple[str, int, ChartPane] | None:
    past = facts.gas
    if past is None or past.pressure is None or not np.isfinite(past.pressure.low).any():
        return None
    spans, unit = past.pressure, unit_name("pressure", facts.units)
    from_ms = min(past.from_ms, facts.at_ms - _SHORTEST_MS)
    # The lowest of each span: what a mean would hide is what counts.
    raw = _line(spans.from_ms + spans.span_ms // 2, spans.low, "pressure", unit, "as read, lowest", "raw")
    judged = [each for each in past.judged if each.value is not None]
    compensated = _line(
        np.asarray([each.at_ms for each in judged], np.int64),
        np.asarray([each.value for each in judged], np.float64),
        "pressure",
        unit,
        "compensated",
        "compensated",
    )
    floors = (("air floor", past.air_floor_kpa), ("care floor", past.care_floor_kpa))
    limits = tuple(
        ChartLimit(
            value=value_in_unit("pressure", floor, unit),
            label=f"{name} {value_text('pressure', floor, facts.units)}",
            side="low",
        )
        for name, floor in floors
        if floor is not None
    )
    pane = ChartPane(
        title=f"Gauge pressure, {unit}", lines=(raw, compensated) if judged else (raw,), limits=limits, least_span=10.0
    )
    return f"{facts.vessel}: pressure since the last racking", from_ms, pane


def _free_so2(facts: VesselFacts, band: Sequence[BandPoint]) -> tuple[str, int, ChartPane] | None:
    # Before the first titration nothing is known of this wine.
    first_ms = next((point.at_ms for point in band if point.titrated_mg_l is not None), 0)
    known = [point for point in band if point.median_mg_l is not None and point.at_ms >= first_ms]
    if not known:
        return None
    titrated = [point for point in band if point.titrated_mg_l is not None]
    times = tuple(point.at_ms for point in known)
    points = ChartPoints(
        at_ms=tuple(point.at_ms for point in titrated),
        values=tuple(point.titrated_mg_l or 0.0 for point in titrated),
        errors=tuple(None if point.u_titrated_mg_l is None else 2.0 * point.u_titrated_mg_l for point in titrated),
        name="titrated, ± 2 u",
    )
    low = [limit.low_mg_l for limit in (() if facts.so2 is None else facts.so2.limits) if limit.quantity == "free_so2"]
    pane = ChartPane(
        title="Free SO2, mg/L",
        lines=(
            ChartLine(
                at_ms=times, values=tuple(point.median_mg_l for point in known), name="estimate", style="estimate"
            ),
        ),
        bands=(
            ChartBand(
                at_ms=times,
                low=tuple(point.low_80_mg_l or 0.0 for point in known),
                high=tuple(point.high_80_mg_l or 0.0 for point in known),
                name="80 % band",
            ),
        ),
        points=(points,) if titrated else (),
        limits=tuple(ChartLimit(value=value, label=f"low limit {value:g} mg/L", side="low") for value in low),
        least_span=10.0,
    )
    return f"{facts.vessel}: free SO2", min(times[0], facts.at_ms - _SHORTEST_MS), pane


def _line(
    at_ms: npt.NDArray[np.int64],
    values: npt.NDArray[np.float64],
    quantity: str,
    unit: str,
    name: str,
    style: str,
) -> ChartLine:
    """A curve of values in the quantity's own unit; of many, the lowest of each stretch."""
    known = np.isfinite(values)
    times, numbers = at_ms[known], values[known]
    step = -(-len(times) // _MOST_VALUES)
    if step > 1:
        starts = np.arange(0, len(times), step)
        numbers, times = np.minimum.reduceat(numbers, starts), times[starts]
    return ChartLine(
        at_ms=tuple(times.tolist()),
        values=tuple(value_in_unit(quantity, float(number), unit) for number in numbers),
        name=name,
        style="compensated" if style == "compensated" else "raw",
        gap_ms=max(3 * step * _HOUR_MS, 3 * _HOUR_MS),
    )
