"""`leeside bench blanket`: how much gas lies over a wine, and what a tight vessel would show at another temperature."""

from __future__ import annotations

__all__ = ["EXAMPLE", "blanket_"]

from typing import Annotated, Final

import typer

from alerts.command.benches.answer import finite_number, print_answer
from alerts.command.gas_options import Barometer, GasName, as_gas_option, not_below_zero
from alerts.command.options import Json
from alerts.errors import OutOfRange
from alerts.gas.blanket import BlanketState, Filling, blanket, blanket_uncertainty
from alerts.gas.blanket_warnings import blanket_warnings
from alerts.gas.cautions import PRESSURE_CAUTIONS
from alerts.gas.gases import STANDARD_L_MOL, blanket_gas
from alerts.number_text import number_text

EXAMPLE: Final = (
    "Example: leeside bench blanket --gas nitrogen --capacity-l 19 --wine-l 18.5 --alcohol 12 --pressure-kpa 55 "
    "--temperature 20 --reference-temperature 10"
)


def blanket_(
    gas: GasName,
    capacity: Annotated[str, typer.Option("--capacity-l", metavar="L", help="The vessel when brimful, at 20 °C.")],
    wine: Annotated[str, typer.Option("--wine-l", metavar="L", help="The wine in it, at 20 °C.")],
    pressure: Annotated[str, typer.Option("--pressure-kpa", metavar="KPA", help="Gauge pressure, kPa.")],
    temperature: Annotated[
        str, typer.Option("--temperature", metavar="CELSIUS", help="Temperature of wine and gas, °C, -5 to 40.")
    ],
    reference: Annotated[
        str,
        typer.Option("--reference-temperature", metavar="CELSIUS", help="The other temperature, °C, -5 to 40."),
    ] = "15",
    alcohol: Annotated[str, typer.Option("--alcohol", metavar="PERCENT", help="Alcohol in % vol, 0 to 20.")] = "12",
    barometer: Barometer = "101.325",
    material: Annotated[
        str, typer.Option("--material", metavar="MATERIAL", help="The walls: steel, glass or rigid (no expansion).")
    ] = "steel",
    u_wine: Annotated[
        str, typer.Option("--u-wine-l", metavar="U", help="Standard uncertainty of the wine's volume, L.")
    ] = "0.1",
    u_pressure: Annotated[
        str, typer.Option("--u-pressure-kpa", metavar="U", help="Standard uncertainty of the pressure, kPa.")
    ] = "0.5",
    u_temperature: Annotated[
        str, typer.Option("--u-temperature", metavar="U", help="Standard uncertainty of the temperature, °C.")
    ] = "0.3",
    as_json: Json = False,
) -> None:
    """Work out the gas over a wine, and the pressure without a leak at another temperature."""
    filling = Filling(
        finite_number(capacity, "--capacity-l"),
        finite_number(wine, "--wine-l"),
        finite_number(alcohol, "--alcohol"),
        material,
    )
    reference_c = finite_number(reference, "--reference-temperature")
    u_wine_l, u_kpa, u_c = (
        not_below_zero(u_wine, "--u-wine-l"),
        not_below_zero(u_pressure, "--u-pressure-kpa"),
        not_below_zero(u_temperature, "--u-temperature"),
    )
    try:
        state = BlanketState(
            blanket_gas(gas),
            finite_number(pressure, "--pressure-kpa"),
            finite_number(temperature, "--temperature"),
            finite_number(barometer, "--barometer-kpa"),
        )
        worked = blanket(filling, state, reference_c)
        u = blanket_uncertainty(filling, state, reference_c, u_wine_l=u_wine_l, u_pressure_kpa=u_kpa, u_c=u_c)
    except OutOfRange as error:
        raise as_gas_option(error) from error
    litres = number_text(worked.headspace_mmol / 1000.0 * STANDARD_L_MOL, 3)
    lines = [
        f"headspace: {number_text(worked.headspace_l, 4)} L at {state.temperature_c:g} °C, standard uncertainty "
        f"{number_text(u.headspace_l, 2)} L; {number_text(worked.reference_headspace_l, 4)} L at {reference_c:g} °C",
        f"{state.gas.name} in it: {number_text(worked.headspace_mmol, 4)} mmol, standard uncertainty "
        f"{number_text(u.headspace_mmol, 2)} mmol ({litres} L at 15 °C and 101.325 kPa)",
        f"dissolved in the wine at equilibrium: {number_text(worked.dissolved_mmol, 4)} mmol, standard uncertainty "
        f"{number_text(u.dissolved_mmol, 2)} mmol",
        f"pressure without a leak at {reference_c:g} °C: {worked.frozen_kpa:.1f} kPa after hours (dissolved gas frozen "
        f"in place), {worked.equilibrium_kpa:.1f} kPa after days to months (equilibrium)",
        f"standard uncertainties {number_text(u.frozen_kpa, 2)} and {number_text(u.equilibrium_kpa, 2)} kPa; all "
        f"gauge, air at {state.barometer_kpa:g} kPa",
    ]
    result = {
        "headspace_l": worked.headspace_l,
        "u_headspace_l": u.headspace_l,
        "headspace_mmol": worked.headspace_mmol,
        "u_headspace_mmol": u.headspace_mmol,
        "dissolved_mmol": worked.dissolved_mmol,
        "u_dissolved_mmol": u.dissolved_mmol,
        "frozen_kpa": worked.frozen_kpa,
        "u_frozen_kpa": u.frozen_kpa,
        "equilibrium_kpa": worked.equilibrium_kpa,
        "u_equilibrium_kpa": u.equilibrium_kpa,
        "reference_headspace_l": worked.reference_headspace_l,
        "vapour_kpa": worked.vapour_kpa,
    }
    warnings = blanket_warnings(filling, state, reference_c, worked, u)
    print_answer("\n".join(lines), result, warnings, as_json, cautions=PRESSURE_CAUTIONS)
