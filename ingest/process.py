"""A daemon as a process: argument, log, signals, exit code, and the parent process that it must not outlive."""

from __future__ import annotations

__all__ = ["Daemon", "orphaned", "run_daemon", "wall_ms"]

import logging
import os
import signal
import sqlite3
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from threading import Event
from types import FrameType
from typing import Protocol

from ingest.cellar import Cellar, load_cellar
from ingest.daemon_log import LEVEL_VARIABLE, log_to_stderr
from ingest.errors import IngestError


class Daemon(Protocol):
    """A daemon or the page's server: ``start``, then ``run`` until ``stop_event`` is set, then ``stop``."""

    stop_event: Event

    def start(self) -> None:
        """Open connections and start threads."""

    def run(self) -> None:
        """Work until ``stop_event`` is set."""

    def stop(self) -> None:
        """Close everything; nothing that was taken is lost."""


def wall_ms() -> int:
    """Read the wall clock (UTC milliseconds)."""
    return time.time_ns() // 1_000_000


def orphaned(parent: str | None) -> bool:
    """Say whether `leeside run`, whose process id is ``parent``, is gone; its children must then end too."""
    return bool(parent) and str(os.getppid()) != parent


def run_daemon(
    name: str, build: Callable[[Cellar, Mapping[str, str]], Daemon], arguments: Sequence[str] | None = None
) -> int:
    """Run a daemon on the cellar file that is its one argument, until SIGTERM or SIGINT, and return the exit code.

    0, or 2 if it cannot start. Signal handlers only set a flag: what they interrupt may hold a lock.
    """
    log_to_stderr(os.environ.get(LEVEL_VARIABLE, ""))
    log = logging.getLogger(name)
    given = list(sys.argv[1:] if arguments is None else arguments)
    if len(given) != 1:
        print(f"usage: python -m {name}.daemon FILE", file=sys.stderr)  # noqa: T201  a command's own words
        return 2
    stopping = Event()

    def on_signal(number: int, frame: FrameType | None) -> None:
        stopping.set()

    signal.signal(signal.SIGTERM, on_signal)
    signal.signal(signal.SIGINT, on_signal)
    try:
        daemon = build(load_cellar(Path(given[0])), os.environ)
    except IngestError as error:
        log.error("%s", error)
        return 2
    except sqlite3.Error as error:
        log.error("the store cannot be read (%s); `leeside restore` brings a backup back", error)
        return 2
    daemon.stop_event = stopping
    daemon.start()
    daemon.run()
    daemon.stop()
    return 0
