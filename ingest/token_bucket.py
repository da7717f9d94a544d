"""A token bucket: so many at once, and then one after each interval. Pure; the time comes in as an argument."""

from __future__ import annotations

__all__ = ["TokenBucket"]

from dataclasses import dataclass


@dataclass(slots=True)
class TokenBucket:
    """most: so many tokens it holds; every_s: seconds until one more comes; left: the tokens in it, of which somebody
    may put in more than it holds; at_s: when it was filled last, monotonic seconds, None for never.
    """

    most: float
    every_s: float
    left: float
    at_s: float | None = None

    def fill(self, now_s: float) -> None:
        """Add what has come since it was filled last."""
        if self.at_s is not None and self.left < self.most:
            self.left = min(self.most, self.left + (now_s - self.at_s) / self.every_s)
        self.at_s = now_s

    def take(self) -> bool:
        """Take one token; False, and nothing taken, if there is none."""
        if self.left < 1.0:
            return False
        self.left -= 1.0
        return True

    @property
    def wait_s(self) -> float:
        """How long until there is a token, seconds; 0 if there is one."""
        return max((1.0 - self.left) * self.every_s, 0.0)
