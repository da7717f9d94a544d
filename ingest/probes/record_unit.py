"""The unit of a SenML record, by its name in the registry, becomes the unit in which its probe's numbers are stored."""

from __future__ import annotations

__all__ = ["value_in"]

from collections.abc import Mapping
from math import isfinite
from typing import Final, NamedTuple

from ingest.cellar import Dimension, conversion, normal_unit
from ingest.errors import Unreadable
from ingest.sources.senml import SECONDARY_VERSION, SenmlRecord


class _Registered(NamedTuple):
    """A registry name in our terms: a number in it, times factor, is one in ``unit``; secondary: RFC 8798 only."""

    dimension: Dimension
    unit: str
    factor: float = 1.0
    secondary: bool = False


# The SenML units registry, as far as leeside has a dimension for it (RFC 8428, section 12.1; RFC 8798, section 3).
# "C" and "F" stand there as well: coulomb and farad.
_REGISTRY: Final[Mapping[str, _Registered]] = {
    "Cel": _Registered(Dimension.TEMPERATURE, "degC"),
    "K": _Registered(Dimension.TEMPERATURE, "K"),
    "Pa": _Registered(Dimension.PRESSURE, "Pa"),
    "hPa": _Registered(Dimension.PRESSURE, "hPa", secondary=True),
    "pH": _Registered(Dimension.PH, "pH"),
    "kg": _Registered(Dimension.MASS, "kg"),
    "g": _Registered(Dimension.MASS, "g"),
    "m3": _Registered(Dimension.VOLUME, "m3"),
    "l": _Registered(Dimension.VOLUME, "L"),
    "kg/m3": _Registered(Dimension.CONCENTRATION, "g/L"),
    "m": _Registered(Dimension.LENGTH, "m"),
    "mm": _Registered(Dimension.LENGTH, "mm", secondary=True),
    "cm": _Registered(Dimension.LENGTH, "cm", secondary=True),
    "km": _Registered(Dimension.LENGTH, "m", 1000.0, secondary=True),
    "s": _Registered(Dimension.TIME, "s"),
    "ms": _Registered(Dimension.TIME, "ms", secondary=True),
    "min": _Registered(Dimension.TIME, "min", secondary=True),
    "h": _Registered(Dimension.TIME, "h", secondary=True),
    "/": _Registered(Dimension.RATIO, ""),
    "%": _Registered(Dimension.RATIO, ""),  # the registry means the bare ratio, 0 to 1, and advises against the name
    "/100": _Registered(Dimension.RATIO, "", 0.01, secondary=True),
    "/1000": _Registered(Dimension.RATIO, "", 0.001, secondary=True),
    "ppm": _Registered(Dimension.RATIO, "", 1e-6, secondary=True),
}
_NO_TEMPERATURE: Final = {"C": '"C" is the coulomb; degrees Celsius are "Cel"', "F": '"F" is the farad; send "Cel"'}


def value_in(record: SenmlRecord, dimension: Dimension, unit: str, *, declared: bool) -> float:
    """The record's number in a unit of ours.

    unit: a unit of that dimension. declared: somebody wrote that unit for this probe; then a record without a unit is
    taken in it, and so is a name that the registry does not know, such as ``psi``, if it is that very unit.
    Raises Unreadable: ``a sum without a value``, ``not a number``, ``no unit``, ``unknown unit``,
    ``unit does not fit``, ``not finite``.
    """
    if record.value is None:
        raise Unreadable("a sum without a value" if record.sum is not None else "not a number", record.name)
    name = record.unit
    if name is None:
        if not declared:
            raise Unreadable("no unit", f"{record.name} has no unit; write the unit of its numbers for the probe")
        return record.value
    if dimension is Dimension.TEMPERATURE and name in _NO_TEMPERATURE:
        raise Unreadable("unit does not fit", f"{record.name}: {_NO_TEMPERATURE[name]}")
    registered = _REGISTRY.get(name)
    # The registry comes first: its "%" is the bare ratio, ours is a hundredth.
    if registered is None or (registered.secondary and not record.secondary):
        if declared and normal_unit(name) == normal_unit(unit):
            return record.value
        why = "is not in the SenML registry, or of no use here"
        if registered is not None:
            why = f"needs a pack with bver {SECONDARY_VERSION} (RFC 8798)"
        raise Unreadable("unknown unit", f"{record.name}: {name[:40]!a} {why}")
    if registered.dimension is not dimension:
        raise Unreadable("unit does not fit", f"{record.name}: {name[:40]!a} is not a unit of {dimension}")
    gain, offset = conversion(dimension, registered.unit, unit)
    number = gain * registered.factor * record.value + offset
    if not isfinite(number):
        raise Unreadable("not finite", record.name)
    return number
