"""The watchdog of systemd: how often a process has to be heard, and when. Standard library only, no clock."""

from __future__ import annotations

__all__ = ["WATCHDOG_NAMES", "Watchdog", "watchdog_s"]

from collections.abc import Mapping
from typing import Final

# The variables by which systemd asks a process to be heard: sd_watchdog_enabled(3).
WATCHDOG_NAMES: Final = ("WATCHDOG_USEC", "WATCHDOG_PID")

# How often `leeside run` wants to hear from the processes that it started.
_USUAL_S: Final = 10.0


def watchdog_s(environ: Mapping[str, str], pid: int) -> float | None:
    """How often systemd wants to hear from this process [s], None where it does not ask.

    Half of what WATCHDOG_USEC allows, as sd_watchdog_enabled(3) advises; WATCHDOG_PID says whom it is for.
    """
    usec, wanted = environ.get("WATCHDOG_USEC", ""), environ.get("WATCHDOG_PID") or str(pid)
    return int(usec) / 2e6 if usec.isdecimal() and int(usec) > 0 and wanted == str(pid) else None


class Watchdog:
    """Says when a daemon that works is to be heard again: every ten seconds, or as often as systemd asks.

    every_s: that time; mono: monotonic seconds at the start.
    """

    def __init__(self, environ: Mapping[str, str], pid: int, mono: float) -> None:
        self.every_s = min(_USUAL_S, watchdog_s(environ, pid) or _USUAL_S)
        self._heard_mono = mono

    def due(self, mono: float) -> bool:
        """Whether it is time again; the next time counts from a moment at which it was."""
        if mono - self._heard_mono < self.every_s:
            return False
        self._heard_mono = mono
        return True
