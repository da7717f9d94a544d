"""`leeside check --clock`: what the store believes to be the time, the machine's clock, and what lies in the future."""

from __future__ import annotations

__all__ = ["check_clock"]

from collections.abc import Iterator

from alerts.command.checks.check_result import CheckResult, failed, passed
from alerts.view.format import counted, exact_time
from ingest.cellar import Cellar
from ingest.errors import StoreError
from ingest.machine_clock import boot_id
from ingest.store import Store, open_existing
from ingest.store.change_feed import cursor
from ingest.store.readings.series import all_series
from ingest.store.readings.undated import KNOWN
from ingest.store.readings.wrong_future import forget_future, future_readings

_SET_BY = {True: "set by the network", False: "not set by the network", None: "nobody knows whether by the network"}
# What the writer allows as well.
_TOLERANCE_MS = 1000


def check_clock(cellar: Cellar, now_ms: int, steered: bool | None, *, forget: bool) -> Iterator[CheckResult]:
    """Check the machine's clock against the store.

    now_ms: UTC milliseconds; steered: whether the network steers the clock; forget: go back from a wrong future first.
    """
    zone = cellar.site.zone
    yield passed("clock", "machine", f"{exact_time(now_ms, zone)}, {_SET_BY[steered]}")
    try:
        with open_existing(cellar.store_path) as store:
            if forget:
                marked = forget_future(store, now_ms, boot_id())
                yield passed(
                    "clock",
                    "forgotten",
                    f"{counted(marked, 'reading')} marked; the store goes on from the machine's clock",
                )
            yield _believed(cellar, store, now_ms)
            yield from _future(cellar, store, now_ms)
    except StoreError as error:
        yield failed("store", str(cellar.store_path), str(error))


def _believed(cellar: Cellar, store: Store, now_ms: int) -> CheckResult:
    known_ms = cursor(store, KNOWN)
    if known_ms is None:
        return passed("clock", "store", "no time is known yet")
    known = exact_time(known_ms, cellar.site.zone)
    if known_ms <= now_ms + _TOLERANCE_MS:
        return passed("clock", "store", f"the last time that was believed is {known}")
    text = (
        f"it was already {known} by what is stored. If the machine's clock is right now, go back to it: "
        f"`leeside check {cellar.file} --clock --forget`. If it is wrong, set it"
    )
    return failed("clock", "store", text)


def _future(cellar: Cellar, store: Store, now_ms: int) -> Iterator[CheckResult]:
    probes = {row.id: f"{row.probe} at {row.place}" for row in all_series(store)}
    for future in future_readings(store, now_ms):
        first, last = exact_time(future.from_ms, cellar.site.zone), exact_time(future.to_ms, cellar.site.zone)
        text = f"{counted(future.readings, 'reading')} of times that have not come yet, from {first} to {last}"
        if future.marked == future.readings:
            yield passed("future", probes[future.series], f"{text}; all are marked as uncertain (clock)")
        else:
            yield failed("future", probes[future.series], f"{text}; {future.marked} of them are marked")
