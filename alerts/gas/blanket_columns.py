"""The readings of a blanket as the columns of a linear regression.

With u = p_dry T0 / T, the pressure reduced to one temperature by the ideal gas law, and w = 1 / V20:

    u = alpha - w (u dV + R T0 V_wine (q - c_mean e)) + delta R T0 V_wine e - kappa G + s S + z Z + noise

    dV(T)      growth of the headspace against 20 °C: walls less wine
    q, e       what the wine has taken up by then of what lies over it, and 1 - exp(-t/tau), for a time constant tau of
               dissolving: q' = (H p - q) / tau. Both follow from what was measured; c: what it held at the start
    G          gas lost since the onset of a leak, 1 a day at the present pressure, by viscous flow or an orifice
    S          what warmer gas adds: u (T_room - T) / T; without a room probe T_room - T is a lag of 6 h times dT/dt
    Z          T - 20 °C: the thermal zero of the instrument

So all that is unknown is linear (alpha, w, delta, kappa, s, z), for a given tau and onset, and comparing the fits
distinguishes a leak from dissolving. alpha and kappa are kPa and kPa a day at T0 = 288.15 K.
"""

from __future__ import annotations

__all__ = ["RT0", "SETTLING", "T0_K", "TAUS_D", "BlanketColumns", "blanket_columns", "taken_up"]

from typing import Final, NamedTuple

import numpy as np

from alerts.gas.blanket_bins import BinArrays
from alerts.gas.blanket_facts import BlanketFacts
from alerts.gas.gases import R_KPA_L_MOL_K, kelvin
from alerts.gas.wine_tables import Floats, wine_tables

T0_K: Final = 288.15
RT0: Final = R_KPA_L_MOL_K * T0_K
DAY_MS: Final = 86_400_000.0

TAUS_D: Final = 0.2 * 1.9 ** np.arange(10.0)
# How wine may dissolve gas, each row the share of the wine that follows with each time constant. None at all; all of it
# with one (stirred by thermal convection: k_L from 1e-7 to 3e-5 m/s); and still wine, where diffusion reaches deeper
# with the root of time: 2 sqrt(D t / pi) with D = 1.2e-9 m²/s in a column of half a metre, and the same five times as
# fast.
_STILL: Final = 0.022 * np.diff(np.sqrt(TAUS_D), prepend=0.0)
SETTLING: Final = np.vstack([np.zeros(10), np.eye(10), _STILL, 5.0 * _STILL])
# How the wine lags behind the room, where no probe reads the room: 6 h for a full 19 L keg in still air.
_LAG_D: Final = 0.25


class BlanketColumns(NamedTuple):
    """Columns by bin (rows); those of settling by hypothesis, too: (hypotheses, bins).

    days: since the first bin; reduced: u, kPa; growth: u dV, kPa L; uptake: q in kPa L by hypothesis; filling: e in kPa
    L per (mol/L) by hypothesis; gas, zero: S, Z; lost: G since the first bin, in days at the present pressure, by law
    of flow; absolute, air, dry: kPa; segment: how many jumps lie before the bin; wine_kpa_l_mol: R T0 V_wine, kPa L per
    mol/L.
    """

    days: Floats
    reduced: Floats
    growth: Floats
    uptake: Floats
    filling: Floats
    gas: Floats
    zero: Floats
    lost: Floats
    absolute: Floats
    air: Floats
    dry: Floats
    celsius: Floats
    segment: Floats
    wine_kpa_l_mol: float


def blanket_columns(bins: BinArrays, facts: BlanketFacts, air_more_kpa: Floats | None = None) -> BlanketColumns:
    """Make the columns of at least two bins. air_more_kpa: by how much the air's pressure is more than was read or is
    usual at the place.
    """
    days = (bins.at_ms - bins.at_ms[0]) / DAY_MS
    tables = wine_tables(facts.filling, facts.gas)
    celsius = bins.temperature_c
    air = held(bins.barometer_kpa, facts.station_kpa)
    if air_more_kpa is not None:
        air = air + air_more_kpa
    absolute = bins.pressure_kpa + air
    dry = absolute - tables.vapour_at(celsius)
    warm = celsius + kelvin(0.0)
    reduced = dry * T0_K / warm
    wine = RT0 * facts.filling.wine_l
    filled = 1.0 - np.exp(-days / TAUS_D[:, None])
    lead = np.where(np.isnan(bins.room_c), _LAG_D * _slope(days, celsius), bins.room_c - celsius)
    return BlanketColumns(
        days=days,
        reduced=reduced,
        growth=reduced * tables.growth_at(celsius),
        uptake=taken_up(days, tables.solubility_at(celsius) * dry, facts),
        filling=wine * (SETTLING @ filled),
        gas=reduced * lead / warm,
        zero=celsius - 20.0,
        lost=_lost(days, absolute, air),
        absolute=absolute,
        air=air,
        dry=dry,
        celsius=celsius,
        segment=bins.segment,
        wine_kpa_l_mol=wine,
    )


def taken_up(days: Floats, pull: Floats, facts: BlanketFacts) -> Floats:
    """Work out what the wine has taken up by each bin: (hypotheses, bins) [kPa L]. pull: what it would hold if it were
    saturated then [mol/L].
    """
    followed = np.array([_followed(days, pull, tau) for tau in TAUS_D])
    return np.asarray(RT0 * facts.filling.wine_l * (SETTLING @ followed))


def held(values: Floats, before: float) -> Floats:
    """Fill what is missing (NaN) with the last value before it; at the start with the first one, or ``before``."""
    known = ~np.isnan(values)
    if known.all():
        return values
    if not known.any():
        return np.full_like(values, before)
    last = np.maximum.accumulate(np.where(known, np.arange(len(values)), 0))
    return np.where(known[last], values[last], values[np.argmax(known)])


def _followed(days: Floats, pull: Floats, tau_d: float) -> Floats:
    """Solve q' = (pull - q) / tau from q = 0, with the pull steady over each step at the mean of its ends.

    Summed with growing weights exp(t/tau); 24 days with the shortest time constant reach exp(120), far from too large.
    """
    steps = np.diff(np.exp((days - days[-1]) / tau_d))
    sums = np.concatenate([[0.0], np.cumsum(steps * 0.5 * (pull[1:] + pull[:-1]))])
    return np.asarray(sums / np.exp((days - days[-1]) / tau_d))


def _slope(days: Floats, celsius: Floats) -> Floats:
    """The slope of the temperature [K/d] by differences over about two hours, smooth enough for coarse probes."""
    reach = 1.0 / 12.0
    later = np.minimum(days + 0.5 * reach, days[-1])
    earlier = np.maximum(later - reach, days[0])
    later = np.minimum(earlier + reach, days[-1])
    span = np.maximum(later - earlier, 1e-3)
    return np.asarray((np.interp(later, days, celsius) - np.interp(earlier, days, celsius)) / span)


def _lost(days: Floats, absolute: Floats, air: Floats) -> Floats:
    """The gas that a leak lets out since the start, 1 a day at the pressure of the end: (laws, bins).

    By viscous flow through a long narrow way, (P² - P_air²), and through an orifice, the root of the gauge pressure.
    """
    gauge = np.maximum(absolute - air, 0.0)
    drives = np.array([gauge * (absolute + air), np.sqrt(gauge)])
    # Less than 1 kPa at the end is hardly a drive: then in days at that.
    last = np.array([2.0 * float(air[-1]), 1.0])
    now = np.maximum(drives[:, -3:].mean(axis=1), last)
    drives = np.maximum(drives, 1e-3 * now[:, None])
    # Between two bins a drive fades evenly on a logarithmic scale: its mean there is the logarithmic mean.
    ratio = np.log(drives[:, 1:] / drives[:, :-1])
    even = 0.5 * (drives[:, 1:] + drives[:, :-1])
    mean = np.where(np.abs(ratio) > 1e-3, np.diff(drives, axis=1) / np.where(ratio == 0.0, 1.0, ratio), even)
    sums = np.cumsum(np.diff(days) * mean, axis=1)
    return np.asarray(np.concatenate([np.zeros((2, 1)), sums], axis=1) / now[:, None])
