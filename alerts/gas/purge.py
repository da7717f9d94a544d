"""Purging: how much oxygen is left in a headspace after gas was swept through it, or pressed in and vented.

    sweep   x = x_s + (x_0 - x_s) exp(-V / V_g)           V: gas let through, as V_g measures it
    vent    x = x_s + (x_0 - x_s) (p_low / p_high)^n       absolute pressures; n: cycles of pressing in and venting

x: mole fraction of oxygen, 20.95 % in air; x_s: in the supply. Both assume perfect mixing (Crowl and Louvar, Chemical
Process Safety). A gas that is colder or heavier than the air and let in gently from below can do better.

Percent is the wrong unit for a big headspace, so the oxygen is also given in mg per litre of wine, of the gas that is
left when purging ends, at the low pressure:

    m = x p_low V_g / (R T) x 31.998 g/mol / V_wine

It costs up to 4.0 mg of SO2 per mg of oxygen: 2 mol per mol in the end (Danilewicz and Standing; Waterhouse et al.,
AJEV 2016; abstracts). Wine returns dissolved oxygen of its own, which is not in these numbers.

Worked example: 0.5 % at sea level takes 9 cycles of 55 kPa, which use 4.9 headspaces of gas, or a sweep of 3.7.
"""

from __future__ import annotations

__all__ = [
    "AIR_O2_PERCENT",
    "MUCH_O2_MG_L",
    "SO2_PER_O2",
    "Purge",
    "PurgeTarget",
    "purge_by_sweep",
    "purge_by_vent",
    "purge_warnings",
]

from dataclasses import dataclass
from math import ceil, exp, log
from typing import Final

from alerts.allowed_range import AllowedRange
from alerts.errors import OutOfRange
from alerts.gas.blanket import BAROMETER_RANGE
from alerts.gas.gases import ATMOSPHERE_KPA, OXYGEN_G_MOL, R_KPA_L_MOL_K, kelvin, standard_l
from alerts.gas.vessel_walls import VESSEL_KINDS, check_pressure, check_vessel_kind
from alerts.gas.wine_density import TEMPERATURE_RANGE
from alerts.number_text import number_text

# Dry air (US Standard Atmosphere 1976).
AIR_O2_PERCENT: Final = 20.95
# g SO2 per g oxygen, in the end: 2 x 64.06 / 32.00.
SO2_PER_O2: Final = 4.0
_HEADSPACE_RANGE: Final = AllowedRange("headspace", 0.001, 1e6, "L", "vessels have")
_WINE_RANGE: Final = AllowedRange("wine", 0.001, 1e6, "L", "vessels hold")
_CYCLES_RANGE: Final = AllowedRange("cycles", 0.0, 1000.0, "", "purges take")
_O2_RANGE: Final = AllowedRange("target oxygen", 1e-6, AIR_O2_PERCENT, "%", "a target is")
_SUPPLY_RANGE: Final = AllowedRange("oxygen of the supply", 0.0, AIR_O2_PERCENT, "%", "a supply has")
_PRESSURE_RANGE: Final = AllowedRange("high pressure", 0.0, 1000.0, "kPa", "purges go")
_LOW_RANGE: Final = AllowedRange(
    "low pressure", 0.0, 1000.0, "kPa", "vessels are not made for a vacuum, so it goes from"
)
# A ratio of logarithms that is a whole number but for rounding needs no cycle more.
_ROUNDING: Final = 1e-9

# More oxygen per litre of wine than this is worth purging further for (a working default, no source).
MUCH_O2_MG_L: Final = 1.0


@dataclass(frozen=True, slots=True)
class PurgeTarget:
    """How far to purge: a number of cycles (of headspaces for a sweep), or the oxygen to reach [%]; exactly one."""

    cycles: float | None = None
    o2_percent: float | None = None


@dataclass(frozen=True, slots=True)
class Purge:
    """A purge as worked out. cycles: of pressing in and venting, or headspaces swept through; o2_percent: oxygen left;
    o2_mg_l: per litre of wine, None without wine; gas_l: gas used, at 15 °C and 101.325 kPa.
    """

    cycles: float
    o2_percent: float
    o2_mg_l: float | None
    gas_l: float

    @property
    def so2_mg_l(self) -> float | None:
        """The most SO2 that the oxygen can cost [mg/L]."""
        return None if self.o2_mg_l is None else SO2_PER_O2 * self.o2_mg_l


def purge_by_vent(
    kind: str,
    headspace_l: float,
    target: PurgeTarget,
    *,
    high_kpa: float,
    low_kpa: float = 0.0,
    stamp_kpa: float | None,
    wine_l: float | None = None,
    temperature_c: float = 15.0,
    barometer_kpa: float = ATMOSPHERE_KPA,
    supply_o2_percent: float = 0.0,
) -> Purge:
    """Work out a purge by pressing gas in and venting; pressures gauge.

    Raises OutOfRange for glass, plastic and barrels, beyond the stamp or without one, and for numbers out of range.
    """
    _check(headspace_l, wine_l, temperature_c, barometer_kpa)
    check_pressure(kind, _PRESSURE_RANGE.checked(high_kpa), stamp_kpa)
    if stamp_kpa is None:
        raise OutOfRange("stamped pressure", "pressing gas in needs the pressure stamped on the vessel")
    if _LOW_RANGE.checked(low_kpa) >= high_kpa:
        raise OutOfRange(
            "low pressure", f"the low pressure of {low_kpa:g} kPa must be below the high one of {high_kpa:g} kPa"
        )
    high, low = high_kpa + barometer_kpa, low_kpa + barometer_kpa
    cycles = target.cycles
    if cycles is None:
        cycles = float(ceil(_depth(target, supply_o2_percent) / log(high / low) - _ROUNDING))
        if cycles > _CYCLES_RANGE.high:
            raise OutOfRange(
                "target oxygen",
                f"{target.o2_percent:g} % oxygen takes {cycles:,.0f} cycles of {high_kpa:g} kPa, more than the "
                f"{_CYCLES_RANGE.high:,.0f} that are worked out: press in to a higher pressure, or purge less far",
            )
    _CYCLES_RANGE.checked(cycles)
    if cycles != int(cycles):
        raise OutOfRange("cycles", f"{cycles:g} cycles of pressing in and venting cannot be; it must be a whole number")
    return _left(
        cycles,
        (low / high) ** cycles,
        headspace_l,
        low,
        gas_l=cycles * standard_l(headspace_l, high - low, temperature_c),
        wine_l=wine_l,
        temperature_c=temperature_c,
        supply_o2_percent=supply_o2_percent,
    )


def purge_by_sweep(
    kind: str,
    headspace_l: float,
    target: PurgeTarget,
    *,
    low_kpa: float = 0.0,
    stamp_kpa: float | None = None,
    wine_l: float | None = None,
    temperature_c: float = 15.0,
    barometer_kpa: float = ATMOSPHERE_KPA,
    supply_o2_percent: float = 0.0,
) -> Purge:
    """Work out a purge by sweeping gas through, with an outlet open; low_kpa: gauge pressure meanwhile, usually 0.

    Raises OutOfRange for a pressure in glass, plastic or a barrel, beyond the stamp, and for numbers out of range.
    """
    _check(headspace_l, wine_l, temperature_c, barometer_kpa)
    check_vessel_kind(kind)
    if _LOW_RANGE.checked(low_kpa) > 0.0:
        check_pressure(kind, low_kpa, stamp_kpa)
    volumes = _depth(target, supply_o2_percent) if target.cycles is None else target.cycles
    _CYCLES_RANGE.checked(volumes)
    absolute = low_kpa + barometer_kpa
    return _left(
        volumes,
        exp(-volumes),
        headspace_l,
        absolute,
        gas_l=volumes * standard_l(headspace_l, absolute, temperature_c),
        wine_l=wine_l,
        temperature_c=temperature_c,
        supply_o2_percent=supply_o2_percent,
    )


def purge_warnings(kind: str, method: str, worked: Purge, headspace_l: float, *, given_high: bool) -> list[str]:
    """List what a purge gives reason to warn of. given_high: whether a pressure to press gas in to was given."""
    warnings = []
    if not VESSEL_KINDS[kind]:
        warnings.append(
            f"keep the outlet wide open while gas flows into a {kind}: its allowed pressure is 0"
            if kind not in ("glass", "plastic")
            else f"keep the outlet wide open while gas flows in: the allowed pressure of {kind} is 0"
        )
    if method == "sweep" and given_high:
        warnings.append("a sweep does not press gas in: the high pressure was not used")
    if worked.o2_mg_l is not None and worked.o2_mg_l > MUCH_O2_MG_L:
        warnings.append(
            f"{number_text(worked.o2_percent, 2)} % sounds little, but in {headspace_l:g} L of headspace it is "
            f"{number_text(worked.o2_mg_l, 2)} mg of oxygen per litre of wine: purge further, or leave less headspace"
        )
    return warnings


def _check(headspace_l: float, wine_l: float | None, temperature_c: float, barometer_kpa: float) -> None:
    _HEADSPACE_RANGE.checked(headspace_l)
    if wine_l is not None:
        _WINE_RANGE.checked(wine_l)
    TEMPERATURE_RANGE.checked(temperature_c)
    BAROMETER_RANGE.checked(barometer_kpa)


def _depth(target: PurgeTarget, supply_o2_percent: float) -> float:
    """The natural logarithm of the factor by which the supply must thin the air to reach the target."""
    supply = _SUPPLY_RANGE.checked(supply_o2_percent)
    wanted = _O2_RANGE.checked(float("nan") if target.o2_percent is None else target.o2_percent)
    if wanted <= supply:
        raise OutOfRange(
            "target oxygen",
            f"{wanted:g} % oxygen cannot be reached with a supply that has {supply:g} %; the target must be above",
        )
    return log((AIR_O2_PERCENT - supply) / (wanted - supply))


def _left(
    cycles: float,
    share: float,
    headspace_l: float,
    absolute_kpa: float,
    *,
    gas_l: float,
    wine_l: float | None,
    temperature_c: float,
    supply_o2_percent: float,
) -> Purge:
    """The purge after which this share of the air's excess of oxygen is left, at an absolute pressure."""
    supply = _SUPPLY_RANGE.checked(supply_o2_percent)
    o2_percent = supply + (AIR_O2_PERCENT - supply) * share
    o2_mol = o2_percent / 100.0 * absolute_kpa * headspace_l / (R_KPA_L_MOL_K * kelvin(temperature_c))
    o2_mg_l = None if wine_l is None else 1000.0 * OXYGEN_G_MOL * o2_mol / wine_l
    return Purge(cycles, o2_percent, o2_mg_l, gas_l)
