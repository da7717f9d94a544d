"""Our table of units: what may stand behind a number in the cellar file, and what it is worth.

A unit belongs to a dimension. Temperature and temperature difference use the same unit names but are two dimensions,
because a difference has no offset. A pressure unit may say what it is measured from: ``kPa gauge``, ``psia``.

Factors are exact by definition: inch, pound and US gallon from NIST Handbook 44, appendix C; standard gravity
9.80665 m/s2 and the degree Celsius from the SI brochure (BIPM, 9th edition).
"""

from __future__ import annotations

__all__ = ["UNITS", "Dimension", "PressureReference", "Unit", "UnitError", "conversion", "find_unit", "normal_unit"]

import difflib
import unicodedata
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Literal

PressureReference = Literal["gauge", "absolute"]


class Dimension(StrEnum):
    """What kind of thing a unit measures."""

    VOLUME = "volume"
    MASS = "mass"
    TIME = "time"
    PRESSURE = "pressure"
    TEMPERATURE = "temperature"
    TEMPERATURE_DIFFERENCE = "temperature difference"
    LENGTH = "length"
    PH = "pH"
    CONCENTRATION = "concentration"
    ALCOHOL = "alcohol by volume"
    RATIO = "ratio"
    GAS_FLOW = "gas flow"


class UnitError(ValueError):
    """A unit that is not in the table, or that belongs to another dimension; the text says what is allowed."""


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: value in the dimension's first unit = factor x number + offset.

    reference: what a pressure is counted from, None where the unit does not say.
    """

    factor: float
    offset: float = 0.0
    reference: PressureReference | None = None


_POUND_KG: Final = 0.45359237
_INCH_M: Final = 0.0254
_GRAVITY_M_S2: Final = 9.80665
_PSI_KPA: Final = _POUND_KG * _GRAVITY_M_S2 / _INCH_M**2 / 1000.0

_BARE_PRESSURES_KPA: Final[dict[str, float]] = {
    "kPa": 1.0,
    "Pa": 0.001,
    "hPa": 0.1,
    "mbar": 0.1,
    "bar": 100.0,
    "MPa": 1000.0,
    "psi": _PSI_KPA,
}


def _pressures() -> dict[str, Unit]:
    table = {name: Unit(factor) for name, factor in _BARE_PRESSURES_KPA.items()}
    for name, factor in _BARE_PRESSURES_KPA.items():
        table[f"{name} gauge"] = Unit(factor, reference="gauge")
        table[f"{name} absolute"] = Unit(factor, reference="absolute")
    table["psig"] = Unit(_PSI_KPA, reference="gauge")
    table["psia"] = Unit(_PSI_KPA, reference="absolute")
    return table


UNITS: Final[dict[Dimension, dict[str, Unit]]] = {
    Dimension.VOLUME: {
        "L": Unit(1.0),
        "l": Unit(1.0),
        "mL": Unit(0.001),
        "ml": Unit(0.001),
        "hL": Unit(100.0),
        "hl": Unit(100.0),
        "m3": Unit(1000.0),
        "gal": Unit(3.785411784),
    },
    Dimension.MASS: {
        "kg": Unit(1.0),
        "g": Unit(0.001),
        "mg": Unit(1e-6),
        "lb": Unit(_POUND_KG),
        "oz": Unit(_POUND_KG / 16.0),
    },
    Dimension.TIME: {"s": Unit(1.0), "ms": Unit(0.001), "min": Unit(60.0), "h": Unit(3600.0), "d": Unit(86400.0)},
    Dimension.PRESSURE: _pressures(),
    Dimension.TEMPERATURE: {
        "°C": Unit(1.0),
        "degC": Unit(1.0),
        "°F": Unit(5.0 / 9.0, -160.0 / 9.0),
        "degF": Unit(5.0 / 9.0, -160.0 / 9.0),
        "K": Unit(1.0, -273.15),
    },
    Dimension.TEMPERATURE_DIFFERENCE: {
        "°C": Unit(1.0),
        "degC": Unit(1.0),
        "°F": Unit(5.0 / 9.0),
        "degF": Unit(5.0 / 9.0),
        "K": Unit(1.0),
    },
    Dimension.LENGTH: {"m": Unit(1.0), "mm": Unit(0.001), "cm": Unit(0.01), "ft": Unit(0.3048)},
    Dimension.PH: {"pH": Unit(1.0), "": Unit(1.0)},
    Dimension.CONCENTRATION: {"mg/L": Unit(1.0), "mg/l": Unit(1.0), "g/L": Unit(1000.0), "g/l": Unit(1000.0)},
    Dimension.ALCOHOL: {"% vol": Unit(1.0)},
    Dimension.RATIO: {"": Unit(1.0), "%": Unit(0.01)},
    Dimension.GAS_FLOW: {
        "mL/min": Unit(1.0),
        "ml/min": Unit(1.0),
        "L/min": Unit(1000.0),
        "L/h": Unit(1000.0 / 60.0),
        "L/d": Unit(1000.0 / 1440.0),
    },
}

_HINTS: Final[dict[str, str]] = {
    "C": 'C is the coulomb; write "°C" or "degC"',
    "F": 'F is the farad; write "°F" or "degF"',
}


def normal_unit(text: str) -> str:
    """Make spaces and look-alike characters of a unit's text regular (``m³`` -> ``m3``, ``℃`` -> ``°C``)."""
    return " ".join(unicodedata.normalize("NFKC", text.replace("\N{MASCULINE ORDINAL INDICATOR}", "°")).split())


def find_unit(dimension: Dimension, text: str) -> Unit:
    """Find the unit of this dimension that the text names.

    Raises UnitError with the nearest or all allowed units.
    """
    name = normal_unit(text)
    table = UNITS[dimension]
    if name in table:
        return table[name]
    temperature = dimension in (Dimension.TEMPERATURE, Dimension.TEMPERATURE_DIFFERENCE)
    if temperature and name in _HINTS:
        raise UnitError(_HINTS[name])
    allowed = "allowed for " + _a(dimension) + ": " + ", ".join(_listed(table))
    if not name:
        raise UnitError(f"the unit is missing; {allowed}")
    for other, units in UNITS.items():
        if name in units:
            raise UnitError(f'"{name}" is a unit of {other}, not of {dimension}; {allowed}')
    near = [unit for unit in table if unit.lower() == name.lower()]
    near = near or difflib.get_close_matches(name, table, n=1, cutoff=0.75)
    meant = f'; did you mean "{near[0]}"?' if near else ""
    raise UnitError(f'there is no unit "{name}"{meant}; {allowed}')


def conversion(dimension: Dimension, unit: str, into: str) -> tuple[float, float]:
    """Give (gain, offset) with which a number in ``unit`` becomes one in ``into``: gain x number + offset.

    What a pressure is counted from is not looked at. Raises UnitError.
    """
    source, target = find_unit(dimension, unit), find_unit(dimension, into)
    if source == target:
        return 1.0, 0.0
    return source.factor / target.factor, (source.offset - target.offset) / target.factor


def _a(dimension: Dimension) -> str:
    return "an " + dimension if dimension[0] in "aeiou" else "a " + dimension


def _listed(table: dict[str, Unit]) -> list[str]:
    """List the units for an error: without second spellings, and with the explicit references given once."""
    second = {"l", "ml", "hl", "mg/l", "g/l", "ml/min", ""}
    shown = [name for name in table if name not in second and not name.endswith((" gauge", " absolute"))]
    if "kPa gauge" in table:
        shown.append('and any with "gauge" or "absolute" behind it')
    return shown
