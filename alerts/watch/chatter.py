"""Chatter: an alarm that comes and goes again and again (IEC 62682: chattering alarm).

More than ``MOST_RAISES`` raises of one limit within ``WINDOW_S`` are chatter. It is reported once; after that nothing
is sent about its comings and goings until it is calm. Every step stays in the alarm record.
"""

from __future__ import annotations

__all__ = ["MOST_RAISES", "STAYS_S", "STEADY", "WINDOW_S", "Chatter"]

from dataclasses import dataclass, replace
from typing import Final

from alerts.watch.alarm_table import Occasion

# A working test. ISA-18.2 calls an alarm chattering that repeats three times or more within a minute (from memory).
# Mail about a cellar is read by one person, so this counts far more slowly. This project's choice.
MOST_RAISES: Final = 3
WINDOW_S: Final = 30 * 60.0
# No alarm that is raised often enough to chatter stays on for this long.
STAYS_S: Final = WINDOW_S / MOST_RAISES


@dataclass(frozen=True, slots=True)
class Chatter:
    """How restless a limit is.

    raises_ms: its last raises; since_ms: the first of those that made it chatter, None while it does not; count:
    raises since then; changed_ms: when it was last raised or returned; occurrence: the one that the report was about.
    Times are UTC milliseconds.
    """

    raises_ms: tuple[int, ...] = ()
    since_ms: int | None = None
    count: int = 0
    changed_ms: int = 0
    occurrence: str | None = None

    def after(self, occasion: Occasion | None, occurrence: str | None, at_ms: int) -> tuple[Chatter, Occasion | None]:
        """Take a step of the alarm; what is known then, and the occasion of the message that is sent about the step."""
        if occasion is Occasion.REMOVED or occasion is Occasion.CALM:
            return Chatter(), occasion
        if occasion is Occasion.RETURNED and self.since_ms is not None:
            return replace(self, changed_ms=at_ms), None
        if occasion is not Occasion.RAISED:
            return self, occasion
        # A raise that lies ahead was stamped before the clock was set back.
        recent = [raised for raised in self.raises_ms if 0 <= at_ms - raised < WINDOW_S * 1000]
        raises = (*recent[-MOST_RAISES:], at_ms)
        if self.since_ms is not None:
            return replace(self, raises_ms=raises, count=self.count + 1, changed_ms=at_ms), None
        if len(raises) <= MOST_RAISES:
            return Chatter(raises), occasion
        return Chatter(raises, raises[0], len(raises), at_ms, occurrence), Occasion.CHATTERING

    def is_over(self, *, active: bool, now_ms: int) -> bool:
        """Whether it is calm again: not raised for a whole window, or on for longer than chatter can be."""
        if self.since_ms is None:
            return False
        calm_ms = now_ms - self.changed_ms
        # Before the last change: the clock was set back, and nobody knows how long it has been calm.
        return calm_ms < 0 or calm_ms >= (STAYS_S if active else WINDOW_S) * 1000


STEADY: Final = Chatter()
