"""What is known of headspace, instruments and dissolved gas before an episode's first reading, and after another."""

from __future__ import annotations

__all__ = ["first_prior", "later_prior", "prior_after_leak", "settling_bound"]

from dataclasses import replace
from typing import Final

import numpy as np

from alerts.gas.blanket_columns import RT0, SETTLING, TAUS_D
from alerts.gas.blanket_facts import BlanketFacts
from alerts.gas.blanket_fit import BlanketFit
from alerts.gas.gases import BlanketGas
from alerts.gas.leak_evidence import Learned
from alerts.gas.sound_fit import DELTA, BlanketPrior, S, W, Z
from alerts.gas.wine_tables import wine_tables

# Nitrogen in dry air, by volume (US Standard Atmosphere 1976, from memory).
_NITROGEN_OF_AIR: Final = 0.7808
# Solubility of nitrogen over that of argon: nitrogen that leaves the wine makes up for so much argon that goes in.
_NITROGEN_FOR_ARGON: Final = 0.45
# How far headspace gas is from the wine's temperature towards the room's: mean and standard deviation. At the wall the
# probe itself is between wine and room, and the share can be of either sign.
_SHARE: Final = {"wine": (0.3, 0.25), "wall": (0.1, 0.4)}
# Thermal zero of a transmitter, kPa/K: 0.01 to 0.03 % of a span of 200 kPa per K.
_ZERO_KPA_K: Final = 0.04
# The time constants of neighbouring hypotheses are a factor of 1.9 apart.
_TAU_SHARE: Final = 0.4
# Mass transfer at the surface of wine that is fully mixed, m/s.
_MIXED_M_S: Final = 1e-5
_LEAST_HEADSPACE_L: Final = 0.05


def first_prior(facts: BlanketFacts, dry_kpa: float, celsius: float) -> BlanketPrior:
    """Make the prior of a first episode. dry_kpa: the blanket's dry pressure at its first reading; celsius: then."""
    hypotheses = len(SETTLING)
    believed = max(facts.filling.capacity_l - facts.filling.wine_l, _LEAST_HEADSPACE_L)
    w = 1.0 / believed
    u_w = facts.u_wine_l * w * w
    mean, u_mean = dissolved_kpa(facts, dry_kpa)
    solubility = float(wine_tables(facts.filling, facts.gas).solubility_at(np.array([celsius]))[0])
    share, u_share = _SHARE[facts.mounted]
    if facts.mounted == "wall":
        u_share += 0.3 * min(w, 3.0)
    deviations = np.array([u_w, w * solubility * u_mean, u_share, _ZERO_KPA_K, _TAU_SHARE * w])
    precision = np.broadcast_to(np.diag(deviations**-2.0), (hypotheses, 5, 5))
    return BlanketPrior(
        mean=np.broadcast_to(np.array([w, 0.0, share, 0.0, 0.0]), (hypotheses, 5)),
        precision=precision,
        content=np.full(hypotheses, solubility * mean),
        penalty=np.zeros(hypotheses),
    )


def dissolved_kpa(facts: BlanketFacts, dry_kpa: float) -> tuple[float, float]:
    """Give the pressure of the blanket's gas that the wine is in equilibrium with, and its standard deviation [kPa]."""
    low, high = _from_air(facts.gas, facts.station_kpa, dry_kpa), max(dry_kpa, 0.0)
    if low > high:
        low, high = high, low
    width = max(high - low, 2.0)
    match facts.wine_before:
        case "from air":
            return low, 8.0
        case "under gas":
            return low + 0.8 * width, 0.25 * width + 3.0
        case "resting":
            return low + 0.95 * width, 0.1 * width + 3.0
        case "unknown":
            return low + 0.5 * width, 0.35 * width + 12.0


def _from_air(gas: BlanketGas, station_kpa: float, dry_kpa: float) -> float:
    if gas.name == "nitrogen":
        return _NITROGEN_OF_AIR * station_kpa
    if gas.name == "argon":
        return _NITROGEN_OF_AIR * station_kpa * _NITROGEN_FOR_ARGON
    return 0.2 * dry_kpa


def later_prior(fit: BlanketFit, before: BlanketFacts, facts: BlanketFacts, *, same_wine: bool = True) -> BlanketPrior:
    """Make the prior of an episode that follows another: before: the facts of that one, facts: those of the new one.

    The instruments stay what they are. As long as vessel and wine are the same, the headspace is what was learned, less
    what was topped up, and the wine's content is what it had become by then.
    """
    columns, theta, cov = fit.columns, fit.theta, fit.scale * fit.cov
    fresh = first_prior(facts, float(columns.dry[-1]), float(columns.celsius[-1]))
    mean, precision = fresh.mean.copy(), fresh.precision.copy()
    kept = [S - 1, Z - 1]
    w = np.maximum(theta[:, W] + fit.w_changes, fit.least_w)
    content, penalty = fresh.content, fresh.penalty
    topped_l = facts.filling.wine_l - before.filling.wine_l
    if same_wine and _is_same(before, facts):
        kept = [W - 1, S - 1, Z - 1]
        solubility = wine_tables(facts.filling, facts.gas).solubility_at(columns.celsius)
        pull = float(solubility[-1] * columns.dry[-1])
        share = SETTLING @ np.exp(-columns.days[-1] / TAUS_D) + (1.0 - SETTLING.sum(axis=1))
        start = fit.prior.content + theta[:, DELTA] / w
        content = share * start + (1.0 - share) * pull
        precision[:, DELTA - 1, DELTA - 1] = (w * pull * 0.1) ** -2.0
        penalty = np.minimum((fit.chi_sound - fit.chi_sound.min()) / fit.scale, 25.0)
        mean[:, W - 1] = 1.0 / np.maximum(1.0 / w - topped_l, _LEAST_HEADSPACE_L)
    for each in kept:
        variance = cov[:, each + 1, each + 1]
        if each == W - 1:
            # As sure of the litres as before.
            variance = variance * (mean[:, each] / w) ** 4
        else:
            mean[:, each] = theta[:, each + 1]
        precision[:, each, each] = 1.0 / (variance + (0.02 * mean[:, each]) ** 2 + 1e-6)
    return BlanketPrior(mean, precision, content, penalty)


def _is_same(before: BlanketFacts, facts: BlanketFacts) -> bool:
    """Whether vessel, strength and gas stayed what they were."""
    return replace(facts.filling, wine_l=before.filling.wine_l) == before.filling and facts.gas == before.gas


def prior_after_leak(
    learned: Learned, fit: BlanketFit, before: BlanketFacts, facts: BlanketFacts, *, same_wine: bool = True
) -> BlanketPrior:
    """Make the prior of an episode after one with a leak: headspace and instruments as in ``later_prior``, but as
    the fits with the leak have them, which is all that ``learned`` says; the wine may hold anything.
    """
    columns = fit.columns
    fresh = first_prior(facts, float(columns.dry[-1]), float(columns.celsius[-1]))
    mean, precision = fresh.mean.copy(), fresh.precision.copy()
    mean[:, S - 1], mean[:, Z - 1] = learned.share, learned.zero
    if same_wine and _is_same(before, facts):
        w = 1.0 / max(1.0 / learned.w - (facts.filling.wine_l - before.filling.wine_l), _LEAST_HEADSPACE_L)
        # As sure of the litres as before.
        u_w = learned.u_w * (w / learned.w) ** 2
        mean[:, W - 1], precision[:, W - 1, W - 1] = w, 1.0 / (u_w**2 + (0.02 * w) ** 2)
    return fresh._replace(mean=mean, precision=precision)


def settling_bound(facts: BlanketFacts, w: float, reduced_kpa: float, celsius: float) -> float:
    """Give the fastest fall of the pressure by dissolving [kPa/h]: full mixing (k_L 1e-5 m/s) into wine that holds as
    little as wine can, by the surface of a slim keg of that much wine.
    """
    low = _from_air(facts.gas, facts.station_kpa, reduced_kpa) if facts.gas.name != "carbon dioxide" else 0.0
    solubility = float(wine_tables(facts.filling, facts.gas).solubility_at(np.array([celsius]))[0])
    surface_m2 = 0.0346 * max(facts.filling.capacity_l / 19.0, 0.01) ** (2.0 / 3.0)
    litres_h = _MIXED_M_S * surface_m2 * 1000.0 * 3600.0
    return float(max(RT0 * w * litres_h * solubility * (reduced_kpa - low), 0.0))
