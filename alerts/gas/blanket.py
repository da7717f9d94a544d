"""The gas over a vessel's wine as an amount, and the pressure that a tight vessel would have at another temperature.

    p_abs  = p_gauge + p_air                      p_air: air pressure at the place, not at sea level
    p_dry  = p_abs - p_v(t)                       vapour off first
    V_wine = V_wine,20 rho(20 °C) / rho(t)        OIML R 22
    V_gas  = V_vessel,20 (1 + beta (t - 20 °C)) - V_wine
    n_gas  = p_dry V_gas / (Z R T)
    n_dissolved = H(t) p_dry V_wine               at equilibrium with the headspace

There is no single no-leak pressure at another temperature, there is a band:

    frozen       n_gas stays, for hours: the dissolved gas has no time to move
    equilibrium  n_gas + n_dissolved stays, after days to months: it has all the time

The band holds for a wine that was at equilibrium with its headspace at the first state. A wine that was not, because
it was charged or racked shortly before, goes on dissolving gas, and can end far below both edges without a leak.
Left out: compressibility of wine and give of the walls (together below 2 mL per 55 kPa), extract, sugar.

Worked example: 19 L of steel with 18.5 L of wine of 12 % vol under nitrogen of 55 kPa at 20 °C; at 10 °C the gauge of a
tight vessel shows 40.1 kPa (frozen) to 36.1 kPa (equilibrium). The ideal gas law alone says 49.7 kPa.
"""

from __future__ import annotations

__all__ = [
    "BAROMETER_RANGE",
    "GAUGE_RANGE",
    "Blanket",
    "BlanketState",
    "BlanketUncertainty",
    "Filling",
    "blanket",
    "blanket_uncertainty",
]

from dataclasses import dataclass, replace
from math import hypot
from typing import Final

from alerts.allowed_range import AllowedRange
from alerts.errors import OutOfRange
from alerts.gas.compressibility import blanket_z
from alerts.gas.gases import ATMOSPHERE_KPA, R_KPA_L_MOL_K, BlanketGas, kelvin
from alerts.gas.over_wine import U_ETHANOL_SHARE, gas_solubility, vapour_pressure_kpa
from alerts.gas.vessel_walls import wall_expansion
from alerts.gas.wine_density import ALCOHOL_RANGE, TEMPERATURE_RANGE, wine_density

CAPACITY_RANGE: Final = AllowedRange("capacity", 0.1, 1e6, "L", "vessels hold")
WINE_RANGE: Final = AllowedRange("wine", 0.0, 1e6, "L", "vessels hold")
# Beyond a blanket lies a full vacuum on one side; on the other the solubility law, and what vessels are stamped with.
GAUGE_RANGE: Final = AllowedRange("pressure", -100.0, 1000.0, "kPa", "a blanket has")
BAROMETER_RANGE: Final = AllowedRange("barometer", 50.0, 110.0, "kPa", "the air has")
_REFERENCE_RANGE: Final = TEMPERATURE_RANGE._replace(name="reference temperature")
# An ideal gas would have up to this much more pressure, at 1,000 kPa.
_IDEAL_SHARE: Final = 1.1
# Z changes so little that this many rounds are more than enough.
_ROUNDS: Final = 8
# Slopes are taken over this share of an uncertainty, so that even a small headspace stays above 0.
_STEP: Final = 0.01


@dataclass(frozen=True, slots=True)
class Filling:
    """A vessel and the wine in it: capacity and wine in L, both at 20 °C; material steel, glass or rigid; % vol."""

    capacity_l: float
    wine_l: float
    alcohol_percent_vol: float = 12.0
    material: str = "steel"

    def wine_at(self, temperature_c: float) -> float:
        """Work out the volume of the wine [L] at a temperature. Raises OutOfRange."""
        alcohol = self.alcohol_percent_vol
        return self.wine_l * wine_density(alcohol, 20.0) / wine_density(alcohol, temperature_c)

    def headspace_at(self, temperature_c: float) -> float:
        """Work out the gas volume [L] at a temperature. Raises OutOfRange if the vessel would be full of liquid."""
        vessel_l = self.capacity_l * (1.0 + wall_expansion(self.material) * (temperature_c - 20.0))
        headspace_l = vessel_l - self.wine_at(temperature_c)
        if headspace_l <= 0.0:
            raise OutOfRange(
                "headspace",
                f"{self.wine_l:g} L of wine fill the {self.capacity_l:g} L vessel at {temperature_c:g} °C: headspace "
                f"{headspace_l:.3g} L, it must be above 0; look at the two volumes, and always leave a headspace",
            )
        return headspace_l


@dataclass(frozen=True, slots=True)
class BlanketState:
    """A gas over wine as it is read: gauge pressure and air pressure at the place in kPa, temperature in °C."""

    gas: BlanketGas
    pressure_kpa: float
    temperature_c: float
    barometer_kpa: float = ATMOSPHERE_KPA


@dataclass(frozen=True, slots=True)
class Blanket:
    """The gas over a wine: dry amounts in mmol, and the edges of the no-leak band [kPa gauge]."""

    headspace_l: float
    headspace_mmol: float
    dissolved_mmol: float
    dry_kpa: float
    vapour_kpa: float
    reference_headspace_l: float
    frozen_kpa: float
    equilibrium_kpa: float


@dataclass(frozen=True, slots=True)
class BlanketUncertainty:
    """Standard uncertainties of a blanket's numbers, in their units."""

    headspace_l: float
    headspace_mmol: float
    dissolved_mmol: float
    frozen_kpa: float
    equilibrium_kpa: float


def blanket(
    filling: Filling,
    state: BlanketState,
    reference_c: float,
    *,
    wine_factor: float | None = None,
    ethanol_share: float = 1.0,
) -> Blanket:
    """Work out the gas over a wine, and the no-leak gauge pressure at a reference temperature as a band.

    -5 to 40 °C, -100 to 1,000 kPa gauge. Raises OutOfRange for these, for a headspace that is not above 0 at either
    temperature, for a pressure that the wine's vapour alone would exceed, and above 1,000 kPa at the reference.
    The air's pressure stays the same. wine_factor, ethanol_share: for the uncertainty of solubility and vapour.
    """
    _check(filling, state, reference_c)
    gas, at_c = state.gas, state.temperature_c
    vapour = vapour_pressure_kpa(filling.alcohol_percent_vol, at_c, ethanol_share)
    absolute = state.pressure_kpa + state.barometer_kpa
    dry = absolute - vapour
    if dry <= 0.0:
        raise OutOfRange(
            "pressure",
            f"{state.pressure_kpa:g} kPa gauge is {absolute:.4g} kPa absolute, less than the {vapour:.3g} kPa of the "
            f"wine's vapour; it must be above {vapour - state.barometer_kpa:.4g} kPa gauge",
        )
    headspace = filling.headspace_at(at_c)
    gas_mol = dry * _capacity(gas, dry, headspace, at_c)
    dissolved_mol = dry * gas_solubility(gas, at_c, wine_factor) * filling.wine_at(at_c)
    reference_headspace = filling.headspace_at(reference_c)
    dissolving = gas_solubility(gas, reference_c, wine_factor) * filling.wine_at(reference_c)
    to_gauge = vapour_pressure_kpa(filling.alcohol_percent_vol, reference_c, ethanol_share) - state.barometer_kpa
    return Blanket(
        headspace_l=headspace,
        headspace_mmol=1000.0 * gas_mol,
        dissolved_mmol=1000.0 * dissolved_mol,
        dry_kpa=dry,
        vapour_kpa=vapour,
        reference_headspace_l=reference_headspace,
        frozen_kpa=to_gauge + _pressure(gas, gas_mol, reference_headspace, reference_c, 0.0, dry),
        equilibrium_kpa=to_gauge
        + _pressure(gas, gas_mol + dissolved_mol, reference_headspace, reference_c, dissolving, dry),
    )


def blanket_uncertainty(
    filling: Filling, state: BlanketState, reference_c: float, *, u_wine_l: float, u_pressure_kpa: float, u_c: float
) -> BlanketUncertainty:
    """Work out standard uncertainties from those of wine [L], pressure [kPa] and temperature [K], of solubility and of
    ethanol's vapour, combined as independent by the slopes there (GUM, ISO/IEC Guide 98-3). Raises OutOfRange as
    ``blanket`` does.
    """
    factor, u_factor = state.gas.wine_factor, state.gas.u_wine_factor
    room_l = min(filling.headspace_at(state.temperature_c), filling.headspace_at(reference_c))
    dry_kpa = blanket(filling, state, reference_c).dry_kpa

    def with_wine(step: float) -> Blanket:
        return blanket(replace(filling, wine_l=filling.wine_l + step), state, reference_c)

    def with_pressure(step: float) -> Blanket:
        kpa = GAUGE_RANGE.nearest(state.pressure_kpa + step)
        return blanket(filling, replace(state, pressure_kpa=kpa), reference_c)

    def with_temperature(step: float) -> Blanket:
        celsius = TEMPERATURE_RANGE.nearest(state.temperature_c + step)
        return blanket(filling, replace(state, temperature_c=celsius), reference_c)

    def with_factor(step: float) -> Blanket:
        return blanket(filling, state, reference_c, wine_factor=factor + step)

    def with_ethanol(step: float) -> Blanket:
        return blanket(filling, state, reference_c, ethanol_share=1.0 + step)

    parts = []
    for with_step, u_part, most in (
        (with_wine, u_wine_l, min(room_l, filling.wine_l)),
        (with_pressure, u_pressure_kpa, dry_kpa),
        # Wine expands by less than 0.001 per K, so this leaves headspace.
        (with_temperature, u_c, min(1.0, room_l / filling.capacity_l / 0.001)),
        (with_factor, u_factor, factor),
        (with_ethanol, U_ETHANOL_SHARE, 1.0),
    ):
        step = min(_STEP * u_part, _STEP * most)
        if step > 0.0:
            # A vessel that is full at 20 °C has no room for more wine.
            up = 0.0 if with_step is with_wine else step
            parts.append((u_part / (step + up), with_step(-step), with_step(up)))

    def u(name: str) -> float:
        return hypot(*(scale * (getattr(high, name) - getattr(low, name)) for scale, low, high in parts))

    return BlanketUncertainty(
        headspace_l=u("headspace_l"),
        headspace_mmol=u("headspace_mmol"),
        dissolved_mmol=u("dissolved_mmol"),
        frozen_kpa=u("frozen_kpa"),
        equilibrium_kpa=u("equilibrium_kpa"),
    )


def _check(filling: Filling, state: BlanketState, reference_c: float) -> None:
    CAPACITY_RANGE.checked(filling.capacity_l)
    if WINE_RANGE.checked(filling.wine_l) > filling.capacity_l:
        raise OutOfRange(
            "wine",
            f"{filling.wine_l:g} L of wine do not go into {filling.capacity_l:g} L: the headspace would be below zero; "
            f"allowed are 0 to less than {filling.capacity_l:g} L, both at 20 °C",
        )
    ALCOHOL_RANGE.checked(filling.alcohol_percent_vol)
    wall_expansion(filling.material)
    GAUGE_RANGE.checked(state.pressure_kpa)
    TEMPERATURE_RANGE.checked(state.temperature_c)
    BAROMETER_RANGE.checked(state.barometer_kpa)
    _REFERENCE_RANGE.checked(reference_c)


def _capacity(gas: BlanketGas, dry_kpa: float, headspace_l: float, temperature_c: float) -> float:
    """The gas that a headspace holds per kPa [mol/kPa]."""
    return headspace_l / (blanket_z(gas, dry_kpa, temperature_c) * R_KPA_L_MOL_K * kelvin(temperature_c))


def _pressure(
    gas: BlanketGas, amount_mol: float, headspace_l: float, temperature_c: float, dissolving: float, start_kpa: float
) -> float:
    """The dry pressure [kPa] of an amount in a headspace and, per kPa, ``dissolving`` mol in the wine."""
    ideal = amount_mol / (headspace_l / (R_KPA_L_MOL_K * kelvin(temperature_c)) + dissolving)
    if ideal > _IDEAL_SHARE * (GAUGE_RANGE.high + ATMOSPHERE_KPA):
        raise OutOfRange(
            "reference temperature",
            f"at {temperature_c:g} °C, with {headspace_l:.2g} L of headspace, the pressure without a leak is beyond "
            f"the {GAUGE_RANGE.high:g} kPa that this arithmetic holds for; let gas out, or leave more headspace",
        )
    pressure = start_kpa
    for _ in range(_ROUNDS):
        pressure = amount_mol / (_capacity(gas, pressure, headspace_l, temperature_c) + dissolving)
    return pressure
