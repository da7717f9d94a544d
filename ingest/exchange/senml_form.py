"""Readings as SenML packs in JSON (RFC 8428): one pack a line, each complete in itself.

A pack carries the probe's id as base name, the time of its first reading as base time, and the unit as base unit; each
record has the seconds since that time. SenML has no field for quality, so bad readings are left out.
"""

from __future__ import annotations

__all__ = ["RECORDS_A_PACK", "UNITS", "senml_packs"]

import json
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from typing import Final

from ingest.reading import Quality, quality_class

# Fewer bytes than a receiver such as leeside takes at once, 64 KiB: keys and signs of a record have 12, its time 15 and
# its value 23 at most.
RECORDS_A_PACK: Final = 1000

# Quantity -> (unit of the SenML registry, factor): RFC 8428, section 12.1. For pressure the registry has only pascal.
UNITS: Final[Mapping[str, tuple[str, float]]] = {
    "temperature": ("Cel", 1.0),
    "pressure": ("Pa", 1000.0),
    "barometric_pressure": ("Pa", 1000.0),
    "pH": ("pH", 1.0),
}
# Significant digits, so that the factor of 1000 does not add any.
_DIGITS: Final = 15


def senml_packs(probe: str, quantity: str, readings: Iterable[tuple[int, float, int]]) -> Iterator[str]:
    """Yield a pack a line for readings (at_ms, value in the quantity's unit, quality) of a probe in order of time."""
    unit, factor = UNITS[quantity]
    rest = (reading for reading in readings if quality_class(reading[2]) is not Quality.BAD)
    while some := list(islice(rest, RECORDS_A_PACK)):
        first_ms = some[0][0]
        records: list[dict[str, object]] = [
            {"t": (at_ms - first_ms) / 1000, "v": value if factor == 1.0 else float(f"{value * factor:.{_DIGITS}g}")}
            for at_ms, value, _ in some
        ]
        del records[0]["t"]
        records[0] = {"bn": probe, "bt": first_ms / 1000, "bu": unit, **records[0]}
        yield json.dumps(records, separators=(",", ":"), ensure_ascii=False, allow_nan=False) + "\n"
