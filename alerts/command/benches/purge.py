"""`leeside bench purge`: oxygen left in a headspace after purging, and the gas that it takes."""

from __future__ import annotations

__all__ = ["EXAMPLE", "purge"]

from typing import Annotated, Final

import typer

from alerts.command.benches.answer import finite_number, print_answer
from alerts.command.gas_options import Barometer, VesselKind, as_gas_option, optional_finite
from alerts.command.options import Json
from alerts.errors import OutOfRange
from alerts.gas.cautions import TANK_CAUTIONS, TRANSFER_CAUTIONS
from alerts.gas.purge import Purge, PurgeTarget, purge_by_sweep, purge_by_vent, purge_warnings
from alerts.number_text import number_text

EXAMPLE: Final = (
    "Example: leeside bench purge --kind keg --max-pressure-kpa 200 --headspace-l 2 --method vent --high-kpa 55 "
    "--target-o2-percent 0.5 --wine-l 17"
)

_NAMES: Final = {
    "pressure": "--high-kpa",
    "headspace": "--headspace-l",
}


def purge(
    kind: VesselKind,
    headspace: Annotated[str, typer.Option("--headspace-l", metavar="L", help="The gas volume to be purged.")],
    method: Annotated[
        str,
        typer.Option(
            "--method", metavar="METHOD", help="vent (press gas in and vent) or sweep (let gas flow through)."
        ),
    ],
    high: Annotated[
        str | None,
        typer.Option("--high-kpa", metavar="KPA", help="Gauge pressure to press gas in to, for vent."),
    ] = None,
    low: Annotated[
        str, typer.Option("--low-kpa", metavar="KPA", help="Gauge pressure that is vented to, or swept at.")
    ] = "0",
    cycles: Annotated[
        str | None, typer.Option("--cycles", metavar="N", help="Cycles of vent, or headspaces of gas for sweep.")
    ] = None,
    target: Annotated[
        str | None, typer.Option("--target-o2-percent", metavar="PERCENT", help="Oxygen to reach, in place of cycles.")
    ] = None,
    wine: Annotated[
        str | None, typer.Option("--wine-l", metavar="L", help="The wine that gets the oxygen; for mg/L.")
    ] = None,
    stamp: Annotated[
        str | None,
        typer.Option("--max-pressure-kpa", metavar="KPA", help="Gauge pressure stamped on the vessel; vent needs it."),
    ] = None,
    temperature: Annotated[
        str, typer.Option("--temperature", metavar="CELSIUS", help="Temperature of the gas, °C.")
    ] = "15",
    barometer: Barometer = "101.325",
    supply: Annotated[
        str, typer.Option("--supply-o2-percent", metavar="PERCENT", help="Oxygen in the supply gas, %.")
    ] = "0",
    as_json: Json = False,
) -> None:
    """Work out the oxygen that purging leaves, in percent and per litre of wine, and the gas that it takes."""
    if method not in ("vent", "sweep"):
        raise typer.BadParameter(f"there is no method '{method}'; allowed: vent, sweep", param_hint="--method")
    if (cycles is None) == (target is None):
        raise typer.BadParameter("give exactly one of them", param_hint="--cycles, --target-o2-percent")
    asked = PurgeTarget(optional_finite(cycles, "--cycles"), optional_finite(target, "--target-o2-percent"))
    headspace_l = finite_number(headspace, "--headspace-l")
    low_kpa, high_kpa = finite_number(low, "--low-kpa"), optional_finite(high, "--high-kpa")
    wine_l, stamp_kpa = optional_finite(wine, "--wine-l"), optional_finite(stamp, "--max-pressure-kpa")
    temperature_c, barometer_kpa = (
        finite_number(temperature, "--temperature"),
        finite_number(barometer, "--barometer-kpa"),
    )
    supply_percent = finite_number(supply, "--supply-o2-percent")
    try:
        if method == "sweep":
            worked = purge_by_sweep(
                kind,
                headspace_l,
                asked,
                low_kpa=low_kpa,
                stamp_kpa=stamp_kpa,
                wine_l=wine_l,
                temperature_c=temperature_c,
                barometer_kpa=barometer_kpa,
                supply_o2_percent=supply_percent,
            )
        else:
            if high_kpa is None:
                raise typer.BadParameter("vent needs the pressure that gas is pressed in to", param_hint="--high-kpa")
            worked = purge_by_vent(
                kind,
                headspace_l,
                asked,
                high_kpa=high_kpa,
                low_kpa=low_kpa,
                stamp_kpa=stamp_kpa,
                wine_l=wine_l,
                temperature_c=temperature_c,
                barometer_kpa=barometer_kpa,
                supply_o2_percent=supply_percent,
            )
    except OutOfRange as error:
        names = {**_NAMES, "pressure": "--low-kpa"} if method == "sweep" else _NAMES
        raise as_gas_option(error, names) from error
    result = {
        "cycles": int(worked.cycles) if method == "vent" else worked.cycles,
        "o2_percent": worked.o2_percent,
        "o2_mg_l": worked.o2_mg_l,
        "so2_mg_l": worked.so2_mg_l,
        "gas_l": worked.gas_l,
        "method": method,
    }
    cautions = TANK_CAUTIONS if kind == "tank" else TRANSFER_CAUTIONS
    warnings = purge_warnings(kind, method, worked, headspace_l, given_high=high_kpa is not None)
    print_answer("\n".join(_lines(worked, method)), result, warnings, as_json, cautions=cautions)


def _lines(worked: Purge, method: str) -> list[str]:
    done = f"{worked.cycles:g} cycles" if method == "vent" else f"{number_text(worked.cycles, 3)} headspaces of gas"
    lines = [f"{done} leave {number_text(worked.o2_percent, 4)} % oxygen"]
    if worked.o2_mg_l is not None and worked.so2_mg_l is not None:
        lines.append(
            f"that is {number_text(worked.o2_mg_l, 3)} mg per litre of wine, which can cost up to "
            f"{number_text(worked.so2_mg_l, 3)} mg/L of SO2"
        )
    lines.append(f"gas used: {number_text(worked.gas_l, 3)} L at 15 °C and 101.325 kPa")
    return lines
