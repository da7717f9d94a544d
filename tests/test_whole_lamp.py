"""A lamp that follows the alarms: from a reading at the broker to the state that the same broker keeps."""

from __future__ import annotations

from pathlib import Path

import pytest
from brokers import Mosquitto
from cellar_text import table, watched_keg, write_cellar
from eventually import eventually
from kept_topics import kept
from mail_server import Inbox, mail_server
from running import Leeside, leeside

from ingest.simulation.loopback import free_port

pytestmark = pytest.mark.whole


def test_a_lamp_shows_the_alarm_that_it_was_seen_and_that_it_is_over(tmp_path: Path) -> None:
    lamp, mail_port = table("[[channel]]", id="lamp", kind="mqtt", topic="cellar/alarm", payload="plain"), free_port()
    with Mosquitto(tmp_path) as broker, mail_server(Inbox(), mail_port), kept(broker.port) as seen:
        with Leeside(write_cellar(tmp_path, watched_keg(broker.port, mail_port), lamp)) as running:
            eventually(lambda: seen == {"presence": "online", "high": "off", "medium": "off", "low": "off"})
            broker.publish("cellar/K1/pressure", "0.5")
            eventually(lambda: seen["high"] == "on")
            assert leeside("acknowledge", running.file, "--all").returncode == 0
            eventually(lambda: seen["high"] == "seen")
            broker.publish("cellar/K1/pressure", "12")
            eventually(lambda: seen["high"] == "off")
        eventually(lambda: seen["presence"] == "offline")
