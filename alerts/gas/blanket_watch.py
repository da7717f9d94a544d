"""The gas over one wine, judged as its readings come in."""

from __future__ import annotations

__all__ = ["BlanketWatch"]

from collections.abc import Sequence
from itertools import pairwise
from math import hypot
from statistics import median
from typing import Final

import numpy as np

from alerts.gas.air_floor import GasNow, HoursLeft, gauge_at, hours_left
from alerts.gas.blanket_bins import BlanketBins
from alerts.gas.blanket_columns import T0_K
from alerts.gas.blanket_facts import BlanketFacts, BlanketJudgement, BlanketPoint, EpisodeCause
from alerts.gas.blanket_finding import (
    Finding,
    calm_finding,
    from_wine,
    goes_on,
    is_gain,
    is_leak,
    is_young_leak,
    leak_finding,
    may_be_young_leak,
)
from alerts.gas.blanket_fit import BlanketPrior, Jump, fit_blanket
from alerts.gas.blanket_prior import first_prior, later_prior, settling_bound
from alerts.gas.blanket_remarks import blanket_remarks
from alerts.gas.common_air import AirWitness, CommonAir
from alerts.gas.fitted_blanket import KPA_DAY_TO_ML_MIN, FittedBlanket, LossRate, fitted_blanket
from alerts.gas.gases import kelvin
from alerts.gas.heard_air import HeardAir, may_witness
from alerts.gas.leak_evidence import Learned, old_step
from alerts.gas.open_minute import OpenMinute
from alerts.gas.stuck_sensor import StuckSensor
from alerts.gas.sudden_loss import FastLoss, SuddenLosses, SuddenStep
from alerts.gas.wine_tables import wine_tables

_HOUR_MS: Final = 3_600_000
# A newest point that is older than this says nothing of now, where nobody says otherwise.
_SILENT_MS: Final = 30 * 60_000
_LEAST_BINS: Final = 4
# Without anyone asking, a fit is made after so long all the same, so that steps are noticed.
_FIT_ANYWAY_MS: Final = 12 * _HOUR_MS
# A bin is used so long after its end: a step in it has been noticed by then.
_SETTLE_MS: Final = 7 * 60_000
# What a person writes down happened within so long of the time that is given.
_ABOUT_MS: Final = 3 * _HOUR_MS
_GAP_MS: Final = 20 * 60_000
# A fast leak is one for so long after its last minute, and as long as the vessel is empty.
_FAST_LASTS_MS: Final = 20 * 60_000
_EMPTY_KPA: Final = 2.0
# Below it nothing leaks out, and what falls on is drawn or dissolves.
_SUCKING_KPA: Final = -1.0
_U_LAW: Final = 0.04
_U_ZERO_KPA: Final = 0.5
_DRAWN_LASTS_MS: Final = 2 * _HOUR_MS
_STEP_K: Final = 0.7
# Lost against the minutes before, more than a door that opens does to 2 L: nothing calm is said then.
_EARLY_MS: Final = (2 * 60_000, 15 * 60_000)
_EARLY_KPA: Final = 2.0
# Half of what the gas law makes of a kelvin.
_ROOM_KPA_K: Final = 0.3
_MOST_JUMPS: Final = 8
_U_WEATHER_KPA: Final = 1.2
# Air pressure is never further than this from its mean at a place.
_WEATHER_KPA: Final = 6.0


class BlanketWatch:
    """What is known of the gas over one wine, from its readings so far.

    Points come in the order of their times. A new episode keeps what was learned of headspace and instruments as far
    as the cause allows. ``judge`` uses only what lies before it.
    """

    def __init__(self, facts: BlanketFacts, *, later_ms: int = 0, silent_ms: int = _SILENT_MS) -> None:
        """Begin with what is known.

        later_ms: puts off the work of each fit, so that not all vessels do it at once; silent_ms: a newest point that
        is older than this says nothing of now.
        """
        self._facts = facts
        self._silent_ms = silent_ms
        self._settle_ms = _SETTLE_MS + later_ms
        self._tables = wine_tables(facts.filling, facts.gas)
        self._bins = BlanketBins()
        self._sudden = SuddenLosses()
        self._jumps: list[Jump] = []
        self._drawn_l: tuple[int, float] | None = None
        self._prior: BlanketPrior | None = None
        self._fitted: FittedBlanket | None = None
        # The same with the noise that was seen, where a fast leak may have begun in the last hours.
        self._sharp: FittedBlanket | None = None
        self._heard = HeardAir()
        self._fit_due = False
        self._closed_ms = 0
        self._judged_ms = 0
        self._news = False
        self._last: BlanketPoint | None = None
        self._air: float | None = None
        self._mean_air = 0.0
        self._airs = 0
        self._minutes = OpenMinute()
        self._stuck = StuckSensor()
        self._levels: list[tuple[int, float]] = []
        self._fast: FastLoss | None = None
        self._fast_ms = 0
        self._leak_since_ms: int | None = None
        self._from_wine_ms: int | None = None
        self._drawn_ms: int | None = None
        self._sound_ms: int | None = None

    def begin_episode(self, at_ms: int, cause: EpisodeCause, facts: BlanketFacts) -> None:
        """Begin a new episode at a time (UTC ms); facts: what holds from then on."""
        before, self._facts = self._facts, facts
        self._tables = wine_tables(facts.filling, facts.gas)
        if cause in ("filled", "topped", "opened"):
            self._restart(before, same_wine=cause == "topped")
        elif cause == "drawn":
            self._drawn_by_hand(at_ms, before.filling.wine_l - facts.filling.wine_l)
        elif cause == "probe changed":
            self._split(at_ms - 1, at_ms, 0.0, 1.0)
            self._sudden.clear()
        elif cause == "charged" and self._leak_since_ms is not None:
            self._restart(before)
        # What is vented, and other charging, shows in the readings as a step.

    def add(self, point: BlanketPoint) -> None:
        """Take a point; one that is not after the last is left out."""
        before = self._last
        if before is not None and point.at_ms <= before.at_ms:
            return
        self._last = point
        if point.barometer_kpa is not None:
            self._air = point.barometer_kpa
            self._airs += 1
            self._mean_air += (point.barometer_kpa - self._mean_air) / self._airs
        if self._prior is None:
            air = self._facts.station_kpa if self._air is None else self._air
            _, vapour = self._tables.growth_vapour(point.temperature_c)
            self._prior = first_prior(self._facts, point.pressure_kpa + air - vapour, point.temperature_c)
        minute = self._minutes.add(point)
        if minute is not None:
            self._close_minute(minute)
        # Of a probe that reads seldom no point may lie between a bin's settling and the end of the next one.
        is_overdue = self._fit_due and before is not None and before.at_ms - self._closed_ms < self._settle_ms
        is_closed = self._bins.add(point)
        if is_closed:
            self._fit_due = True
            self._closed_ms = point.at_ms
        if self._fit_due and ((is_closed and is_overdue) or point.at_ms - self._closed_ms >= self._settle_ms):
            age_ms = _FIT_ANYWAY_MS if self._fitted is None else point.at_ms - self._fitted.at_ms
            if age_ms >= _FIT_ANYWAY_MS or point.at_ms - self._judged_ms < _HOUR_MS:
                self._refit()
                self._news = True

    @property
    def shows_air_to_kpa(self) -> float | None:
        """How well the gauge shows others the weather: the noise of what it shows [kPa]. None where it shows none, or
        where more than the weather, dissolving and temperature may move it.
        """
        fitted, last = self._fitted, self._last
        if fitted is None or last is None or not self._weather_hides or self._facts.supply_open:
            return None
        is_leaking = self._leak_since_ms is not None or last.at_ms - self._fast_ms < _FAST_LASTS_MS
        if is_leaking or self._stuck.run is not None or self._from_wine_ms is not None:
            return None
        return fitted.fit.sizes.of_hours if may_witness(fitted, last.pressure_kpa) else None

    def air_witness(self) -> AirWitness | None:
        """Make what the gauge shows others of the weather; None as of ``shows_air_to_kpa``."""
        if self._fitted is None or self.shows_air_to_kpa is None:
            return None
        return self._heard.own(self._fitted, self._facts)

    def hear(self, witnesses: Sequence[AirWitness]) -> None:
        """Take what other vessels' gauges show of the weather, to be used from the next fit on where no barometer is
        read. Not of vessels that may lose gas together with this one.
        """
        self._heard.hear(witnesses)

    @property
    def has_news(self) -> bool:
        """Whether a judgement may be another than the last one, by more than the newest reading."""
        settled = self._last is not None and self._last.at_ms - self._closed_ms >= self._settle_ms
        return self._news or (self._fit_due and settled)

    def judge(self, at_ms: int) -> BlanketJudgement:
        """Judge by what was read up to now, as of a time (UTC ms)."""
        self._news = False
        self._judged_ms = at_ms
        last, facts = self._last, self._facts
        if last is None or at_ms - last.at_ms > self._silent_ms:
            nothing_new = f"No pressure with a temperature has been read for {self._silent_ms // 60_000} minutes."
            return BlanketJudgement(at_ms, "no judgement", last_sound_ms=self._sound_ms, warnings=(nothing_new,))
        if self._fit_due and last.at_ms - self._closed_ms >= self._settle_ms:
            self._refit()
        known = self._known()
        common = self._common
        more_kpa = 0.0 if common is None else common.now_kpa
        air_kpa = facts.station_kpa + more_kpa if self._air is None else self._air
        gas = GasNow(self._level_now(last) + more_kpa, known.w, air_kpa)
        compensated = gauge_at(gas._replace(air_kpa=self._usual_air()), np.array([facts.reference_c]), facts)
        finding = self._finding(last, gas)
        rate = self._rate(finding)
        hours = self._hours(last, gas, finding, rate)
        if finding.word in ("sound", "cooling", "warming"):
            self._sound_ms = at_ms
        warnings = blanket_remarks(
            finding.word,
            facts,
            days=None if self._fitted is None else self._fitted.days,
            u_kappa=None if rate is None or finding.leak_certain else rate.u_kappa,
            has_air=self._air is not None,
            common=common,
            stuck=self._stuck.run,
            is_held=self._fitted is not None and self._fitted.is_held,
            is_young=finding.word == "slow leak" and self._sharp is not None,
        )
        return BlanketJudgement(
            at_ms,
            finding.word,
            leak_certain=finding.leak_certain,
            raw_kpa=last.pressure_kpa,
            compensated_kpa=float(compensated[0]),
            u_compensated_kpa=self._u_compensated(known, last.temperature_c),
            rate_ml_min=None if rate is None else rate.ml_min,
            u_rate_ml_min=None if rate is None else rate.u_ml_min,
            rate_kpa_day=None if rate is None else rate.kappa,
            hours_low=hours.low,
            hours_high=hours.high,
            hours_cold=hours.cold,
            headspace_l=1.0 / known.w,
            u_headspace_l=known.u_w / known.w**2,
            since_ms=finding.since_ms,
            last_sound_ms=self._last_sound(finding.since_ms if finding.leak_certain else None),
            warnings=tuple(warnings),
        )

    # --- what came in

    def _close_minute(self, mean: BlanketPoint) -> None:
        level = self._level(mean)
        unstuck = self._stuck.add(mean.at_ms, mean.pressure_kpa, level)
        if unstuck is not None:
            # What it showed meanwhile is not worth anything.
            self._split(unstuck.since_ms, mean.at_ms, 0.0, 1.0)
            self._sudden.clear()
        self._levels.append((mean.at_ms, level))
        if len(self._levels) > 30:
            del self._levels[:15]
        self._news = self._news or self._is_falling()
        # A kelvin that gas or wall are off by moves a small headspace more.
        kpa_k = 0.7 + 0.5 * min(self._known().w, 4.0)
        warmth = kpa_k * mean.temperature_c + (0.0 if mean.room_c is None else _ROOM_KPA_K * mean.room_c)
        self._sudden.add(mean.at_ms, level, warmth)
        least = _STEP_K * kpa_k * (1.5 if mean.room_c is None else 1.0)
        fast = self._sudden.fast_loss(lambda: settling_bound(self._facts, self._known().w, level, mean.temperature_c))
        if fast is not None and (self._fast is not None or mean.pressure_kpa > _SUCKING_KPA):
            if self._fast is None or mean.at_ms - self._fast_ms > 30 * 60_000:
                self._fast = fast
            else:
                self._fast = fast._replace(since_ms=self._fast.since_ms)
            self._fast_ms = mean.at_ms
            self._news = True
            return
        step = self._sudden.step(least)
        self._news = self._news or step is not None
        if step is not None and self._is_step(step):
            before = level - step.kpa
            self._split(step.before_ms, step.after_ms, step.kpa, level / before if before > 1.0 else 1.0)
            if step.kpa < 0.0:
                self._drawn_ms = step.after_ms
            else:
                self._drawn_ms = None
                self._fast = None
                if self._leak_since_ms is not None:
                    self._restart(self._facts)

    def _is_step(self, step: SuddenStep) -> bool:
        """Whether a step is one; over a gap a leak may have taken it, and the fits look at that."""
        if step.after_ms - step.before_ms > max(_GAP_MS, 1.5 * self._interval_ms()):
            return False
        return step.kpa > 0.0 or self._fast is None

    def _interval_ms(self) -> float:
        """How far the last readings are apart, 0 where too few are known."""
        apart = [after[0] - before[0] for before, after in pairwise(self._levels)]
        return median(apart) if len(apart) > 3 else 0.0

    def _level(self, point: BlanketPoint) -> float:
        """The dry pressure at T0 and the headspace of 20 °C: without a leak or settling it stays as it is [kPa]."""
        known = self._known()
        growth, vapour = self._tables.growth_vapour(point.temperature_c)
        air = point.barometer_kpa
        if air is None:
            air = self._facts.station_kpa if self._air is None else self._air
        warm = point.temperature_c + kelvin(0.0)
        reduced = (point.pressure_kpa + air - vapour) * T0_K / warm
        level = reduced * (1.0 + known.w * growth)
        if point.room_c is not None:
            level -= known.share * reduced * (point.room_c - point.temperature_c) / warm
        return level - known.zero * (point.temperature_c - 20.0)

    # --- episodes

    def _split(self, before_ms: int, after_ms: int, kpa: float, share: float) -> None:
        self._bins.split(before_ms, after_ms)
        drawn_l = None
        if self._drawn_l is not None and kpa < 0.0 and abs(after_ms - self._drawn_l[0]) < _ABOUT_MS:
            drawn_l, self._drawn_l = self._drawn_l[1], None
        share = min(max(share, 0.3), 2.0)
        self._jumps.append(Jump(self._bins.segment, after_ms, kpa, share, self._known().w, drawn_l))
        if len(self._jumps) > _MOST_JUMPS:
            del self._jumps[0]
            self._bins.drop_before(self._jumps[0].segment - 1)
        self._fit_due = True

    def _drawn_by_hand(self, at_ms: int, litres: float) -> None:
        """Take note of how much wine was drawn about then: the step of that time left so much more headspace."""
        if litres <= 0.0:
            return
        for i in reversed(range(len(self._jumps))):
            jump = self._jumps[i]
            if jump.kpa < 0.0 and abs(jump.at_ms - at_ms) < _ABOUT_MS:
                self._jumps[i] = jump._replace(drawn_l=(jump.drawn_l or 0.0) + litres)
                self._fit_due = True
                return
        self._drawn_l = (at_ms, litres)

    def _restart(self, before: BlanketFacts, *, same_wine: bool = True) -> None:
        """Forget the readings, but not what they said of headspace and instruments."""
        if self._fitted is not None and self._last is not None:
            self._prior = later_prior(self._fitted.fit, before, self._facts, same_wine=same_wine)
        elif before != self._facts:
            self._prior = None
        self._bins = BlanketBins()
        self._jumps = []
        self._sudden.clear()
        self._minutes.clear()
        self._levels = []
        self._fitted = self._sharp = None
        self._fit_due = False
        self._fast = None
        self._leak_since_ms = None
        self._from_wine_ms = None
        self._drawn_ms = None

    # --- what they say

    def _refit(self) -> None:
        self._fit_due = False
        if len(self._bins) < _LEAST_BINS or self._prior is None or self._last is None:
            return
        bins = self._bins.arrays()
        # Jumps change the headspace afterwards: the prior is that of before them.
        near_w = None if self._fitted is None or self._jumps else self._fitted.learned.w
        common = self._heard.common(bins.at_ms) if self._weather_hides else None
        fit = fit_blanket(bins, self._facts, self._prior, self._jumps, near_w, common=common)
        late_step = old_step(fit)
        if late_step is not None:
            at_ms = round(float(bins.at_ms[0]) + late_step.days * 86_400_000)
            before = float(fit.columns.reduced[-1]) - late_step.kpa
            self._split(at_ms - 1, at_ms + 1, late_step.kpa, 1.0 + late_step.kpa / max(before, 1.0))
            self._fit_due = False
            bins = self._bins.arrays()
            if len(self._bins) < _LEAST_BINS:
                return
            common = self._heard.common(bins.at_ms) if self._weather_hides else None
            fit = fit_blanket(bins, self._facts, self._prior, self._jumps, common=common)
        self._fitted = fitted_blanket(fit, self._last.at_ms)
        self._sharp = None
        if may_be_young_leak(self._fitted, self._facts, self._last.pressure_kpa):
            seen = self._fitted.unexplained
            if seen is not None:
                fit = fit_blanket(bins, self._facts, self._prior, self._jumps, near_w, seen, common)
                self._sharp = fitted_blanket(fit, self._last.at_ms)

    @property
    def _weather_hides(self) -> bool:
        """Whether the weather moves the gauge, and no barometer ever showed how."""
        return self._facts.weather_moves and self._airs == 0

    @property
    def _common(self) -> CommonAir | None:
        """The air's pressure by other gauges, where the newest fit used it."""
        return None if self._fitted is None else self._fitted.fit.common

    def _level_now(self, last: BlanketPoint) -> float:
        """The level of the last five minutes [kPa]."""
        levels = [kpa for when, kpa in self._levels if when >= last.at_ms - 5 * 60_000]
        return sum(levels) / len(levels) if levels else self._level(last)

    def _hours(self, last: BlanketPoint, gas: GasNow, finding: Finding, rate: LossRate | None) -> HoursLeft:
        day_c = np.array([last.temperature_c]) if self._fitted is None else self._fitted.last_day(last.temperature_c)
        kappa, u_kappa = (0.0, 0.0) if rate is None else (rate.kappa, rate.u_kappa)
        is_losing = finding.leak_certain or kappa > 2.0 * u_kappa
        return hours_left(gas, self._facts, kappa if is_losing else 0.0, u_kappa, day_c, last, finding.leak_certain)

    def _known(self) -> Learned:
        if self._fitted is not None:
            return self._fitted.learned
        if self._prior is not None:
            w, _, share, zero, _ = self._prior.mean[0]
            return Learned(float(w), float(self._prior.precision[0, 0, 0]) ** -0.5, float(share), float(zero), 0.0, 0.0)
        believed = max(self._facts.filling.capacity_l - self._facts.filling.wine_l, 0.05)
        return Learned(1.0 / believed, self._facts.u_wine_l / believed**2, 0.3, 0.0, 0.0, 0.0)

    def _finding(self, last: BlanketPoint, gas: GasNow) -> Finding:
        if self._stuck.run is not None:
            return Finding("no judgement", since_ms=self._stuck.run.since_ms)
        if self._facts.supply_open:
            return Finding("supply open")
        if self._fast is not None and (last.at_ms - self._fast_ms < _FAST_LASTS_MS or last.pressure_kpa < _EMPTY_KPA):
            return Finding("fast leak", True, self._fast.since_ms)
        if self._fitted is None:
            return Finding("cannot tell yet")
        return self._fitted_finding(self._fitted, last, gas)

    def _fitted_finding(self, fitted: FittedBlanket, last: BlanketPoint, gas: GasNow) -> Finding:
        if fitted.is_held:
            return Finding("supply open")
        if is_gain(fitted):
            self._from_wine_ms = None
            return Finding("gas rising", since_ms=fitted.when_ms(fitted.gain.onset_days))
        was_found = self._from_wine_ms is not None
        if from_wine(fitted, self._facts, has_air=self._air is not None, was_found=was_found):
            if self._from_wine_ms is None:
                self._from_wine_ms = fitted.when_ms(fitted.days - 1.0)
            return Finding("gas rising", since_ms=self._from_wine_ms)
        self._from_wine_ms = None
        was_certain = self._leak_since_ms is not None
        if is_leak(fitted, self._facts, last.pressure_kpa, was_certain=was_certain):
            self._leak_since_ms = fitted.when_ms(fitted.leak.onset_days)
        elif self._sharp is not None and is_young_leak(self._sharp, self._facts, last.pressure_kpa):
            self._leak_since_ms = fitted.when_ms(self._sharp.leak.onset_days)
        elif last.pressure_kpa >= _EMPTY_KPA and not goes_on(fitted):
            self._leak_since_ms = None
        if self._leak_since_ms is not None:
            return leak_finding(fitted, self._leak_since_ms)
        if self._drawn_ms is not None and last.at_ms - self._drawn_ms < _DRAWN_LASTS_MS:
            return Finding("drawn", since_ms=self._drawn_ms)
        if self._is_falling():
            calm = Finding("cannot tell yet")
        else:
            usual = gas._replace(air_kpa=self._facts.station_kpa)
            calm = calm_finding(fitted, usual, last.temperature_c, self._facts)
        return calm

    def _is_falling(self) -> bool:
        """Whether the last minutes have lost more than temperature explains; how, it is too early to say."""
        if not self._levels or self._last is None:
            return False
        now_ms, level = self._levels[-1]
        before = [kpa for when, kpa in self._levels if _EARLY_MS[0] <= now_ms - when <= _EARLY_MS[1]]
        return len(before) >= 3 and median(before) - level > _EARLY_KPA + 0.5 * min(self._known().w, 4.0)

    def _rate(self, finding: Finding) -> LossRate | None:
        """The loss, None where nothing can be said."""
        if finding.word == "fast leak" and self._fast is not None:
            known = self._known()
            kappa, u_kappa = self._fast.kpa_hour * 24.0, self._fast.u_kpa_hour * 24.0
            flow = kappa * KPA_DAY_TO_ML_MIN / known.w
            u_flow = abs(flow) * hypot(u_kappa / max(abs(kappa), 1e-9), known.u_w / known.w)
            return LossRate(kappa, u_kappa, flow, u_flow)
        if self._fitted is None:
            return None
        if finding.word == "gas rising" and self._from_wine_ms is not None:
            return self._fitted.day_rate()
        if finding.leak_certain or finding.word == "gas rising":
            evidence = self._fitted.gain if finding.word == "gas rising" else self._fitted.leak
            # What drives the flow is the gauge, which has an error of zero, by a law that is not quite known.
            share = hypot(_U_LAW, _U_ZERO_KPA / max(0.0 if self._last is None else self._last.pressure_kpa, 1.0))
            u_kappa = hypot(evidence.u_kappa, share * evidence.kappa)
            return LossRate(evidence.kappa, u_kappa, evidence.ml_min, hypot(evidence.u_ml_min, share * evidence.ml_min))
        return self._fitted.calm_rate()

    def _last_sound(self, leaking_ms: int | None) -> int | None:
        """When it was last sound: not later than a leak began, which is known only afterwards."""
        if self._sound_ms is None or leaking_ms is None:
            return self._sound_ms
        return min(self._sound_ms, leaking_ms)

    def _usual_air(self) -> float:
        """The air pressure that the compensated pressure is counted from: what the facts say, if that can be."""
        station = self._facts.station_kpa
        return station if not self._airs or abs(self._mean_air - station) < _WEATHER_KPA else self._mean_air

    def _u_compensated(self, known: Learned, celsius: float) -> float:
        away = abs(celsius - self._facts.reference_c)
        weather = 0.0
        if self._facts.weather_moves and self._air is None:
            weather = _U_WEATHER_KPA if self._common is None else self._common.u_now_kpa
        return float(np.hypot(0.15 + 0.1 * away * known.u_w, weather))
