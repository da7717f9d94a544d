"""A mail server that refuses or takes its time: what the owner sees, and that each message arrives once, in order."""

from __future__ import annotations

import time
from email.message import EmailMessage
from pathlib import Path

import pytest
from brokers import Mosquitto
from cellar_text import mail, watched_keg, write_cellar
from eventually import eventually
from mail_server import Inbox, mail_server
from running import Leeside, leeside

from ingest.simulation.loopback import free_port
from ingest.store import open_existing
from ingest.store.alarms.messages import MessageRow, recent_messages

pytestmark = pytest.mark.whole


def _keg(folder: Path, broker: Mosquitto, mail_port: int, **mail_settings: object) -> Leeside:
    text = watched_keg(broker.port, mail_port).replace(mail(mail_port), mail(mail_port, **mail_settings))
    return Leeside(write_cellar(folder, text))


def _messages(running: Leeside) -> list[MessageRow]:
    with open_existing(running.store_path) as store:
        return recent_messages(store)[::-1]


def _texts(inbox: Inbox) -> list[EmailMessage]:
    """What has come, without the pictures that were late."""
    return [each for each in inbox.mails if not each["Subject"].startswith("PICTURE")]


def test_a_refused_alarm_is_shown_and_comes_before_its_all_clear(tmp_path: Path) -> None:
    inbox, mail_port = Inbox(rcpt_answer="550 5.1.1 no such user here"), free_port()
    with Mosquitto(tmp_path) as broker, mail_server(inbox, mail_port):
        running = _keg(tmp_path, broker, mail_port)
        with running:
            broker.publish("cellar/K1/pressure", "0.5")
            eventually(lambda: [bool(row.last_error) for row in _messages(running)] == [True])
            shown = leeside("now", running.file)
            assert shown.returncode == 1
            assert "mail does not get out: 1 message not sent; the oldest has waited" in shown.stdout
            assert "does not take mail for ana@cellar.example: 550 5.1.1 no such user here" in shown.stdout
            broker.publish("cellar/K1/pressure", "12")
            eventually(lambda: [row.occasion for row in _messages(running)] == ["raised", "returned"])
            inbox.rcpt_answer = "250 OK"
            # The next try is in twenty minutes; the test cannot wait for them.
            with open_existing(running.store_path) as store, store.write() as connection:
                connection.execute("UPDATE message SET next_try_ms = 0 WHERE occasion = 'raised'")
            eventually(lambda: [row.state for row in _messages(running)] == ["sent", "sent"])
            leads = [each["Subject"].split(":")[0] for each in _texts(inbox)]
            assert leads == ["HIGH PRIORITY", "BACK TO NORMAL at 82.7 kPa after"]
            raised, returned = _texts(inbox)
            assert returned["References"] == raised["Message-ID"]
            assert "mail does not get out" not in leeside("now", running.file).stdout


def test_a_server_that_takes_long_after_the_mail_has_it_once_and_stops_nobody(tmp_path: Path) -> None:
    inbox, mail_port = Inbox(data_wait_s=3.0), free_port()
    with Mosquitto(tmp_path) as broker, mail_server(inbox, mail_port):
        running = _keg(tmp_path, broker, mail_port, timeout="1 s")
        with running:
            broker.publish("cellar/K1/pressure", "0.5")
            eventually(lambda: [row.state for row in _messages(running)] == ["sent"], within_s=20)
            assert len(_texts(inbox)) == 1
            inbox.data_wait_s = 600.0
            broker.publish("cellar/K1/pressure", "12")
            eventually(lambda: len(_texts(inbox)) == 2)
            begun = time.monotonic()
            assert running.stop() == 0
            assert time.monotonic() - begun < 15
