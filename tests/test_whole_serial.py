"""A serial line, whole: a pseudo terminal stands for the cable; a lock on the lid's pressure becomes a mail."""

from __future__ import annotations

import os
import pty
import tty
from pathlib import Path

import pytest
from cellar_text import CARBOY, KEG, SITE, limit, mail, probe, serial, temperature, write_cellar
from eventually import eventually
from mail_server import Inbox, mail_server, plain_text
from running import Leeside, leeside, leeside_process

from ingest.simulation.loopback import free_port

pytestmark = pytest.mark.whole

TEMPERATURE = temperature(
    mounted="wall", topic=None, serial="bench-line", pattern="K1 T=(?P<value>[-+0-9.]+)", every="10 s"
)
AIRLOCK = probe(
    "c1-pressure", "C1", topic=None, serial="bench-line", pattern="C1 P=(?P<value>[-+0-9.]+) mbar", unit="mbar",
    every="10 s",
)  # fmt: skip
BLOCKED = limit(
    at="C1", quantity="pressure", high="2 kPa", deadband="0.5 kPa", on_delay="0 s", off_delay="0 s", priority="high",
    consequence="Glass bursts under pressure.", action="Stand aside, then free the airlock.",
)  # fmt: skip


def test_lines_of_two_probes_noise_and_a_carboy_whose_airlock_is_blocked(tmp_path: Path) -> None:
    writer, reader = pty.openpty()
    tty.setraw(reader)
    inbox, mail_port = Inbox(), free_port()
    line = serial(os.ttyname(reader), baud=9600)
    file = write_cellar(tmp_path, SITE, line, KEG, CARBOY, TEMPERATURE, AIRLOCK, BLOCKED, mail(mail_port))
    try:
        with mail_server(inbox, mail_port), Leeside(file) as running:
            eventually(lambda: "line bench-line: open" in leeside("now", file).stdout)
            os.write(writer, b"1 T=9.")  # what is left of a line that began before anyone listened
            os.write(writer, b"9\r\nK1 T=12.5\r\nC1 P=2.0 mbar\r\n\x00\xff\xfe 33 \r\nK1 T=nan\r\n")
            eventually(lambda: "12.5 °C" in leeside("now", file).stdout)
            os.write(writer, b"C1 P=25.0 mbar\r\n")
            eventually(lambda: inbox.mails)
            assert inbox.mails[0]["Subject"] == "HIGH PRIORITY: C1 pressure 2.5 kPa, above 2 kPa"
            assert "Stand aside, then free the airlock." in plain_text(inbox.mails[0])
            eventually(lambda: "Not understood" in leeside("now", file).stdout)
            shown = leeside_process("now", file).stdout
            assert "1 x not text in the line's encoding" in shown
            assert "1 x no probe's pattern takes this line: no probe, bench-line bench-line" in shown
            assert "K1 T=nan" in shown
            history = leeside_process("history", file, "k1-temperature", "--csv").stdout.splitlines()
            assert [row.split(",")[1:] for row in history] == [["value", "unit", "quality"], ["12.5", "°C", "good"]]
            assert running.stop() == 0
    finally:
        os.close(writer)
        os.close(reader)
