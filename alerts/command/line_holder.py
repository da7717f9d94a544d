"""Whether the program that has a serial line open is the running leeside itself."""

from __future__ import annotations

__all__ = ["held_by_leeside"]

from ingest.cellar import Cellar
from ingest.errors import StoreError
from ingest.sources.line_trial import LineTrial
from ingest.store import open_existing
from ingest.store.pulse import PULSE_S, pulses

_SIGNS_MISSED = 3


def held_by_leeside(cellar: Cellar, line: str, trial: LineTrial, now_ms: int) -> int | None:
    """The process id of the ingest daemon if it is the one that reads this line, else None.

    now_ms: UTC milliseconds. Where another user's processes cannot be looked into, the daemon's sign of life is
    believed: young, and with this line open.
    """
    if not trial.in_use:
        return None
    try:
        with open_existing(cellar.store_path) as store:
            beat = pulses(store).get("ingest")
    except StoreError:
        return None
    if beat is None:
        return None
    if trial.holder is not None:
        return beat.pid if trial.holder.pid == beat.pid else None
    lines = beat.body.get("lines")
    told = lines.get(line) if isinstance(lines, dict) else None
    is_open = isinstance(told, dict) and bool(told.get("open"))
    return beat.pid if is_open and now_ms - beat.at_ms < _SIGNS_MISSED * PULSE_S * 1000 else None
