"""How long to wait before a message is tried again, and when to give up.

The first waits are short, for a mail server that restarts; RFC 5321 section 4.5.4.1 asks relays for at least 30
minutes, which is too slow for an alarm on its first hop. The figures are this project's choice.
"""

from __future__ import annotations

__all__ = ["GIVE_UP_MS", "WAITS_S", "gives_up", "wait_ms"]

from typing import Final

WAITS_S: Final = (5, 15, 60, 300, 900)
JITTER: Final = 0.2
GIVE_UP_MS: Final = 24 * 3600 * 1000


def wait_ms(failures: int, chance: float) -> int:
    """Milliseconds to wait after this many failures (1 or more); chance in [0, 1) spreads it by 20 % either way."""
    if failures < 1:
        raise ValueError(f"a wait follows at least one failure, not {failures}")
    if not 0 <= chance < 1:
        raise ValueError(f"chance must be at least 0 and below 1, not {chance}")
    wait_s = WAITS_S[min(failures, len(WAITS_S)) - 1]
    return round(wait_s * 1000 * (1 + JITTER * (2 * chance - 1)))


def gives_up(now_ms: int, closed_ms: int | None) -> bool:
    """Whether a message that failed is not tried again: a day after its occurrence closed; never while that is open."""
    return closed_ms is not None and now_ms - closed_ms >= GIVE_UP_MS
