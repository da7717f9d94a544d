"""Whether the program that has a serial line open is the running leeside itself."""

from __future__ import annotations

__all__ = ["held_by_leeside"]

from ingest.cellar import Cellar
from ingest.errors import StoreError
from ingest.machine_clock import even_time
from ingest.sources.serial_port import LineTrial
from ingest.store import open_existing
from ingest.store.pulse_rows import pulses


def held_by_leeside(cellar: Cellar, line: str, trial: LineTrial, now_ms: int) -> int | None:
    """The process id of the ingest daemon if it is the one that reads this line, else None.

    now_ms: UTC milliseconds. Where another user's processes cannot be looked into, the daemon's pulse is believed:
    young, and with this line open.
    """
    if not trial.in_use:
        return None
    try:
        with open_existing(cellar.store_path) as store:
            pulse = pulses(store).ingest
    except StoreError:
        return None
    if pulse is None:
        return None
    if trial.holder is not None:
        return pulse.pid if trial.holder.pid == pulse.pid else None
    is_open = line in pulse.body.lines and pulse.body.lines[line].open
    return pulse.pid if is_open and pulse.responds(now_ms, even_time()) else None
