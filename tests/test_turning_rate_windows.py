"""A limit on a rate of change over a restart: what was read before it counts."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from cellar_text import KEG, MQTT, mail, site, temperature
from turning_bench import Bench

from ingest.store.alarms.alarm_record import alarm_rows
from ingest.store.alarms.messages import recent_messages

FILE = "\n".join((site(waking="00:00-23:59"), MQTT, KEG, temperature(every="60 s"), mail()))
KEY = "K1/temperature/change"


class WarmingKeg(Bench):
    """A keg with a thermometer and only default limits."""

    def warm(self, minutes: int, begin_c: float, end_c: float) -> None:
        """Let the temperature go from one to the other, with a reading a minute."""
        for minute in range(minutes):
            value = begin_c + (end_c - begin_c) * minute / minutes
            self.appender.append([(self.series["k1-temperature"], self.now.utc_ms, value, 0)])
            self.ingest_lives()
            self.turn(60.0)

    def state(self) -> str:
        return next(row.state for row in alarm_rows(self.store) if row.key == KEY)


@pytest.fixture
def keg(tmp_path: Path) -> Iterator[WarmingKeg]:
    made = WarmingKeg(tmp_path, FILE)
    yield made
    made.store.close()


@pytest.mark.parametrize("settled", [False, True], ids=["fresh", "settled"])
def test_what_was_read_before_a_restart_counts(keg: WarmingKeg, settled: bool) -> None:
    keg.warm(40, 12.0, 16.0)
    assert keg.state() == "normal"
    if settled:
        keg.settle(older_than_s=600.0)
    keg.restart()
    keg.warm(15, 16.0, 17.6)
    assert keg.state() == "unacknowledged"
    (message,) = recent_messages(keg.store, 100)
    assert message.subject.startswith("LOW PRIORITY: K1 temperature change 5.")


def test_what_was_read_longer_ago_does_not(keg: WarmingKeg) -> None:
    keg.warm(40, 12.0, 16.0)
    keg.restart()
    keg.warm(30, 16.0, 16.0)
    keg.warm(20, 16.0, 17.6)
    assert keg.state() == "normal"
