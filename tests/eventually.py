"""Waiting for something that another thread or process does and nothing announces."""

from __future__ import annotations

__all__ = ["eventually"]

import threading
import time
from collections.abc import Callable


def eventually(holds: Callable[[], object], *, within_s: float = 10.0) -> None:
    """Return as soon as ``holds()`` is true; fail if it is not within the time."""
    deadline = time.monotonic() + within_s
    never = threading.Event()
    while not holds():
        assert time.monotonic() < deadline, f"still not so after {within_s} s"
        never.wait(0.01)
