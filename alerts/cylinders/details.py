"""What a judgement of a cylinder carries for cards and messages: written by its judge, read by what shows it."""

from __future__ import annotations

__all__ = ["CylinderShown", "cylinder_details", "cylinder_shown"]

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from alerts.judgement_details import details_of, fields_in
from ingest.judgement import Judgement

# So many vessels and remarks, and characters of a remark, have room.
_MOST: Final = {"open_at": 20, "remarks": 6}
_LONGEST_REMARK: Final = 200
# Under this key the gas is kept: it marks the details as those of a cylinder.
_MARK: Final = "cylinder"


@dataclass(frozen=True, slots=True, kw_only=True)
class CylinderShown:
    """A cylinder at a moment, for people. Volumes of gas are litres at 15 °C and 101.325 kPa.

    gas: its name; basis: from what the content is known, "pressure", "weight" or "" for nothing, and when that was
    read (basis_ms); by_hand: by a person; raw_kpa: gauge pressure as read; temperature_c: of thermometer, "cylinder",
    "room" or "" where none is known; content_l, u_content_l, content_kg: what it holds, with its standard uncertainty;
    use_l_day, use_low_l_day, use_high_l_day: gas drawn a day over use_days days; use_seen: whether that is more than
    nothing; days_low, days_high: until the reserve; fast_l_day, fast_hours: a loss that goes on evenly, faster than
    usual; refilled_ms: when it was filled or changed last; open_at: the vessels at which its supply is open; remarks:
    sentences for people. A number is None where nothing can be said.
    """

    gas: str
    basis: str = ""
    basis_ms: int | None = None
    by_hand: bool = False
    raw_kpa: float | None = None
    temperature_c: float | None = None
    thermometer: str = ""
    content_l: float | None = None
    u_content_l: float | None = None
    content_kg: float | None = None
    use_l_day: float | None = None
    use_low_l_day: float | None = None
    use_high_l_day: float | None = None
    use_days: float | None = None
    use_seen: bool = False
    days_low: float | None = None
    days_high: float | None = None
    fast_l_day: float | None = None
    fast_hours: float | None = None
    refilled_ms: int | None = None
    open_at: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


def cylinder_details(shown: CylinderShown) -> Mapping[str, object]:
    """Make the details that JSON can hold; ``cylinder_shown`` reads them back."""
    details = details_of(shown, _MOST, _LONGEST_REMARK)
    details[_MARK] = details.pop("gas", "")
    return details


def cylinder_shown(judgement: Judgement) -> CylinderShown | None:
    """Read the details of a judgement of a cylinder; None for a judgement of anything else."""
    gas = judgement.details.get(_MARK)
    if not isinstance(gas, str):
        return None
    return CylinderShown(**fields_in({**judgement.details, "gas": gas}, CylinderShown))
