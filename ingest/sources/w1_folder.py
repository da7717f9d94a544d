"""The one-wire thermometers that the kernel shows."""

from __future__ import annotations

__all__ = ["chips_in"]

from pathlib import Path
from typing import Final

# Family codes of thermometers: DS18S20, DS1822, DS18B20, DS1825, DS28EA00 (their data sheets).
_THERMOMETERS: Final = ("10-", "22-", "28-", "3b-", "42-")


def chips_in(folder: Path) -> list[str]:
    """The ids of the thermometers in the kernel's folder, in order; [] where there is none, or no folder."""
    try:
        return sorted(entry.name for entry in folder.iterdir() if entry.name.startswith(_THERMOMETERS))
    except OSError:
        return []
