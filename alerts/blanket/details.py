"""What a judgement of gas carries for cards and messages: written by the judge of gas, read by what shows it.

Of a vessel's judgements only ``compensated_pressure`` carries them: what they say holds for all.
"""

from __future__ import annotations

__all__ = ["BlanketShown", "blanket_details", "blanket_shown"]

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Final

from ingest.judgement import FINDINGS, Judgement

# Details are kept in at most 4,000 characters: so many warnings, and characters of each.
_MOST_WARNINGS: Final = 6
_LONGEST_WARNING: Final = 300
_DIGITS: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class BlanketShown:
    """The gas over the wine of a vessel at a moment, for people.

    at_ms: the newest reading that it rests on, UTC ms; finding: a word of ``ingest.judgement.FINDINGS``, of the gas
    itself (the judgements' own findings say whether their number decides); gas: its name; raw_kpa: gauge pressure as
    read; temperature_c: of the wine or the wall, as read; compensated_kpa: gauge pressure that the gas would have at
    reference_c and at mean air pressure, with its standard uncertainty; floor_kpa: the air floor, kPa gauge;
    rate_ml_min: gas lost, mL/min at 0 °C and 101.325 kPa (negative: gained), with its standard uncertainty;
    rate_kpa_day: the same as kPa a day; hours_low, hours_high: hours until the gauge falls below the air floor;
    hours_cold: the same from the next cold alone, without a leak; headspace_l: L at 20 °C, with its standard
    uncertainty; since_ms: since when the finding holds; last_sound_ms: when it was last sound; leak_certain: nothing
    but a leak explains what was read; supply_open: gas can come in; entry_kind: what was last done to the gas or the
    wine, "" where nothing is known, and when (entry_ms); missing: what is missing for a judgement ("temperature",
    "pressure", "contents"), "" for nothing; warnings: sentences for people. A number is None where nothing can be
    said.
    """

    at_ms: int
    finding: str
    gas: str = ""
    raw_kpa: float | None = None
    temperature_c: float | None = None
    compensated_kpa: float | None = None
    u_compensated_kpa: float | None = None
    reference_c: float | None = None
    floor_kpa: float | None = None
    rate_ml_min: float | None = None
    u_rate_ml_min: float | None = None
    rate_kpa_day: float | None = None
    hours_low: float | None = None
    hours_high: float | None = None
    hours_cold: float | None = None
    headspace_l: float | None = None
    u_headspace_l: float | None = None
    since_ms: int | None = None
    last_sound_ms: int | None = None
    leak_certain: bool = False
    supply_open: bool = False
    entry_kind: str = ""
    entry_ms: int | None = None
    missing: str = ""
    warnings: tuple[str, ...] = ()


_NUMBERS: Final = tuple(field.name for field in fields(BlanketShown) if field.type == "float | None")
_TIMES: Final = ("since_ms", "last_sound_ms", "entry_ms")
_WORDS: Final = ("gas", "entry_kind", "missing")
_FLAGS: Final = ("leak_certain", "supply_open")


def blanket_details(shown: BlanketShown) -> Mapping[str, object]:
    """Make the details that JSON can hold; ``blanket_shown`` reads them back."""
    details: dict[str, object] = {"finding": shown.finding, "at_ms": shown.at_ms}
    for name in (*_NUMBERS, *_TIMES, *_WORDS, *_FLAGS):
        value = getattr(shown, name)
        if isinstance(value, float):
            details[name] = _short(value)
        elif value is not None and value != "" and value is not False:
            details[name] = value
    if shown.warnings:
        details["warnings"] = [warning[:_LONGEST_WARNING] for warning in shown.warnings[:_MOST_WARNINGS]]
    return details


def blanket_shown(judgement: Judgement) -> BlanketShown | None:
    """Read the details of a judgement of gas; None for a judgement of anything else, and for details of an older
    version that cannot be read.
    """
    details = judgement.details
    finding, at_ms = details.get("finding"), details.get("at_ms")
    if not isinstance(finding, str) or finding not in FINDINGS or not isinstance(at_ms, int):
        return None
    warnings = details.get("warnings", ())
    values: dict[str, object] = {
        **{name: float(value) for name in _NUMBERS if isinstance(value := details.get(name), int | float)},
        **{name: value for name in _TIMES if isinstance(value := details.get(name), int)},
        **{name: value for name in _WORDS if isinstance(value := details.get(name), str)},
        **{name: details.get(name) is True for name in _FLAGS},
    }
    sentences = tuple(each for each in warnings if isinstance(each, str)) if isinstance(warnings, list) else ()
    return BlanketShown(at_ms=at_ms, finding=finding, warnings=sentences, **values)  # type: ignore[arg-type]


def _short(value: float) -> float:
    """Keep as many digits as anybody reads."""
    return float(f"{value:.{_DIGITS}g}") if abs(value) < 10**_DIGITS else round(value)
