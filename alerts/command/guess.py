"""What a number may be, guessed from the names and units around it: quantity and unit, as far as they are clear."""

from __future__ import annotations

__all__ = ["Guess", "guess", "words_of"]

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

Quantity = Literal["temperature", "pressure", "barometric_pressure", "pH"]


@dataclass(frozen=True, slots=True)
class Guess:
    """quantity, unit: None where not clear; likely: the quantity to offer first where it is not clear."""

    quantity: Quantity | None = None
    unit: str | None = None
    likely: Quantity = "temperature"


# Spellings of units as they stand in names and behind numbers, folded to lower case. Single letters are left out: T may
# be a temperature or a time, and C the coulomb. Common practice, no source.
_PRESSURE_UNITS: Final = {
    "kpa": "kPa",
    "hpa": "hPa",
    "mbar": "mbar",
    "psi": "psi",
    "psig": "psig",
    "psia": "psia",
    "bar": "bar",
    "pa": "Pa",
    "mpa": "MPa",
}
_TEMPERATURE_UNITS: Final = {
    "degc": "degC",
    "celsius": "degC",
    "cel": "degC",
    "°c": "degC",
    "degf": "degF",
    "fahrenheit": "degF",
    "°f": "degF",
    "kelvin": "K",
}
# Only directly behind a number or as the last part of a name with more parts, such as temp_c.
_TEMPERATURE_LETTERS: Final = {"c": "degC", "f": "degF", "k": "K"}
_AIR: Final = frozenset({"baro", "barometer", "barometric", "atmospheric", "atmosphere", "ambient", "weather"})
_WORDS: Final[dict[str, Quantity]] = {
    **dict.fromkeys(("temperature", "temp", "temperatur", "thermo", "thermometer"), "temperature"),
    **dict.fromkeys(("pressure", "press", "pres", "baro", "barometer", "barometric"), "pressure"),
    "ph": "pH",
}
_TEMPERATURE_WORDS: Final = frozenset(word for word, quantity in _WORDS.items() if quantity == "temperature")

_WORD: Final = re.compile(r"°[CF]|[A-Z]{2,}(?![a-z])|[A-Z]?[a-z]+|[A-Z]+")


def words_of(name: str) -> list[str]:
    """The parts of a name, lower case: ``gasPressure_kPa`` -> gas, pressure, kpa."""
    words = []
    for piece in re.split(r"[^A-Za-z°]+", name):
        # Units are written in capitals of their own, so they are looked for before a piece is cut at its capitals.
        if piece.lower() in _PRESSURE_UNITS or piece.lower() in _TEMPERATURE_UNITS or piece.lower() == "ph":
            words.append(piece.lower())
            continue
        tail = next((unit for unit in ("kPa", "hPa", "MPa", "mbar", "pH") if piece.endswith(unit)), "")
        words += [word.lower() for word in _WORD.findall(piece.removesuffix(tail))]
        words += [tail.lower()] if tail else []
    return words


def guess(names: Sequence[str], unit_text: str = "", number: float | None = None) -> Guess:
    """What a number called by these names (the nearest last) and followed by ``unit_text`` may be.

    number: one that was seen, in the unit that it came in; it only parts the air's pressure from a blanket's.
    """
    near = words_of(names[-1]) if names else []
    words = [word for name in names for word in words_of(name)]
    unit = _unit(near, unit_text)
    air = any(word in _AIR for word in words)
    if unit in _PRESSURE_UNITS.values():
        if air:
            return Guess("barometric_pressure", unit)
        # What the air has at most heights, and a blanket hardly ever in these units.
        like_air = unit in ("hPa", "mbar") and number is not None and 850 <= number <= 1100
        return Guess(None, unit, "barometric_pressure") if like_air else Guess("pressure", unit)
    if unit is not None:
        return Guess("temperature", unit)
    known = next((_WORDS[word] for word in reversed(near) if word in _WORDS), None)
    if known is None:
        return Guess(likely="pressure" if near[-1:] == ["p"] else "temperature")
    return Guess("barometric_pressure" if known == "pressure" and air else known)


def _unit(near: Sequence[str], unit_text: str) -> str | None:
    behind = unit_text.strip().lower()
    for table in (_PRESSURE_UNITS, _TEMPERATURE_UNITS, _TEMPERATURE_LETTERS):
        if behind in table:
            return table[behind]
    if not near:
        return None
    last = near[-1]
    if last in _PRESSURE_UNITS:
        return _PRESSURE_UNITS[last]
    if last in _TEMPERATURE_UNITS:
        return _TEMPERATURE_UNITS[last]
    if len(near) > 1 and last in _TEMPERATURE_LETTERS and near[-2] in _TEMPERATURE_WORDS:
        return _TEMPERATURE_LETTERS[last]
    return None
