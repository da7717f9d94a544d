"""The alerts daemon's turns: every second, and at once when there is something new in the store."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from a_store import NOW
from cellar_text import KEG, SITE, limit, mqtt, probe, table, write_cellar
from eventually import eventually

from alerts.daemon import AlertsDaemon
from alerts.turning.turner import Turner
from alerts.watch import Now
from ingest.cellar import load_cellar
from ingest.machine_clock import even_time
from ingest.store import create_or_open, open_existing
from ingest.store.alarms.alarm_record import alarm_rows
from ingest.store.pulse_rows import pulses
from ingest.store.readings.fresh import Appender

LOW = limit(at="K1", quantity="pressure", low="5 kPa", on_delay="0 s", consequence="Air.", action="Look.")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return write_cellar(tmp_path, SITE, table("[store]", path="cellar.db"), mqtt(), KEG, probe(), LOW)


@contextmanager
def running(daemon: AlertsDaemon) -> Iterator[None]:
    daemon.start()
    thread = threading.Thread(target=daemon.run)
    thread.start()
    try:
        yield
    finally:
        daemon.stop_event.set()
        thread.join(10)
        daemon.stop()


def test_only_what_others_write_is_news(file: Path) -> None:
    cellar = load_cellar(file)
    with create_or_open(cellar.store_path, NOW) as store, create_or_open(cellar.store_path, NOW) as other:
        turner = Turner(cellar, store, Now(NOW, 0.0))
        turner.turn(Now(NOW, 0.0))  # its own pulse is written by this one
        assert not turner.has_news()
        Appender(other).append([(1, NOW, 12.0, 0)])
        assert turner.has_news()
        turner.turn(Now(NOW + 1000, 1.0))
        assert not turner.has_news()


def test_a_new_reading_is_judged_at_once(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("alerts.daemon.TURN_S", 3600.0)
    daemon = AlertsDaemon(load_cellar(file), {})
    with running(daemon), open_existing(daemon._store.path) as store:
        Appender(store).append([(1, NOW, 3.0, 0)])
        eventually(lambda: any(row.state == "unacknowledged" for row in alarm_rows(store)))


def test_its_pulse_carries_the_clock_that_nobody_can_set(file: Path) -> None:
    daemon = AlertsDaemon(load_cellar(file), {})
    with running(daemon), open_existing(daemon._store.path) as store:
        eventually(lambda: pulses(store).alerts is not None)
        pulse = pulses(store).alerts
        assert pulse is not None and pulse.beat.even is not None
        assert even_time().since(pulse.beat.even) is not None
