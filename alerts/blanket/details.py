"""What a judgement of gas carries for cards and messages: written by the judge of gas, read by what shows it.

Of a vessel's judgements only ``compensated_pressure`` carries them: what they say holds for all.
"""

from __future__ import annotations

__all__ = ["BlanketShown", "blanket_details", "blanket_shown"]

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from alerts.judgement_details import details_of, fields_in
from ingest.judgement import FINDINGS, Judgement

# So many warnings, and characters of each, have room.
_MOST_WARNINGS: Final = 6
_LONGEST_WARNING: Final = 300


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
    but a leak explains what was read; supply_open: gas can come in; without_blanket: none is kept, so that only gas
    that rises counts; entry_kind: what was last done to the gas or the wine, "" where nothing is known, and when
    (entry_ms); missing: what is missing for a judgement ("temperature", "pressure", "contents"), "" for nothing;
    warnings: sentences for people. A number is None where nothing can be said.
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
    without_blanket: bool = False
    entry_kind: str = ""
    entry_ms: int | None = None
    missing: str = ""
    warnings: tuple[str, ...] = ()


def blanket_details(shown: BlanketShown) -> Mapping[str, object]:
    """Make the details that JSON can hold; ``blanket_shown`` reads them back."""
    return details_of(shown, {"warnings": _MOST_WARNINGS}, _LONGEST_WARNING)


def blanket_shown(judgement: Judgement) -> BlanketShown | None:
    """Read the details of a judgement of gas; None for a judgement of anything else, and for details of an older
    version that cannot be read.
    """
    shown = fields_in(judgement.details, BlanketShown)
    return BlanketShown(**shown) if shown.get("finding") in FINDINGS and "at_ms" in shown else None
