"""A daemon as a process: its argument, its log, its signals, its exit code, the parent that it must not outlive."""

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
from ingest.daemon_log import log_to_stderr
from ingest.errors import IngestError


class Daemon(Protocol):
    """What both daemons are: ``start``, then ``run`` until ``stop_event`` is set, then ``stop``."""

    stop_event: Event

    def start(self) -> None:
        """Open what it reads from and speaks to."""

    def run(self) -> None:
        """Work until ``stop_event`` is set."""

    def stop(self) -> None:
        """Close what is open; nothing taken is lost."""


def wall_ms() -> int:
    """UTC now, in milliseconds."""
    return time.time_ns() // 1_000_000


def orphaned(parent: str | None) -> bool:
    """Whether `leeside run`, whose process id is ``parent``, is gone; what it started must then end as well."""
    return bool(parent) and str(os.getppid()) != parent


def run_daemon(
    name: str, build: Callable[[Cellar, Mapping[str, str]], Daemon], arguments: Sequence[str] | None = None
) -> int:
    """Run a daemon on the cellar file that the one argument names, until SIGTERM or SIGINT; its exit code.

    0, or 2 when it cannot start. Signal handlers set a flag and nothing else: what they interrupt may hold a lock.
    """
    log_to_stderr()
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
