"""The machine's clocks: the even one of this boot, and whether the network sets the wall clock."""

from __future__ import annotations

__all__ = ["EvenTime", "boot_id", "even_time", "network_sets_clock"]

import ctypes
import functools
import time
from pathlib import Path
from typing import NamedTuple


class EvenTime(NamedTuple):
    """A moment that no setting of the clock moves. boot: the kernel's id of the boot; mono: its monotonic seconds."""

    boot: str
    mono: float

    def since(self, earlier: EvenTime) -> float | None:
        """Return the seconds since an earlier moment of the same boot, None where the boots differ or are unknown."""
        return self.mono - earlier.mono if self.boot and self.boot == earlier.boot else None


@functools.cache
def boot_id() -> str:
    """Return the kernel's id of this boot, "" where it gives none; monotonic seconds mean the same only within one."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except OSError:
        return ""


def even_time() -> EvenTime:
    """Return this moment."""
    return EvenTime(boot_id(), time.monotonic())


# include/uapi/linux/timex.h: the kernel sets this bit when somebody sets the clock by hand, and clears it once a time
# server's answers steer the clock.
_STA_UNSYNC = 0x40


class _Timeval(ctypes.Structure):
    _fields_ = (("seconds", ctypes.c_long), ("microseconds", ctypes.c_long))


class _Timex(ctypes.Structure):
    """``struct timex`` of adjtimex(2). modes = 0: nothing is changed, only read."""

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("constant", ctypes.c_long),
        ("precision", ctypes.c_long),
        ("tolerance", ctypes.c_long),
        ("time", _Timeval),
        ("tick", ctypes.c_long),
        # The rest is not looked at: 8 longs, 1 int and room for what a later kernel adds.
        ("rest", ctypes.c_byte * 256),
    )


def network_sets_clock() -> bool | None:
    """Return whether a time server steers the wall clock, by the kernel; None where that cannot be read."""
    timex = _Timex()
    try:
        state = ctypes.CDLL(None).adjtimex(ctypes.byref(timex))
    except (OSError, AttributeError):
        return None
    return None if state < 0 else not timex.status & _STA_UNSYNC
