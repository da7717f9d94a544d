"""The range that a number must be in: beyond it arithmetic refuses, and names the range."""

from __future__ import annotations

__all__ = ["AllowedRange"]

from math import isfinite
from typing import NamedTuple

from alerts.errors import OutOfRange


class AllowedRange(NamedTuple):
    """From ``low`` to ``high``, both allowed. name: of what, also by which a refusal is recognised; unit: as it is
    written behind a number; says: what the range is about, in front of "2.5 to 4.5".
    """

    name: str
    low: float
    high: float
    unit: str
    says: str

    def checked(self, value: float) -> float:
        """Give the value back. Raises OutOfRange if it is not finite or outside."""
        if isfinite(value) and self.low <= value <= self.high:
            return value
        unit = f" {self.unit}" if self.unit else ""
        raise OutOfRange(
            self.name, f"{self.name} {value:g}{unit} is out of range; {self.says} {self.low:g} to {self.high:g}{unit}"
        )

    def nearest(self, value: float) -> float:
        """Give the nearest value inside: only for steps aside from a value that was checked."""
        return min(max(value, self.low), self.high)
