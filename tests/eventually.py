"""Waiting for something that another thread or process does without signalling it."""

from __future__ import annotations

__all__ = ["eventually"]

import threading
import time
from collections.abc import Callable


def eventually(holds: Callable[[], object], *, within_s: float = 30.0) -> None:
    """Return soon after ``holds()`` is true; fail if not within the time, which is long enough for a busy machine."""
    deadline = time.monotonic() + within_s
    never = threading.Event()
    pause_s = 0.01
    while not holds():
        assert time.monotonic() < deadline, f"still not so after {within_s} s"
        never.wait(pause_s)
        # Waiting must not take the processor from what is waited for.
        pause_s = min(1.2 * pause_s, 0.1)
