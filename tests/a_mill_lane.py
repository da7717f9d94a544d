"""Mill Lane cellar on disk as the demo makes it: days of readings, its journal, and what is judged of them."""

from __future__ import annotations

__all__ = ["MillLaneOnDisk", "running_turns"]

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from a_store import NOW

from alerts.blanket.judge import GasJudge
from alerts.so2.judge import So2Judge
from alerts.turning.turner import Turner
from alerts.watch.turn_inputs import Now
from ingest.cellar import Cellar, load_cellar
from ingest.entering import enter
from ingest.probes.binding import declarations
from ingest.reading import Quality, Reason, quality_code
from ingest.simulation.loopback import free_port
from ingest.simulation.scenario import MillLane
from ingest.simulation.scenario_file import mill_lane_file
from ingest.simulation.scenario_journal import JOURNAL
from ingest.store import Store, create_or_open, open_existing
from ingest.store.judgements import keep_judgements
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.times import iso_utc

_IMPORTED = quality_code(Quality.GOOD, Reason.IMPORTED)


class MillLaneOnDisk:
    """Three kegs, a carboy and a cylinder, with a past that ends at ``now_ms``. Nothing of leeside runs.

    K2 begins to leak 18 minutes before the end. days: of readings, one in ``cadence_s`` of each probe; with no days
    there is only the journal. Close ``store`` in the end.
    """

    def __init__(self, folder: Path, *, now_ms: int = NOW, days: int = 2, cadence_s: int = 120) -> None:
        self.now_ms = now_ms
        self.file = folder / "cellar.toml"
        secret = folder / "broker-password"
        secret.write_text("secret\n", encoding="utf-8")
        self.file.write_text(
            mill_lane_file(
                broker_port=free_port(),
                user="cellarhand",
                password_file=secret,
                serial_device="/dev/null",
                mail_port=free_port(),
                page_port=free_port(),
                store_path=folder / "cellar.db",
            ),
            encoding="utf-8",
        )
        self.cellar: Cellar = load_cellar(self.file)
        self.store: Store = create_or_open(self.cellar.store_path, now_ms)
        series = declare(self.store, declarations(self.cellar), now_ms)
        appender = Appender(self.store)
        for probe, readings in MillLane(now_ms=now_ms, days=days).past_readings(cadence_s=cadence_s):
            appender.append([(series[probe], at_ms, number, _IMPORTED) for at_ms, number, _ in readings])
        for act in JOURNAL:
            at = iso_utc(now_ms - round(act.days_ago * 86_400_000))
            enter(self.store, self.cellar, act.kind, act.answers, who="Ana", now_ms=now_ms, at=at)
        self.judge(now_ms)

    def judge(self, at_ms: int) -> None:
        """Let SO2 and gas be judged as of a time, and one turn conclude from it."""
        for judge in (So2Judge(), GasJudge()):
            judgements = judge.judge(self.cellar, self.store, at_ms)
            with self.store.write() as connection:
                keep_judgements(connection, judge.name, judgements)
        self.turn(at_ms)

    def turn(self, at_ms: int) -> None:
        """Let the turn run at a time, as the alerts daemon does once a second."""
        now = Now(at_ms, at_ms / 1000)
        Turner(self.cellar, self.store, now).turn(now)


@contextmanager
def running_turns(cellar: Cellar, now_ms: int = NOW) -> Iterator[None]:
    """Let turns run beside the test at one time, as the alerts daemon does, so that requests are applied."""
    over = threading.Event()

    def run() -> None:
        with open_existing(cellar.store_path) as store:
            now = Now(now_ms, now_ms / 1000)
            turner = Turner(cellar, store, now)
            while not over.wait(0.02):
                turner.turn(now)

    thread = threading.Thread(target=run, name="turns", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join(10)
        assert not thread.is_alive()
