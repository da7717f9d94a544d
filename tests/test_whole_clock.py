"""The wall clock is set while leeside runs: the turn, delays and jobs go on in time. Stepped by libfaketime."""

from __future__ import annotations

from pathlib import Path

import pytest
from brokers import Mosquitto
from cellar_text import watched_keg, write_cellar
from eventually import eventually
from mail_server import Inbox, mail_server
from running import Leeside, leeside_process

from ingest.simulation.loopback import free_port
from ingest.store import open_existing
from ingest.store.pulse_rows import pulses
from ingest.store.readings.series_history import raw

pytestmark = pytest.mark.whole

LIBRARY = next(Path("/usr/lib").glob("*/faketime/libfaketime.so.1"))


class Clock:
    """The wall clock of the processes that run under ``environ``; their monotonic clock is the real one."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / "clock-offset"
        self.set(0)
        self.environ = {
            "LD_PRELOAD": str(LIBRARY),
            "FAKETIME_TIMESTAMP_FILE": str(self._file),
            "FAKETIME_NO_CACHE": "1",
            "DONT_FAKE_MONOTONIC": "1",
        }

    def set(self, offset_s: int) -> None:
        """Replaced in one step: a reader must never find half a number."""
        new = self._file.with_suffix(".new")
        new.write_text(f"{offset_s:+d}\n")
        new.replace(self._file)


def test_alarms_go_on_in_time_when_the_clock_is_set_back_and_forward(tmp_path: Path) -> None:
    inbox, mail_port, clock = Inbox(), free_port(), Clock(tmp_path)
    with Mosquitto(tmp_path) as broker, mail_server(inbox, mail_port):
        file = write_cellar(tmp_path, watched_keg(broker.port, mail_port))
        running = Leeside(file, environ=clock.environ)
        with running:
            broker.publish("cellar/K1/pressure", "12")
            eventually(lambda: _count(running) == 1)
            for offset_s, low, high in ((-3600, "0.5", "8"), (0, "0.4", "9"), (3600, "0.3", "10")):
                mails = len(inbox.mails)
                clock.set(offset_s)
                eventually(lambda: "the clock was set by" in running.said()[-2000:])
                broker.publish("cellar/K1/pressure", low)
                _await_mails(inbox, mails + 1)
                broker.publish("cellar/K1/pressure", high)
                _await_mails(inbox, mails + 2)
            _pulses_go_on(running)
        assert running.said().count("the clock was set by") >= 3
        with open_existing(running.store_path) as store:
            times = [row.at_ms for row in raw(store, 1)]
    # Seven readings, each later than the one before, whatever the clock said.
    assert len(times) == 7
    assert times == sorted(set(times))


def test_a_wrong_clock_causes_no_false_mail_and_hides_no_dead_broker(tmp_path: Path) -> None:
    """A day ahead for two pulses and right again, then an hour back; the broker dies; leeside restarts without it."""
    inbox, mail_port, clock = Inbox(), free_port(), Clock(tmp_path)
    with Mosquitto(tmp_path) as broker, mail_server(inbox, mail_port):
        always_awake = watched_keg(broker.port, mail_port).replace("[site]", '[site]\nwaking = "00:00-23:59"')
        running = Leeside(write_cellar(tmp_path, always_awake), environ=clock.environ)
        with running:
            broker.publish("cellar/K1/pressure", "12")
            eventually(lambda: _count(running) == 1)
            for sent, offset_s in enumerate((86_400, 0, -3600), 2):
                clock.set(offset_s)
                _pulses_go_on(running)
                broker.publish("cellar/K1/pressure", "12")
                eventually(lambda sent=sent: _count(running) == sent)  # type: ignore[misc]  # the number is its own
            assert inbox.mails == []
            broker.kill()
            eventually(lambda: len(inbox.mails) == 2, within_s=240)
        with open_existing(running.store_path) as store:
            times = [row.at_ms for row in raw(store, 1)]
        assert times[-1] - times[0] < 180_000, "the day ahead left no trace"
        with running:
            _pulses_go_on(running)
            broker.start()
            _await_mails(inbox, 3)
    # That the clock is not right is true, and so are the others.
    assert sorted(mail["Subject"] for mail in inbox.mails) == [
        "BACK TO NORMAL after: leeside broker, not responding for 1 min 40 s",
        "MEDIUM PRIORITY: leeside broker, not responding for 1 min 40 s",
        "MEDIUM PRIORITY: leeside clock, not right for 1 min 40 s",
    ]


def _await_mails(inbox: Inbox, count: int) -> None:
    # A delay that counts in the wall clock's time would take an hour, or none.
    eventually(lambda: len(inbox.mails) == count)


def _count(running: Leeside) -> int:
    with open_existing(running.store_path) as store:
        return int(store.connection.execute("SELECT count(*) FROM fresh").fetchone()[0])


def _pulses_go_on(running: Leeside) -> None:
    def times() -> list[int]:
        with open_existing(running.store_path) as store:
            return [pulse.at_ms for pulse in pulses(store) if pulse is not None]

    before = times()
    assert len(before) == 2
    eventually(lambda: not set(before) & set(times()))
    assert leeside_process("alarms", running.file).stdout != ""
