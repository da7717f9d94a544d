"""A daemon's log: one line for each record, nothing in it that a terminal would obey, and no flood of one cause."""

from __future__ import annotations

__all__ = ["LEVELS", "LEVEL_VARIABLE", "CauseLimit", "LineFormatter", "log_to_stderr"]

import logging
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from ingest.plain_text import one_line

LEVELS: Final = ("error", "warning", "info", "debug")
# The variable of the environment by which `leeside run --log-level` reaches its daemons.
LEVEL_VARIABLE: Final = "LEESIDE_LOG_LEVEL"
# So many records of one cause are written at once; after that one a minute, with how many were left out.
BURST: Final = 20
EVERY_S: Final = 60.0
# Causes that are remembered; the text of a record, before its values are put in, is one.
_MOST_CAUSES: Final = 500
_LONGEST_LINE: Final = 2000
_LONGEST_TRACE_LINES: Final = 60


class LineFormatter(logging.Formatter):
    """Formats a record as one line; a traceback follows in lines of its own."""

    def format(self, record: logging.LogRecord) -> str:
        """Give the record's line, and its traceback if it has one, without control characters."""
        head = f"{self.formatTime(record)} {record.name}: {record.getMessage()}{getattr(record, 'left_out', '')}"
        lines = [one_line(head, _LONGEST_LINE)]
        if record.exc_info:
            trace = self.formatException(record.exc_info).splitlines()
            lines += [one_line(line, _LONGEST_LINE) for line in trace[-_LONGEST_TRACE_LINES:]]
        return "\n".join(lines)


@dataclass(slots=True)
class _RecordCount:
    """written: records in the running minute; left_out: those that were not written since the last one that was."""

    since: float
    written: int = 0
    left_out: int = 0


class CauseLimit(logging.Filter):
    """Lets through a burst of records of one cause, then one a minute that says how many were left out."""

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        super().__init__()
        self._monotonic = monotonic
        self._causes: dict[tuple[str, int, str], _RecordCount] = {}

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether the record is written."""
        now = self._monotonic()
        key = (record.name, record.levelno, str(record.msg)[:200])
        cause = self._causes.get(key)
        if cause is None:
            if len(self._causes) >= _MOST_CAUSES:
                self._causes.pop(next(iter(self._causes)))
            cause = self._causes[key] = _RecordCount(now)
        if now - cause.since >= EVERY_S:
            cause.since, cause.written = now, BURST - 1 if cause.left_out else 0
        if cause.written >= BURST:
            cause.left_out += 1
            return False
        cause.written += 1
        if cause.left_out:
            record.left_out = f" ({cause.left_out:,} more like this were left out)"
            cause.left_out = 0
        return True


def log_to_stderr(level: str = "") -> None:
    """Send the log of this process to standard error, which systemd or a shell keeps.

    level: from which level on, one of ``LEVELS``; another text is as none.
    """
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(LineFormatter())
    handler.addFilter(CauseLimit())
    logging.basicConfig(level=level.upper() if level in LEVELS else logging.INFO, handlers=[handler])
