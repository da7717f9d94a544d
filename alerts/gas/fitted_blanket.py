"""The fits of one moment with what they say, and what follows from them beside the readings."""

from __future__ import annotations

__all__ = ["DAY_MS", "KPA_DAY_TO_ML_MIN", "FittedBlanket", "LossRate", "fitted_blanket"]

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from alerts.gas.air_floor import GasNow, gauge_at
from alerts.gas.blanket_columns import RT0, T0_K
from alerts.gas.blanket_facts import BlanketFacts
from alerts.gas.blanket_fit import BlanketFit
from alerts.gas.blanket_noise import Unexplained, unexplained
from alerts.gas.common_air import AirWitness, air_witness
from alerts.gas.gases import kelvin
from alerts.gas.leak_evidence import ML_MIN_PER_MOL_DAY, LeakEvidence, Learned, leak_evidence, learned
from alerts.gas.sound_fit import DELTA, TAU, W, held_by_tau
from alerts.gas.stuck_sensor import held_by_supply
from alerts.gas.wine_tables import Floats, wine_tables

DAY_MS: Final = 86_400_000
# mL a minute of a kPa a day at T0 in a litre.
KPA_DAY_TO_ML_MIN: Final = ML_MIN_PER_MOL_DAY / RT0
# From this evidence for a leak on, headspace and instruments are those of the fits with it: else they would have to
# explain the loss.
_SUSPICIOUS: Final = 9.0
# By so much two levels a day apart may be off without a leak: drift, barometer, what is not known of the headspace.
_U_DAY_KPA: Final = 0.5
# The first bins, which say what the wine would hold if it were at rest.
_AT_START: Final = 3


class LossRate(NamedTuple):
    """Gas lost: kPa a day at T0, and mL a minute at 0 °C and 101.325 kPa, each with its standard uncertainty."""

    kappa: float
    u_kappa: float
    ml_min: float
    u_ml_min: float


@dataclass(frozen=True, slots=True)
class FittedBlanket:
    """Fits of an episode's bins. at_ms: of the last reading then, UTC ms; is_held: whether a supply holds the gauge."""

    fit: BlanketFit
    learned: Learned
    leak: LeakEvidence
    gain: LeakEvidence
    at_ms: int
    is_held: bool

    @property
    def days(self) -> float:
        """From the first bin to the last."""
        return float(self.fit.columns.days[-1])

    @property
    def unexplained(self) -> Unexplained | None:
        """How much the best fit without a leak leaves to change within two hours; None where too little was read."""
        best = int(self.fit.chi_sound.argmin())
        return unexplained(self.fit.columns, self.fit.left_of(best))

    def air_witness(self, station_kpa: float) -> AirWitness:
        """What the gauge shows of the weather, if it is vented and no barometer is read. station_kpa: mean air
        pressure at the place.
        """
        fit, columns = self.fit, self.fit.columns
        best = int(fit.chi_sound.argmin())
        more = (columns.air - station_kpa) * T0_K / (columns.celsius + kelvin(0.0))
        return air_witness(
            fit.at_ms, fit.explained_by(best) - more, fit.design[best], fit.mean[best], fit.precision[best], fit.sizes
        )

    @property
    def is_suspicious(self) -> bool:
        """Whether a leak explains the readings so much better that fits without one say nothing of the headspace."""
        return self.leak.better > _SUSPICIOUS

    def when_ms(self, days: float) -> int:
        """The time [UTC ms] of days since the first bin."""
        return round(float(self.fit.at_ms[0]) + days * DAY_MS)

    def risen(self, since_days: float) -> float:
        """By how much the pressure at T0 has risen since a time, sudden changes aside [kPa]."""
        columns = self.fit.columns
        level = columns.reduced + self.learned.w * columns.growth
        calm = (np.diff(columns.segment) == 0) & (columns.days[1:] > since_days)
        return float(np.diff(level)[calm].sum())

    def given_off(self, since_days: float, facts: BlanketFacts) -> tuple[float, float]:
        """By how much the gauge has risen since a time because the wine held more gas at the start than its blanket
        did, whatever temperature has done, and its standard uncertainty [kPa at T0].
        """
        fit, columns = self.fit, self.fit.columns
        solubility = wine_tables(facts.filling, facts.gas).solubility_at(columns.celsius[:_AT_START])
        at_rest = float((solubility * columns.dry[:_AT_START]).mean())
        short = fit.prior.content - at_rest
        columns_of = [short[:, None] * columns.filling, columns.filling, short[:, None] * held_by_tau(columns.filling)]
        answered = np.array([fit.answers_to(each) for each in columns_of])
        then = int(np.searchsorted(columns.days, since_days))
        rises = (answered[:, :, -1] - answered[:, :, min(then, len(columns.days) - 2)]).T
        which = [W, DELTA, TAU]
        given = np.sum(rises * fit.theta[:, which], axis=1)
        variance = np.einsum("hi,hij,hj->h", rises, fit.scale * fit.cov[:, which][:, :, which], rises)
        weights = np.exp(-0.5 * (fit.chi_sound - fit.chi_sound.min()) / fit.scale)
        weights = weights / weights.sum()
        mean = float(weights @ given)
        return mean, float(np.sqrt(weights @ (variance + (given - mean) ** 2)))

    def moved_by_temperature(self, gas: GasNow, celsius: float, facts: BlanketFacts) -> float:
        """By how much temperature alone has moved the gauge in six hours [kPa]. celsius: now."""
        columns = self.fit.columns
        before = np.interp(columns.days[-1] - 0.25, columns.days, columns.celsius)
        then, now = gauge_at(gas, np.array([before, celsius]), facts)
        return float(now - then)

    def thermal_swing(self, since_days: float, facts: BlanketFacts) -> float:
        """From lowest to highest, what temperature has made of the gauge since a time [kPa]."""
        columns = self.fit.columns
        since = columns.celsius[columns.days >= min(since_days, columns.days[-2])]
        gas = GasNow(float(columns.reduced[-1]), self.learned.w, facts.station_kpa)
        low, high = gauge_at(gas, np.array([since.min(), since.max()]), facts)
        return float(high - low)

    def last_day(self, celsius: float) -> Floats:
        """The temperatures of the last 24 h [°C], by half hours; only the newest where less is known."""
        if self.days < 0.9:
            return np.array([celsius])
        columns = self.fit.columns
        hours = np.arange(-24.0, 0.0, 0.5) / 24.0
        return np.asarray(np.interp(columns.days[-1] + hours, columns.days, columns.celsius))

    def day_rate(self) -> LossRate:
        """The loss of the last day by the levels alone, whatever the wine has taken up or given off meanwhile."""
        kappa, per = -self.risen(self.days - 1.0), KPA_DAY_TO_ML_MIN / self.learned.w
        u_flow = per * np.hypot(_U_DAY_KPA, kappa * self.learned.u_w / self.learned.w)
        return LossRate(kappa, _U_DAY_KPA, kappa * per, float(u_flow))

    def calm_rate(self) -> LossRate:
        """The loss since the first reading, averaged over the ways of dissolving: how tight the vessel is, at best."""
        fit = self.fit
        weights = np.exp(-0.5 * (fit.chi_leak[:, 0] - fit.chi_leak[:, 0].min()) / fit.scale)
        weights = weights / weights.sum()
        kappa = float(weights @ fit.kappa[:, 0])
        u_kappa = float(np.sqrt(weights @ (fit.scale * fit.u_kappa[:, 0] ** 2 + (fit.kappa[:, 0] - kappa) ** 2)))
        per = KPA_DAY_TO_ML_MIN / self.learned.w
        return LossRate(kappa, u_kappa, kappa * per, u_kappa * per)


def fitted_blanket(fit: BlanketFit, at_ms: int) -> FittedBlanket:
    """Work out what a fit says. at_ms: of the last reading, UTC ms."""
    columns = fit.columns
    said, leak = learned(fit), leak_evidence(fit)
    if leak.better > _SUSPICIOUS:
        said = said._replace(w=leak.w, u_w=leak.u_w, share=leak.share, zero=leak.zero)
    is_held = held_by_supply(
        columns.days,
        columns.absolute - columns.air,
        columns.reduced,
        columns.celsius,
        columns.absolute - columns.dry,
    )
    return FittedBlanket(fit, said, leak, leak_evidence(fit, -1.0), at_ms, is_held)
