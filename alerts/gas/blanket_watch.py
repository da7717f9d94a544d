"""The gas over one wine, judged as its readings come in."""

from __future__ import annotations

__all__ = ["BlanketWatch"]

from collections.abc import Sequence
from math import hypot
from typing import Final

import numpy as np

from alerts.gas.air_floor import GasNow, HoursLeft, gauge_at, hours_left
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
)
from alerts.gas.blanket_minutes import BlanketMinutes, Cut, dry_kpa, level_kpa
from alerts.gas.blanket_remarks import blanket_remarks
from alerts.gas.common_air import AirWitness, CommonAir
from alerts.gas.fitted_blanket import KPA_DAY_TO_ML_MIN, FittedBlanket, LossRate
from alerts.gas.fitted_episode import FittedEpisode
from alerts.gas.gas_ahead import LossWays, ways_alike
from alerts.gas.heard_air import may_witness
from alerts.gas.leak_evidence import Learned
from alerts.gas.read_air import ReadAir

_HOUR_MS: Final = 3_600_000
# A newest point that is older than this says nothing of now, where nobody says otherwise.
_SILENT_MS: Final = 30 * 60_000
# Without anyone asking, a fit is made after so long all the same, so that steps are noticed.
_FIT_ANYWAY_MS: Final = 12 * _HOUR_MS
# A bin is used so long after its end: a step in it has been noticed by then.
_SETTLE_MS: Final = 7 * 60_000
# A fast leak is one for so long after its last minute, and as long as the vessel is empty.
_FAST_LASTS_MS: Final = 20 * 60_000
_EMPTY_KPA: Final = 2.0
_U_LAW: Final = 0.04
_U_ZERO_KPA: Final = 0.5
_DRAWN_LASTS_MS: Final = 2 * _HOUR_MS
_U_WEATHER_KPA: Final = 1.2


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
        self._silent_ms = silent_ms
        self._episode = FittedEpisode(facts, _SETTLE_MS + later_ms)
        self._minutes = BlanketMinutes()
        self._air = ReadAir()
        self._last: BlanketPoint | None = None
        self._judged_ms = 0
        self._leak_since_ms: int | None = None
        self._from_wine_ms: int | None = None
        self._sound_ms: int | None = None

    def begin_episode(self, at_ms: int, cause: EpisodeCause, facts: BlanketFacts) -> None:
        """Begin a new episode at a time (UTC ms); facts: what holds from then on."""
        episode = self._episode
        before, episode.facts = episode.facts, facts
        if cause in ("filled", "topped", "opened"):
            self._restart(before, same_wine=cause == "topped")
        elif cause == "drawn":
            episode.draw(at_ms, before.filling.wine_l - facts.filling.wine_l)
        elif cause == "probe changed":
            episode.split(Cut(at_ms - 1, at_ms))
            self._minutes.forget_steps()
        elif cause == "charged" and self._leak_since_ms is not None:
            self._restart(before)
        # What is vented, and other charging, shows in the readings as a step.

    def add(self, point: BlanketPoint) -> None:
        """Take a point; one that is not after the last is left out."""
        before, episode, facts = self._last, self._episode, self._episode.facts
        if before is not None and point.at_ms <= before.at_ms:
            return
        self._last = point
        if point.barometer_kpa is not None:
            self._air.add(point.barometer_kpa)
        if not episode.has_begun:
            episode.begin(dry_kpa(point, self._air.or_usual(facts.station_kpa), facts), point.temperature_c)
        minute = self._minutes.gather(point)
        if minute is not None:
            self._close_minute(minute)
        if episode.add(point, None if before is None else before.at_ms) and not self._minutes.may_be_step():
            age_ms = _FIT_ANYWAY_MS if episode.fitted is None else point.at_ms - episode.fitted.at_ms
            if age_ms >= _FIT_ANYWAY_MS or point.at_ms - self._judged_ms < _HOUR_MS:
                self._fit(point)
                self._minutes.has_news = True

    @property
    def shows_air_to_kpa(self) -> float | None:
        """How well the gauge shows others the weather: the noise of what it shows [kPa]. None where it shows none, or
        where more than the weather, dissolving and temperature may move it.
        """
        fitted, last = self._episode.fitted, self._last
        if fitted is None or last is None or not self._weather_hides or self._episode.facts.supply_open:
            return None
        is_leaking = self._leak_since_ms is not None or last.at_ms - self._minutes.fast_ms < _FAST_LASTS_MS
        if is_leaking or self._minutes.stuck is not None or self._from_wine_ms is not None:
            return None
        return fitted.fit.sizes.of_hours if may_witness(fitted, last.pressure_kpa) else None

    def air_witness(self) -> AirWitness | None:
        """Make what the gauge shows others of the weather; None as of ``shows_air_to_kpa``."""
        episode = self._episode
        if episode.fitted is None or self.shows_air_to_kpa is None:
            return None
        return episode.heard.own(episode.fitted, episode.facts)

    def hear(self, witnesses: Sequence[AirWitness]) -> None:
        """Take what other vessels' gauges show of the weather, to be used from the next fit on where no barometer is
        read. Not of vessels that may lose gas together with this one.
        """
        self._episode.heard.hear(witnesses)

    @property
    def has_news(self) -> bool:
        """Whether a judgement may be another than the last one, by more than the newest reading."""
        return self._minutes.has_news or (self._last is not None and self._episode.is_fit_due(self._last.at_ms))

    def judge(self, at_ms: int) -> BlanketJudgement:
        """Judge by what was read up to now, as of a time (UTC ms)."""
        self._minutes.has_news = False
        self._judged_ms = at_ms
        last, episode, facts = self._last, self._episode, self._episode.facts
        if last is None or at_ms - last.at_ms > self._silent_ms:
            nothing_new = f"No pressure with a temperature has been read for {self._silent_ms // 60_000} minutes."
            return BlanketJudgement(at_ms, "no judgement", last_sound_ms=self._sound_ms, warnings=(nothing_new,))
        if episode.is_fit_due(last.at_ms) and not self._minutes.may_be_step():
            self._fit(last)
        known = episode.known()
        common = self._common
        more_kpa = 0.0 if common is None else common.now_kpa
        gas = GasNow(self._level_now(last) + more_kpa, known.w, self._air.or_usual(facts.station_kpa + more_kpa))
        usual = gas._replace(air_kpa=self._air.usual(facts.station_kpa))
        compensated = gauge_at(usual, np.array([facts.reference_c]), facts)
        finding = self._finding(last, gas)
        rate = self._rate(finding)
        hours = self._hours(last, gas, finding, rate)
        if finding.word in ("sound", "cooling", "warming"):
            self._sound_ms = at_ms
        warnings = blanket_remarks(
            finding.word,
            facts,
            days=None if episode.fitted is None else episode.fitted.days,
            u_kappa=None if rate is None or finding.leak_certain else rate.u_kappa,
            has_air=self._air.kpa is not None,
            common=common,
            stuck=self._minutes.stuck,
            is_held=episode.fitted is not None and episode.fitted.is_held,
            is_young=finding.word == "slow leak" and episode.sharp is not None,
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

    def _close_minute(self, mean: BlanketPoint) -> None:
        for cut in self._minutes.close(mean, self._level(mean), self._episode.known(), self._episode.facts):
            self._episode.split(cut)
            if cut.is_past_loss:
                self._leak_since_ms = None
            elif cut.is_unstuck:
                # The last fit believed what the sensor showed.
                self._fit(mean)
            elif cut.kpa > 0.0 and self._leak_since_ms is not None:
                # Gas was let in: what leaked before is over.
                self._restart(self._episode.facts)

    def _fit(self, last: BlanketPoint) -> None:
        """Fit again. What is learned changes the levels: those of before are moved, so that this is no step."""
        before = self._level(last)
        self._episode.fit(last, weather_hides=self._weather_hides, leak_since_ms=self._leak_since_ms)
        self._minutes.shift(self._level(last) - before)

    def _restart(self, before: BlanketFacts, *, same_wine: bool = True) -> None:
        """Forget the readings, but not what they said of headspace and instruments. before: the facts until now."""
        self._episode.restart(before, same_wine=same_wine)
        self._minutes.restart()
        self._leak_since_ms = None
        self._from_wine_ms = None

    @property
    def _weather_hides(self) -> bool:
        """Whether the weather moves the gauge, and no barometer ever showed how."""
        return self._episode.facts.weather_moves and self._air.kpa is None

    @property
    def _common(self) -> CommonAir | None:
        """The air's pressure by other gauges, where the newest fit used it."""
        fitted = self._episode.fitted
        return None if fitted is None else fitted.fit.common

    def _level(self, point: BlanketPoint) -> float:
        facts = self._episode.facts
        return level_kpa(point, self._air.or_usual(facts.station_kpa), self._episode.known(), facts)

    def _level_now(self, last: BlanketPoint) -> float:
        """The level of the last five minutes [kPa]."""
        level = self._minutes.level_of_now(last.at_ms)
        return self._level(last) if level is None else level

    def _hours(self, last: BlanketPoint, gas: GasNow, finding: Finding, rate: LossRate | None) -> HoursLeft:
        fitted, facts = self._episode.fitted, self._episode.facts
        day_c = np.array([last.temperature_c]) if fitted is None else fitted.last_day(last.temperature_c)
        is_losing = rate is not None and (finding.leak_certain or rate.kappa > 2.0 * rate.u_kappa)
        ways = self._ways(finding, rate, last) if rate is not None and is_losing else None
        return hours_left(gas, facts, ways, day_c, last, finding.leak_certain)

    def _ways(self, finding: Finding, rate: LossRate, last: BlanketPoint) -> LossWays:
        """The ways in which gas may be lost: those of the fits; by the minutes, where only these show the loss yet."""
        fitted = self._episode.fitted
        ways = None if fitted is None else fitted.leak.ways
        if ways is None:
            return ways_alike(rate.kappa, rate.u_kappa, self._episode.known().w, last.pressure_kpa)
        if finding.leak_certain and not (finding.word == "fast leak" and self._minutes.fast is not None):
            return ways
        return ways.losing(rate.kappa, rate.u_kappa, last.pressure_kpa)

    def _finding(self, last: BlanketPoint, gas: GasNow) -> Finding:
        if self._minutes.stuck is not None:
            return Finding("no judgement", since_ms=self._minutes.stuck.since_ms)
        if self._episode.facts.supply_open:
            return Finding("supply open")
        fast, is_new = self._minutes.fast, last.at_ms - self._minutes.fast_ms < _FAST_LASTS_MS
        if fast is not None and (is_new or last.pressure_kpa < _EMPTY_KPA):
            return Finding("fast leak", True, fast.since_ms)
        if self._episode.fitted is None:
            return Finding("cannot tell yet")
        return self._fitted_finding(self._episode.fitted, last, gas)

    def _fitted_finding(self, fitted: FittedBlanket, last: BlanketPoint, gas: GasNow) -> Finding:
        facts, sharp = self._episode.facts, self._episode.sharp
        if fitted.is_held:
            return Finding("supply open")
        if is_gain(fitted):
            self._from_wine_ms = None
            return Finding("gas rising", since_ms=fitted.when_ms(fitted.gain.onset_days))
        was_found = self._from_wine_ms is not None
        if from_wine(fitted, facts, has_air=self._air.kpa is not None, was_found=was_found):
            if self._from_wine_ms is None:
                self._from_wine_ms = fitted.when_ms(fitted.days - 1.0)
            return Finding("gas rising", since_ms=self._from_wine_ms)
        self._from_wine_ms = None
        was_certain = self._leak_since_ms is not None
        if is_leak(fitted, facts, last.pressure_kpa, was_certain=was_certain):
            self._leak_since_ms = fitted.when_ms(fitted.leak.onset_days)
        elif sharp is not None and is_young_leak(sharp, facts, last.pressure_kpa):
            self._leak_since_ms = fitted.when_ms(sharp.leak.onset_days)
        elif last.pressure_kpa >= _EMPTY_KPA and not goes_on(fitted):
            self._leak_since_ms = None
        if self._leak_since_ms is not None:
            return leak_finding(fitted, self._leak_since_ms)
        drawn_ms = self._minutes.drawn_ms
        if drawn_ms is not None and last.at_ms - drawn_ms < _DRAWN_LASTS_MS:
            return Finding("drawn", since_ms=drawn_ms)
        if self._minutes.is_falling(self._episode.known().w):
            calm = Finding("cannot tell yet")
        else:
            usual = gas._replace(air_kpa=facts.station_kpa)
            calm = calm_finding(fitted, usual, last.temperature_c, facts)
        return calm

    def _rate(self, finding: Finding) -> LossRate | None:
        """The loss, None where nothing can be said."""
        fast, fitted = self._minutes.fast, self._episode.fitted
        if finding.word == "fast leak" and fast is not None:
            known = self._episode.known()
            kappa, u_kappa = fast.kpa_hour * 24.0, fast.u_kpa_hour * 24.0
            flow = kappa * KPA_DAY_TO_ML_MIN / known.w
            u_flow = abs(flow) * hypot(u_kappa / max(abs(kappa), 1e-9), known.u_w / known.w)
            return LossRate(kappa, u_kappa, flow, u_flow)
        if fitted is None:
            return None
        if finding.word == "gas rising" and self._from_wine_ms is not None:
            return fitted.day_rate()
        if finding.leak_certain or finding.word == "gas rising":
            evidence = fitted.gain if finding.word == "gas rising" else fitted.leak
            # What drives the flow is the gauge, which has an error of zero, by a law that is not quite known.
            share = hypot(_U_LAW, _U_ZERO_KPA / max(0.0 if self._last is None else self._last.pressure_kpa, 1.0))
            u_kappa = hypot(evidence.u_kappa, share * evidence.kappa)
            return LossRate(evidence.kappa, u_kappa, evidence.ml_min, hypot(evidence.u_ml_min, share * evidence.ml_min))
        return fitted.calm_rate()

    def _last_sound(self, leaking_ms: int | None) -> int | None:
        """When it was last sound: not later than a leak began, which is known only afterwards."""
        if self._sound_ms is None or leaking_ms is None:
            return self._sound_ms
        return min(self._sound_ms, leaking_ms)

    def _u_compensated(self, known: Learned, celsius: float) -> float:
        away = abs(celsius - self._episode.facts.reference_c)
        weather = 0.0
        if self._weather_hides:
            weather = _U_WEATHER_KPA if self._common is None else self._common.u_now_kpa
        return float(np.hypot(0.15 + 0.1 * away * known.u_w, weather))
