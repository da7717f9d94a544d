"""What a number may be: names around it and the unit behind it give quantity and unit, as far as they are clear."""

from __future__ import annotations

__all__ = ["Guess", "guess", "words_of"]

import re
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import Final


@dataclass(frozen=True, slots=True)
class Guess:
    """quantity, unit: None where not clear; likely: the quantity to offer first where it is not clear."""

    quantity: str | None = None
    unit: str | None = None
    likely: str = "temperature"


# Spellings of units as they stand in names and behind numbers, folded to lower case. Single letters are left out: T may
# be a temperature or a time, and C the coulomb. Common practice, no source.
_PRESSURE_UNITS: Final = {
    unit.lower(): unit for unit in ("kPa", "hPa", "mbar", "psi", "psig", "psia", "bar", "Pa", "MPa")
}
_UNITS: Final = {
    **_PRESSURE_UNITS,
    **dict.fromkeys(("degc", "celsius", "cel", "°c"), "degC"),
    **dict.fromkeys(("degf", "fahrenheit", "°f"), "degF"),
    "kelvin": "K",
}
# Only directly behind a number or as the last part of a name with more parts, such as temp_c.
_TEMPERATURE_LETTERS: Final = {"c": "degC", "f": "degF", "k": "K"}
_TEMPERATURE_WORDS: Final = frozenset({"temperature", "temp", "temperatur", "thermo", "thermometer"})
_QUANTITY_WORDS: Final = {
    **dict.fromkeys(_TEMPERATURE_WORDS, "temperature"),
    **dict.fromkeys(("pressure", "press", "pres", "baro", "barometer", "barometric"), "pressure"),
    "ph": "pH",
}
_AIR_WORDS: Final = frozenset({"baro", "barometer", "barometric", "atmospheric", "atmosphere", "ambient", "weather"})
# What the air has at most heights, by units that are used for both: for a blanket this would be much. [unit -> span]
_AIR_PRESSURES: Final = {"hPa": (850.0, 1100.0), "mbar": (850.0, 1100.0), "Pa": (85_000.0, 110_000.0)}

_WORD: Final = re.compile(r"°[CF]|[A-Z]{2,}(?![a-z])|[A-Z]?[a-z]+|[A-Z]+")
_UNIT_AT_END: Final = re.compile(r"(?:kPa|hPa|MPa|mbar|pH)$")


def words_of(name: str) -> list[str]:
    """Return the parts of a name, lower case: ``gasPressure_kPa`` -> gas, pressure, kpa."""
    words = []
    for piece in re.split(r"[^A-Za-z°]+", name):
        # Units have capitals of their own, so they are looked for before a piece is cut at its capitals.
        if piece.lower() in _UNITS or piece.lower() == "ph":
            words.append(piece.lower())
            continue
        unit = _UNIT_AT_END.search(piece)
        words += [word.lower() for word in _WORD.findall(piece[: unit.start()] if unit else piece)]
        words += [unit[0].lower()] if unit else []
    return words


def guess(names: Sequence[str], unit_text: str = "", number: float | None = None) -> Guess:
    """Guess what a number called by these names (the nearest last) and followed by ``unit_text`` may be.

    number: one that was seen, in the unit that it came in; it only separates the air's pressure from a blanket's.
    """
    near = words_of(names[-1]) if names else []
    air = any(word in _AIR_WORDS for name in names[-3:] for word in words_of(name))
    unit = _unit(near, unit_text)
    if unit is not None and unit in _PRESSURE_UNITS.values():
        return _pressure_in(unit, number, air=air)
    if unit is not None:
        return Guess("temperature", unit)
    for word in reversed(near):
        if word in _QUANTITY_WORDS:
            quantity = _QUANTITY_WORDS[word]
            return Guess("barometric_pressure" if air and quantity == "pressure" else quantity)
    return Guess(likely="pressure" if near[-1:] == ["p"] else "temperature")


def _pressure_in(unit: str, number: float | None, *, air: bool) -> Guess:
    if air:
        return Guess("barometric_pressure", unit)
    low, high = _AIR_PRESSURES.get(unit, (inf, inf))
    if number is not None and low <= number <= high:
        return Guess(None, unit, "barometric_pressure")
    return Guess(None, unit, "pressure") if unit == "Pa" else Guess("pressure", unit)


def _unit(near: Sequence[str], unit_text: str) -> str | None:
    behind = unit_text.strip().lower()
    if behind in _UNITS or behind in _TEMPERATURE_LETTERS:
        return _UNITS.get(behind) or _TEMPERATURE_LETTERS[behind]
    if near and near[-1] in _UNITS:
        return _UNITS[near[-1]]
    if len(near) > 1 and near[-2] in _TEMPERATURE_WORDS:
        return _TEMPERATURE_LETTERS.get(near[-1])
    return None
