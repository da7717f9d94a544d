"""A number read by hand in its quantity's unit; and what a weight makes of wine or of carbon dioxide. Pure.

    V = (m - m_tare) / rho        V: wine [L]; m: weight [kg]; rho: density [kg/L]
    m_CO2 = m - m_tare            of a cylinder of carbon dioxide [kg]

Worked example: a keg of 4.2 kg that weighs 20.0 kg holds 15.8 kg, at 0.992 kg/L 15.9 L.
"""

from __future__ import annotations

__all__ = ["weighed"]

from math import hypot
from typing import Any, Final, NamedTuple

from ingest.cellar import Cellar, Dimension, PressureKind, parse_amount, split_amount
from ingest.journal.analyses import MEASURED_UNITS
from ingest.journal.answers import AnswersWrong, Wrong
from ingest.journal.question import Given

# Dry table wine at cellar temperature [kg/L], and its spread as a standard uncertainty (common practice, no source).
_DENSITY: Final = 0.992
_U_DENSITY: Final = 0.003
# A good kitchen or bathroom scale, where nobody says how well it weighs [kg] (common practice, no source).
_U_WEIGHT_KG: Final = 0.05


class _HandUnit(NamedTuple):
    dimension: Dimension
    difference: Dimension
    example: str
    pressure: PressureKind | None = None


_MEASURES: Final = {
    "pH": _HandUnit(Dimension.PH, Dimension.PH, "3.42"),
    "temperature": _HandUnit(Dimension.TEMPERATURE, Dimension.TEMPERATURE_DIFFERENCE, "12 °C"),
    "alcohol": _HandUnit(Dimension.ALCOHOL, Dimension.ALCOHOL, "12.5 % vol"),
    "pressure": _HandUnit(Dimension.PRESSURE, Dimension.PRESSURE, "55 kPa", "gauge"),
    "volume": _HandUnit(Dimension.VOLUME, Dimension.VOLUME, "16 L"),
    "weight": _HandUnit(Dimension.MASS, Dimension.MASS, "20.4 kg"),
    "sugar": _HandUnit(Dimension.CONCENTRATION, Dimension.CONCENTRATION, "2 g/L"),
    "titratable acidity": _HandUnit(Dimension.CONCENTRATION, Dimension.CONCENTRATION, "6.1 g/L"),
    "volatile acidity": _HandUnit(Dimension.CONCENTRATION, Dimension.CONCENTRATION, "0.4 g/L"),
}


def weighed(given: Given, data: dict[str, Any], cellar: Cellar) -> tuple[str, ...]:
    """Fill the body of a measurement; gives its warnings. Raises AnswersWrong."""
    quantity = _known(str(given["quantity"]))
    data["quantity"] = quantity
    number, unit = _number(quantity, str(given["value"]), "value")
    data["value"] = number
    if quantity not in MEASURED_UNITS:
        data["unit"] = unit
    if "uncertainty" in given:
        data["u_value"] = _number(quantity, str(given["uncertainty"]), "uncertainty")[0]
    if quantity != "weight":
        stray = [Wrong(name, "belongs to a weight") for name in ("tare", "density") if name in given]
        if stray:
            raise AnswersWrong(stray)
        return ()
    if given.get("lot") or given.get("room"):
        return ()
    return _wine(given, data, cellar) if given.get("vessel") else _gas(given, data, cellar)


def _known(quantity: str) -> str:
    return next((name for name in MEASURED_UNITS if name.lower() == quantity.lower()), quantity)


def _number(quantity: str, text: str, question: str) -> tuple[float, str]:
    try:
        row = _MEASURES.get(quantity)
        if row is None:
            number, unit = split_amount(text)
            if quantity == "density" and unit not in ("g/mL", "kg/L"):
                raise ValueError("write it as 0.992 g/mL")
            return number, unit
        difference = question == "uncertainty"
        dimension = row.difference if difference else row.dimension
        pressure = "difference" if difference and row.pressure else row.pressure
        unit = MEASURED_UNITS[quantity]
        return parse_amount(text, dimension=dimension, unit=unit, example=row.example, pressure=pressure).number, unit
    except ValueError as error:
        raise AnswersWrong([Wrong(question, f"'{text}': {error}")]) from None


def _wine(given: Given, data: dict[str, Any], cellar: Cellar) -> tuple[str, ...]:
    vessel = next((one for one in cellar.vessel if one.id == given["vessel"]), None)
    tare = given.get("tare", None if vessel is None else vessel.tare_kg)
    if tare is None:
        return ("the weight makes no volume: say the tare, or write it into the cellar file",)
    net = _net(data["value"], tare)
    density = given.get("density", _DENSITY)
    u_density = 0.0 if "density" in given else _U_DENSITY
    data["volume_l"] = net / density
    data["u_volume_l"] = hypot(data.get("u_value", _U_WEIGHT_KG) / density, data["volume_l"] * u_density / density)
    return ()


def _gas(given: Given, data: dict[str, Any], cellar: Cellar) -> tuple[str, ...]:
    cylinder = next((one for one in cellar.cylinder if one.id == given.get("cylinder")), None)
    if cylinder is None or cylinder.gas != "carbon dioxide":
        return ()
    if "tare" not in given:
        return ("the weight makes no content: say the tare that the cylinder is stamped with",)
    data["content_kg"] = _net(data["value"], given["tare"])
    return ()


def _net(weight: float, tare: float) -> float:
    if weight < tare:
        raise AnswersWrong([Wrong("value", f"{weight:g} kg is less than the tare of {tare:g} kg")])
    return float(weight - tare)
