"""The shapes that sources, probes and store share: reading, quality and its reason, series as declared, scale.

On the hot path a reading is the bare tuple ``(series, at_ms, number, quality)``; this file says what the four mean.
``quality`` is one integer: the class in the two low bits, the reason in the six above them, and a mark for an
estimated time above those.
"""

from __future__ import annotations

__all__ = [
    "ESTIMATED",
    "LARGEST_DOUBLE",
    "LARGEST_VALUE",
    "Declaration",
    "Part",
    "PartKind",
    "Quality",
    "Reading",
    "Reason",
    "Row",
    "Scale",
    "quality_class",
    "quality_code",
    "quality_reason",
]

import sys
from enum import IntEnum
from typing import Final, Literal, NamedTuple

# A value beyond this, in its quantity's unit and with either sign, is refused as not finite: a double ends at 1.8e308,
# and the rest is room for a calibration's gain, decimals and the sum of a day.
LARGEST_VALUE: Final = 1e280
LARGEST_DOUBLE: Final = sys.float_info.max


class Quality(IntEnum):
    """How far a reading can be trusted."""

    GOOD = 0
    UNCERTAIN = 1
    BAD = 2


class Reason(IntEnum):
    """Why a reading is not good, or what is special about it. The numbers are stored: never reuse one."""

    NONE = 0
    OUT_OF_RANGE = 1  # outside what the quantity can plausibly be
    IMPORTED = 2  # brought in from elsewhere: kept and shown, never judged by a limit
    BACKLOG = 3  # a number without a time of its own that arrived in a burst after a break
    CLOCK = 4  # stored while the board's clock could not be believed
    JUMP = 5  # a change that is faster than the thing measured can change
    STUCK = 6  # no change where there used to be noise
    RAIL = 7  # the signal stands at the end of what its converter can say
    FAULT = 8  # the signal says that wire, transmitter or supply failed
    SATURATED = 9  # just beyond the signal's measuring range
    UNSETTLED = 10  # an instrument's power-on value, or one that waits for confirmation


# Added to a stored quality where the reading's time is an estimate, because the board's clock could not be believed.
ESTIMATED = 256


class Reading(NamedTuple):
    """series: the series' id in the store; at_ms: UTC milliseconds; number: as the wire said it, after linearising;
    quality: see ``quality_code``."""

    series: int
    at_ms: int
    number: float
    quality: int


# A reading on the hot path: series, at_ms, number, quality.
Row = tuple[int, int, float, int]


def quality_code(quality: Quality, reason: Reason = Reason.NONE) -> int:
    """Class and reason as the one integer that is stored."""
    return int(quality) | (int(reason) << 2)


def quality_class(code: int) -> Quality:
    """The class of a stored quality."""
    return Quality(code & 3)


def quality_reason(code: int) -> Reason:
    """The reason of a stored quality."""
    return Reason((code >> 2) & 63)


class Declaration(NamedTuple):
    """A probe as the cellar file declares it now: value = gain x number + offset, number in ``unit``.

    former_probe, former_place: the names before `was` renamed them, or the same names.
    """

    probe: str
    place: str
    quantity: str
    gain: float
    offset: float
    unit: str
    former_probe: str
    former_place: str


PartKind = Literal["file", "barometer", "calibration"]


class Scale(NamedTuple):
    """From from_ms (UTC ms) on: value = gain x number + offset; unit is the number's own."""

    from_ms: int
    gain: float
    offset: float
    unit: str


class Part(NamedTuple):
    """One row of the table ``scale``; because: who or what says so."""

    from_ms: int
    kind: PartKind
    gain: float
    offset: float
    unit: str
    because: str
