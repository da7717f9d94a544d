"""A reading: a number with a time and a quality.

On the hot path a reading is the bare tuple ``(series, at_ms, number, quality)``; this file says what the four mean.
``quality`` is one integer: the class in the two low bits, the reason in the six above them, and a mark for an
estimated time above those.
"""

from __future__ import annotations

__all__ = ["ESTIMATED", "Quality", "Reading", "Reason", "quality_class", "quality_code", "quality_reason"]

from enum import IntEnum
from typing import NamedTuple


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
    FAULT = 8  # the instrument itself says that it failed
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


def quality_code(quality: Quality, reason: Reason = Reason.NONE) -> int:
    """Class and reason as the one integer that is stored."""
    return int(quality) | (int(reason) << 2)


def quality_class(code: int) -> Quality:
    """The class of a stored quality."""
    return Quality(code & 3)


def quality_reason(code: int) -> Reason:
    """The reason of a stored quality."""
    return Reason((code >> 2) & 63)
