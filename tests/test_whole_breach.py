"""The main job, whole: a message at a real broker becomes a mail at a real mail server."""

from __future__ import annotations

from pathlib import Path

import pytest
from brokers import Mosquitto
from cellar_text import watched_keg, write_cellar
from eventually import eventually
from mail_server import Inbox, mail_server, plain_text
from running import Leeside, leeside, leeside_process

from ingest.simulation.loopback import free_port
from ingest.store import open_existing
from ingest.store.alarms.messages import recent_messages

pytestmark = pytest.mark.whole


def test_a_blanket_that_goes_is_one_mail_and_a_restart_repeats_nothing(tmp_path: Path) -> None:
    inbox, mail_port = Inbox(), free_port()
    with Mosquitto(tmp_path) as broker, mail_server(inbox, mail_port):
        running = Leeside(write_cellar(tmp_path, watched_keg(broker.port, mail_port)))
        with running:
            broker.publish("cellar/K1/pressure", "12")
            eventually(lambda: "82.7 kPa" in leeside("now", running.file).stdout)
            assert not inbox.mails
            broker.publish("cellar/K1/pressure", "0.5")
            eventually(lambda: inbox.mails)
            mail = inbox.mails[0]
            assert mail["Subject"] == "HIGH PRIORITY: K1 pressure 3.4 kPa, below 5 kPa"
            assert mail["Auto-Submitted"] == "auto-generated"
            assert mail["Date"] and mail["Message-ID"]
            body = plain_text(mail)
            # Gas may be in the room: how to go in follows what is wrong.
            fact, caution = body.splitlines()[:2]
            assert fact == "K1: pressure is 3.4 kPa, below the limit of 5 kPa."
            assert caution.startswith("Caution: air the room before you go in")
            assert "Air can reach the wine." in body
            assert "Look at the lid." in body
        with running:
            # The alarm still stands, known by the same id, and one more reading of the same kind changes nothing.
            broker.publish("cellar/K1/pressure", "0.5")
            stands = leeside_process("alarms", running.file)
            assert stands.returncode == 1
            occurrence = stands.stdout.split()[0]
            assert f"leeside acknowledge {running.file} {occurrence}" in body
            seen = leeside_process("acknowledge", running.file, occurrence, "--who", "Ana", "--note", "on my way")
            assert (seen.returncode, seen.stdout) == (0, f"acknowledged: {occurrence} (K1/pressure/low)\n")
            again = leeside_process("acknowledge", running.file, occurrence)
            assert again.returncode == 1
            assert "acknowledged already (by Ana)" in again.stdout
        with running:
            assert "seen by Ana" in leeside_process("alarms", running.file).stdout
            broker.publish("cellar/K1/pressure", "8")
            eventually(lambda: len(inbox.mails) == 2)
            back = inbox.mails[1]
            assert back["Subject"] == "BACK TO NORMAL at 55.2 kPa after: K1 pressure 3.4 kPa, below 5 kPa"
            assert back["References"] == mail["Message-ID"]
            quiet = leeside_process("alarms", running.file)
            assert (quiet.returncode, quiet.stdout) == (0, "There is no alarm.\n")
    # Over three runs: one mail for the raise, one for the return.
    assert len(inbox.mails) == 2
    with open_existing(running.store_path) as store:
        assert [row.state for row in recent_messages(store)] == ["sent", "sent"]


def test_a_mail_server_that_is_away_gets_the_mail_once_when_it_is_back(tmp_path: Path) -> None:
    """The first waits are 5 and 15 s, shortened here to what a test can wait for by a clock that runs: see
    test_message_outbox for ten minutes by the clock given as an argument."""
    inbox, mail_port = Inbox(), free_port()
    with Mosquitto(tmp_path) as broker:
        running = Leeside(write_cellar(tmp_path, watched_keg(broker.port, mail_port)))
        with running:
            broker.publish("cellar/K1/pressure", "0.5", "0.4")
            eventually(lambda: _attempts(running) >= 1)
        # Nothing is lost by a restart in between.
        with running, mail_server(inbox, mail_port):
            eventually(lambda: inbox.mails)
            eventually(lambda: _states(running) == ["sent"])
    assert len(inbox.mails) == 1


def _attempts(running: Leeside) -> int:
    with open_existing(running.store_path) as store:
        return max((row.attempts for row in recent_messages(store)), default=0)


def _states(running: Leeside) -> list[str]:
    with open_existing(running.store_path) as store:
        return [row.state for row in recent_messages(store)]


def test_a_broker_that_dies_is_one_message_not_one_for_each_probe(tmp_path: Path) -> None:
    """What is kept of the daemons' pulses is what the limits on leeside itself judge; see test_watch_own_limits
    for the times. Here: the state is told by `now`, and readings flow again when the broker is back."""
    with Mosquitto(tmp_path) as broker:
        running = Leeside(write_cellar(tmp_path, watched_keg(broker.port, free_port())))
        with running:
            broker.publish("cellar/K1/pressure", "8")
            eventually(lambda: "55.2 kPa" in leeside("now", running.file).stdout)
            broker.kill()
            eventually(lambda: "Nothing listens at" in leeside("now", running.file).stdout)
            broker.start()
            eventually(lambda: "broker: connected" in leeside("now", running.file).stdout, within_s=40)
            broker.publish("cellar/K1/pressure", "9")
            eventually(lambda: "62.1 kPa" in leeside("now", running.file).stdout)
