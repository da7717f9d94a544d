"""Words of the bench and of cellar talk, and the formal ones that they stand for. Pure."""

from __future__ import annotations

__all__ = ["CHOICE_WORDS", "QUANTITY_WORDS", "SCALE_WORDS", "in_known_units"]

from collections.abc import Mapping
from typing import Final

from ingest.cellar import Dimension, split_amount

CHOICE_WORDS: Final[Mapping[str, str]] = {
    "ripper": "iodometric",
    "aeration-oxidation": "aeration",
    "aeration oxidation": "aeration",
    "a/o": "aeration",
    "ao": "aeration",
    "laboratory": "elsewhere",
    "lab": "elsewhere",
    "naoh": "sodium hydroxide",
    "caustic soda": "sodium hydroxide",
    "iodate": "iodide-iodate",
    "kio3": "iodide-iodate",
    "i2": "iodine",
    "k": "potassium",
    "na": "sodium",
    "powder": "metabisulfite",
    "campden": "tablets",
    "campden tablets": "tablets",
    "co2": "carbon dioxide",
    "n2": "nitrogen",
    "ar": "argon",
}
"""What people at the bench say (lower case), and the answer that it means: general usage, no source."""

QUANTITY_WORDS: Final[Mapping[str, str]] = {
    "ta": "titratable acidity",
    "va": "volatile acidity",
    "abv": "alcohol",
    "alc": "alcohol",
    "temp": "temperature",
    "rs": "sugar",
    "residual sugar": "sugar",
    "oechsle": "must weight",
    "kmw": "must weight",
    "brix": "must weight",
}
"""The same of what is measured by hand."""

SCALE_WORDS: Final[Mapping[str, str]] = {"oechsle": "°Oe", "kmw": "°KMW", "brix": "°Brix"}
"""Those of them that say the unit, too."""

# Units as people write them (lower case). A mg in a litre of wine is a mg in about 0.99 kg, and the trade says ppm.
_UNIT_WORDS: Final[Mapping[Dimension, Mapping[str, str]]] = {
    Dimension.CONCENTRATION: {"ppm": "mg/L", "mg per l": "mg/L", "g per l": "g/L"},
    Dimension.ALCOHOL: {"%": "% vol", "vol%": "% vol", "%vol": "% vol", "% v/v": "% vol", "vol": "% vol"},
    Dimension.VOLUME: {"liter": "L", "litre": "L", "liters": "L", "litres": "L", "ltr": "L", "cc": "mL", "cm3": "mL"},
    Dimension.MASS: {"gram": "g", "grams": "g", "gr": "g"},
    Dimension.TIME: {"sec": "s", "seconds": "s"},
}


def in_known_units(text: str, dimension: Dimension, bare: str = "") -> str:
    """Write an amount in a unit of the table, where people's word for one, or none, stands behind its number.

    bare: the unit of a number without one, "" where that could be several. Any other text stays as it is.
    """
    try:
        number, unit = split_amount(text)
    except ValueError:
        return text
    if not unit:
        return f"{number!r} {bare}" if bare else text
    meant = _UNIT_WORDS.get(dimension, {}).get(unit.lower())
    return text if meant is None else f"{number!r} {meant}"
