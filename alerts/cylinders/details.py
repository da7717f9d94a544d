"""What a judgement of a cylinder carries for cards and messages: written by its judge, read by what shows it."""

from __future__ import annotations

__all__ = ["CylinderShown", "cylinder_details", "cylinder_shown"]

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Final

from ingest.judgement import Judgement

# Details are kept in at most 4,000 characters: so many vessels and remarks, and characters of a remark.
_MOST: Final = {"open_at": 20, "remarks": 6}
_LONGEST_REMARK: Final = 200
_DIGITS: Final = 4
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


_NUMBERS: Final = tuple(field.name for field in fields(CylinderShown) if field.type == "float | None")
_TIMES: Final = ("basis_ms", "refilled_ms")
_WORDS: Final = ("basis", "thermometer")
_FLAGS: Final = ("by_hand", "use_seen")


def cylinder_details(shown: CylinderShown) -> Mapping[str, object]:
    """Make the details that JSON can hold; ``cylinder_shown`` reads them back."""
    details: dict[str, object] = {_MARK: shown.gas}
    for name in (*_NUMBERS, *_TIMES, *_WORDS, *_FLAGS):
        value = getattr(shown, name)
        if isinstance(value, float):
            details[name] = float(f"{value:.{_DIGITS}g}") if abs(value) < 10**_DIGITS else round(value)
        elif value is not None and value != "" and value is not False:
            details[name] = value
    for name in _MOST:
        if texts := getattr(shown, name):
            details[name] = [text[:_LONGEST_REMARK] for text in texts[: _MOST[name]]]
    return details


def cylinder_shown(judgement: Judgement) -> CylinderShown | None:
    """Read the details of a judgement of a cylinder; None for a judgement of anything else."""
    details = judgement.details
    gas = details.get(_MARK)
    if not isinstance(gas, str):
        return None
    values: dict[str, object] = {
        **{name: float(value) for name in _NUMBERS if isinstance(value := details.get(name), int | float)},
        **{name: value for name in _TIMES if isinstance(value := details.get(name), int)},
        **{name: value for name in _WORDS if isinstance(value := details.get(name), str)},
        **{name: details.get(name) is True for name in _FLAGS},
    }
    for name in _MOST:
        texts = details.get(name)
        values[name] = tuple(text for text in texts if isinstance(text, str)) if isinstance(texts, list) else ()
    return CylinderShown(gas=gas, **values)  # type: ignore[arg-type]
