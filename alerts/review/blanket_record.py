"""How sound the gas over a wine was: time under its floors, gas lost, and the oxygen that it may have let in.

**Time.** Of hours that lie wholly below a floor all counts; those that cross it come by minutes, and of a minute that
crosses it the share (floor - low) / (high - low).

**Gas lost.** In hours whose finding is a leak: the judged rate, from its lower to its upper end. Beside it what the
compensated pressure fell by between two things that people did, as gas: that left by leaks or into the wine.

    V = V_head x fall / 101.325 kPa                   L at 15 °C and 101.325 kPa; compensated to 15 °C

**Oxygen.** Outflow keeps air out, so only a vessel without pressure breathes. Counted as without pressure is a gauge up
to 1 kPa (0.5 % of a 200 kPa transmitter). Then cooling, which shrinks gas, wine and vapour, draws air in:

    n = (p_air - p_v) V_head(t) / (R t)               of each hour
    O2 = 0.2095 x 31.998 g/mol x sum of the rises of n

All of that is at most: part of it is breathed out again. A leak lets oxygen in against no flow also by diffusion, here
as through a hole of 0.1 mm in a wall of 2 mm, while the gauge is below the air floor:

    O2 = D A c / L                                    D = 0.2 cm²/s (oxygen in air, from memory), c: in air at 15 °C

Worked example: 19 L of steel with 0.5, 2 and 10 L of headspace, from 20 to 15 °C at no pressure: 29, 65 and 255 mL of
air, 8, 18 and 72 mg of oxygen. The hole: 1.9 mg a day. Each mg costs up to 4 mg of SO2.
"""

from __future__ import annotations

__all__ = ["BlanketRecord", "air_filled_mg", "blanket_record", "breathed_mg", "hours_under"]

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi
from typing import Final

import numpy as np
import numpy.typing as npt

from alerts.errors import OutOfRange
from alerts.gas.blanket import Filling
from alerts.gas.gases import ATMOSPHERE_KPA, OXYGEN_G_MOL, R_KPA_L_MOL_K, STANDARD_L_MOL, kelvin
from alerts.gas.over_wine import vapour_pressure_kpa
from alerts.gas.purge import AIR_O2_PERCENT, SO2_PER_O2
from alerts.gas.wine_density import TEMPERATURE_RANGE
from alerts.review.vessel_facts import BlanketPast, HourMeans, PressureSpans

_HOUR_MS: Final = 3_600_000
_LEAKS: Final = frozenset({"slow leak", "fast leak"})
# Up to this gauge pressure a vessel counts as open to what the air does [kPa], see above.
NO_PRESSURE_KPA: Final = 1.0
# Two hours that lie further apart say nothing of what was between.
_NEXT_MS: Final = 2 * _HOUR_MS
# So many hours at either end of a stretch make its compensated pressure, so that one odd hour counts for little.
_END_HOURS: Final = 3
_MOLE_FRACTION: Final = AIR_O2_PERCENT / 100.0
# A hole as above: oxygen's diffusivity in air [cm²/s], diameter and length [cm]; oxygen in air at 15 °C [mg/cm³].
_DIFFUSIVITY_CM2_S: Final = 0.2
_HOLE_CM: Final = 0.01
_WALL_CM: Final = 0.2
_OXYGEN_MG_CM3: Final = _MOLE_FRACTION * OXYGEN_G_MOL / STANDARD_L_MOL
DIFFUSION_MG_DAY: Final = _DIFFUSIVITY_CM2_S * pi / 4.0 * _HOLE_CM**2 * _OXYGEN_MG_CM3 / _WALL_CM * 86_400.0
# From 0 °C to 15 °C at the same pressure.
_TO_15C: Final = kelvin(15.0) / kelvin(0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class BlanketRecord:
    """What became of a blanket in a span of hours.

    observed_h: hours that were read; under_air_h, under_care_h: below the floors, None without one; lowest_kpa: gauge;
    findings_h: hours by finding; leaked_low_l, leaked_high_l: gas that leaks let out, and fallen_l: what the
    compensated pressure fell by as gas, all L at 15 °C and 101.325 kPa, None where not known; oxygen_mg: that it may
    have let in at most, oxygen_mg_l: of it for each litre of wine, None where the volume is not known; air_filled_mg_l:
    if its headspace were full of air.
    """

    hours: float
    observed_h: float
    under_air_h: float | None
    under_care_h: float | None
    lowest_kpa: float | None
    findings_h: Mapping[str, float]
    leaked_low_l: float
    leaked_high_l: float
    fallen_l: float | None
    oxygen_mg: float | None
    oxygen_mg_l: float | None
    air_filled_mg_l: float | None

    @property
    def so2_at_most_mg_l(self) -> float | None:
        """The most SO2 that the oxygen can have cost [mg/L]."""
        return None if self.oxygen_mg_l is None else SO2_PER_O2 * self.oxygen_mg_l


def blanket_record(past: BlanketPast) -> BlanketRecord:
    """Work out what became of a blanket."""
    spans, filling = past.pressure, past.filling
    wine_l = None if filling is None or filling.wine_l <= 0.0 else filling.wine_l
    headspace_l = None if filling is None else filling.capacity_l - filling.wine_l
    under_air = None if spans is None or past.air_floor_kpa is None else hours_under(spans, past.air_floor_kpa)
    known = np.zeros(0, np.bool_) if spans is None else np.isfinite(spans.low)
    observed_h = 0.0 if spans is None else float(spans.span_ms[known].sum()) / _HOUR_MS
    oxygen = None
    if spans is not None and filling is not None and under_air is not None:
        open_ms = spans.from_ms[known & (spans.low <= NO_PRESSURE_KPA)]
        breathed = (
            0.0 if past.temperature is None else breathed_mg(past.temperature, open_ms, filling, past.station_kpa)
        )
        oxygen = breathed + DIFFUSION_MG_DAY * under_air / 24.0
    findings: dict[str, float] = {}
    for each in past.judged:
        findings[each.finding or "cannot tell yet"] = findings.get(each.finding or "cannot tell yet", 0.0) + 1.0
    leaks = [each for each in past.rates if each.finding in _LEAKS]
    to_litres = 60.0 / 1000.0 * _TO_15C  # of an hour's mL a minute
    return BlanketRecord(
        hours=(past.to_ms - past.from_ms) / _HOUR_MS,
        observed_h=observed_h,
        under_air_h=under_air,
        under_care_h=None if spans is None or past.care_floor_kpa is None else hours_under(spans, past.care_floor_kpa),
        lowest_kpa=float(spans.low[known].min()) if spans is not None and known.any() else None,
        findings_h=findings,
        leaked_low_l=to_litres * sum(each.low or 0.0 for each in leaks),
        leaked_high_l=to_litres * sum(each.high or 0.0 for each in leaks),
        fallen_l=None
        if headspace_l is None or not past.judged
        else max(headspace_l, 0.0) * _fallen_kpa(past) / ATMOSPHERE_KPA,
        oxygen_mg=oxygen,
        oxygen_mg_l=None if oxygen is None or wine_l is None else oxygen / wine_l,
        air_filled_mg_l=None
        if wine_l is None or headspace_l is None
        else air_filled_mg(headspace_l, past.station_kpa) / wine_l,
    )


def hours_under(spans: PressureSpans, floor_kpa: float) -> float:
    """Work out for how many hours a pressure was below a floor [kPa gauge]."""
    known = np.isfinite(spans.low)
    low, high, span_ms = spans.low[known], spans.high[known], spans.span_ms[known]
    width = np.where(high > low, high - low, 1.0)
    share = np.where(high < floor_kpa, 1.0, np.where(low >= floor_kpa, 0.0, (floor_kpa - low) / width))
    return float((np.clip(share, 0.0, 1.0) * span_ms).sum()) / _HOUR_MS


def breathed_mg(temperature: HourMeans, open_ms: npt.NDArray[np.int64], filling: Filling, station_kpa: float) -> float:
    """Work out the oxygen [mg] that cooling draws into a vessel without pressure, at most.

    open_ms: when spans without pressure began [UTC ms]; only hours that follow each other count.
    """
    open_hours = set((open_ms // _HOUR_MS).tolist())
    total_mol, before = 0.0, None
    for from_ms, celsius in zip(temperature.from_ms.tolist(), temperature.mean.tolist(), strict=True):
        if not np.isfinite(celsius) or from_ms // _HOUR_MS not in open_hours:
            before = None
            continue
        amount = _gas_mol(filling, station_kpa, round(TEMPERATURE_RANGE.nearest(celsius), 2))
        if amount is not None and before is not None and from_ms - before[0] <= _NEXT_MS:
            total_mol += max(0.0, amount - before[1])
        before = None if amount is None else (from_ms, amount)
    return 1000.0 * _MOLE_FRACTION * OXYGEN_G_MOL * total_mol


def air_filled_mg(headspace_l: float, station_kpa: float) -> float:
    """Work out the oxygen [mg] in a headspace that is full of air of 15 °C."""
    return (
        1000.0 * OXYGEN_G_MOL * _MOLE_FRACTION * max(headspace_l, 0.0) / STANDARD_L_MOL * station_kpa / ATMOSPHERE_KPA
    )


def _gas_mol(filling: Filling, station_kpa: float, celsius: float) -> float | None:
    """The gas in a headspace without pressure [mol], None where there is no headspace."""
    try:
        headspace_l = filling.headspace_at(celsius)
    except OutOfRange:
        return None
    dry_kpa = station_kpa - vapour_pressure_kpa(filling.alcohol_percent_vol, celsius)
    return dry_kpa * headspace_l / (R_KPA_L_MOL_K * kelvin(celsius))


def _fallen_kpa(past: BlanketPast) -> float:
    """By how much the compensated pressure fell in all, between the things that people did [kPa]."""
    borders = [*sorted(past.touched_ms), past.to_ms + 1]
    fallen, begin = 0.0, past.from_ms
    for border in borders:
        values = [each.value for each in past.judged if begin < each.at_ms < border and each.value is not None]
        if len(values) >= 2 * _END_HOURS:
            fallen += max(0.0, float(np.median(values[:_END_HOURS]) - np.median(values[-_END_HOURS:])))
        begin = border
    return fallen
