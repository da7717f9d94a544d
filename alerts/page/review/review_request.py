"""What an address of a review asks for: which work, into which vessel, and what is wished of it."""

from __future__ import annotations

__all__ = [
    "NUMBERS",
    "AskedReview",
    "ReviewNumber",
    "asked_review",
    "check_vessel",
    "review_asked",
    "reviewed",
    "with_fields",
]

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final, Literal, NamedTuple
from urllib.parse import urlencode

from fastapi import HTTPException, Query

from alerts.errors import OutOfRange
from alerts.review import BottlingWish, RackingWish, ReviewAsked, WholeReview, whole_review
from ingest.cellar import Cellar, nearest
from ingest.store import Store

_LONGEST_ID: Final = 200
_LONGEST_NUMBER: Final = 30
# A form sends an empty text for what nobody filled in.
Number = Annotated[str, Query(max_length=_LONGEST_NUMBER)]


class ReviewNumber(NamedTuple):
    """A number that can be wished: its name in an address, words for people, its unit, of which work it is ("" of
    both), what it is where nobody gives it, and what arithmetic calls it.
    """

    name: str
    words: str
    unit: str
    work: Literal["", "racking", "bottling"]
    usual: str
    of: tuple[str, ...]


NUMBERS: Final = (
    ReviewNumber("volume_l", "How much", "L", "", "all of it", ("volume",)),
    ReviewNumber("pressure_kpa", "Pressure to push with", "kPa", "", "20 and 35", ("pressure", "push pressure")),
    ReviewNumber("lift_m", "Lift of a push", "m", "", "0.5", ("height",)),
    ReviewNumber("head_start_m", "Head of a siphon at the start", "m", "", "0.9", ("head at the start",)),
    ReviewNumber("head_end_m", "Head at the end", "m", "", "0.4", ("head at the end",)),
    ReviewNumber("bore_mm", "Inner diameter of the tube", "mm", "", "8", ("bore",)),
    ReviewNumber("length_m", "Length of the tube", "m", "", "2", ("length",)),
    ReviewNumber("target_o2_percent", "Oxygen to purge to", "%", "racking", "0.5", ("target oxygen",)),
    ReviewNumber("blanket_kpa", "Blanket afterwards", "kPa", "racking", "55", ("blanket",)),
    ReviewNumber("bottle_l", "Size of the bottles", "L", "bottling", "0.75", ("bottle",)),
    ReviewNumber("o2_mg_l", "Oxygen that bottling brings", "mg/L", "bottling", "about 4", ("bottling oxygen",)),
)


# The command's options, by what the form of the page calls the same.
_FIELDS: Final = {"--to": "Into", **{f"--{each.name.replace('_', '-')}": each.words for each in NUMBERS}}
_OPTION: Final = re.compile(r"--[a-z][a-z0-9-]*")


def with_fields(text: str) -> str:
    """Name the fields of the form in a text, in place of the options of `leeside review`: 'or give "How much"'."""

    def field(option: re.Match[str]) -> str:
        words = _FIELDS.get(option[0])
        return option[0] if words is None else f'"{words}"'

    return _OPTION.sub(field, text)


@dataclass(frozen=True, slots=True)
class AskedReview:
    """A request as it came; "" for what it does not name. numbers: as texts, by name."""

    purpose: Literal["racking", "bottling"]
    to: str
    numbers: Mapping[str, str]

    @property
    def query(self) -> str:
        """The same as the query of an address, with a question mark in front; "" where it asks for nothing."""
        named = {"for": "" if self.purpose == "racking" else self.purpose, "to": self.to, **self.numbers}
        said = {name: text for name, text in named.items() if text}
        return f"?{urlencode(said)}" if said else ""


def asked_review(
    purpose: Annotated[Literal["racking", "bottling"], Query(alias="for", description="the work")] = "racking",
    to: Annotated[str, Query(max_length=_LONGEST_ID, description="the receiving vessel of a racking")] = "",
    volume_l: Number = "",
    pressure_kpa: Number = "",
    lift_m: Number = "",
    head_start_m: Number = "",
    head_end_m: Number = "",
    bore_mm: Number = "",
    length_m: Number = "",
    target_o2_percent: Number = "",
    blanket_kpa: Number = "",
    bottle_l: Number = "",
    o2_mg_l: Number = "",
) -> AskedReview:
    """Take what an address asks for: a dependency of the routes. What belongs to the other work is left out."""
    given = {
        "volume_l": volume_l,
        "pressure_kpa": pressure_kpa,
        "lift_m": lift_m,
        "head_start_m": head_start_m,
        "head_end_m": head_end_m,
        "bore_mm": bore_mm,
        "length_m": length_m,
        "target_o2_percent": target_o2_percent,
        "blanket_kpa": blanket_kpa,
        "bottle_l": bottle_l,
        "o2_mg_l": o2_mg_l,
    }
    numbers = {each.name: given[each.name].strip() for each in NUMBERS if each.work in ("", purpose)}
    return AskedReview(purpose, to if purpose == "racking" else "", numbers)


def review_asked(vessel: str, asked: AskedReview) -> ReviewAsked:
    """Make it what is to be reviewed. Raises OutOfRange, naming the field, for a text that is not a number."""
    numbers = {name: _number(name, text) for name, text in asked.numbers.items()}
    bottle_l = numbers.get("bottle_l")
    target = numbers.get("target_o2_percent")
    return ReviewAsked(
        vessel=vessel,
        purpose=asked.purpose,
        to=asked.to or None,
        racking=RackingWish(
            volume_l=numbers["volume_l"],
            pressure_kpa=numbers["pressure_kpa"],
            lift_m=numbers["lift_m"],
            head_start_m=numbers["head_start_m"],
            head_end_m=numbers["head_end_m"],
            bore_mm=numbers["bore_mm"],
            length_m=numbers["length_m"],
            target_o2_percent=RackingWish().target_o2_percent if target is None else target,
            blanket_kpa=numbers.get("blanket_kpa"),
        ),
        bottling=BottlingWish(
            bottle_l=BottlingWish().bottle_l if bottle_l is None else (bottle_l,), o2_mg_l=numbers.get("o2_mg_l")
        ),
    )


def check_vessel(cellar: Cellar, vessel: str) -> None:
    """Refuse what is not a vessel of the cellar file. Raises HTTPException 404."""
    vessels = [each.id for each in cellar.vessel]
    if vessel not in vessels:
        near = nearest(vessel, vessels)
        there = f"did you mean {near}?" if near else f"there are: {', '.join(vessels) or 'none'}"
        raise HTTPException(404, f"no vessel '{vessel}'; {there}")


def reviewed(cellar: Cellar, store: Store, vessel: str, asked: AskedReview, now_ms: int) -> WholeReview:
    """Review a vessel of the cellar file as it is asked for; call inside ``store.read()``.

    Raises ReviewRefused where there is no wine, and OutOfRange for what is wished.
    """
    vessels = [each.id for each in cellar.vessel]
    if asked.to and asked.to not in vessels:
        raise OutOfRange("receiver", f"no vessel '{asked.to}'; there are: {', '.join(vessels)}")
    return whole_review(cellar, store, review_asked(vessel, asked), cellar.file, now_ms)


def _number(name: str, text: str) -> float | None:
    if not text:
        return None
    try:
        # Some write a comma.
        number = float(text.replace(",", "."))
    except ValueError:
        raise OutOfRange(name, f"'{text}' is not a number") from None
    if not math.isfinite(number):
        raise OutOfRange(name, f"'{text}' is not a usable number")
    return number
