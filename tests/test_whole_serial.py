"""A serial line, whole: a pseudo terminal stands for the cable; a lock on the lid's pressure becomes a mail."""

from __future__ import annotations

import os
import pty
import tty
from pathlib import Path

import pytest
from eventually import eventually
from mail_server import Inbox, free_port, mail_server
from running import Leeside, leeside, leeside_process

pytestmark = pytest.mark.whole

CELLAR = """
[site]
name = "Mill Lane cellar"
timezone = "Europe/Ljubljana"

[[serial]]
id = "bench-line"
device = "{device}"
baud = 9600
settle = "0 s"

[[vessel]]
id = "K1"
kind = "keg"
capacity = "19.5 L"
gas = "nitrogen"
max_pressure = "200 kPa"

[[vessel]]
id = "C1"
kind = "carboy"
capacity = "23 L"

[[probe]]
id = "k1-temperature"
at = "K1"
quantity = "temperature"
mounted = "wall"
serial = "bench-line"
pattern = 'K1 T=(?P<value>[-+0-9.]+)'
unit = "degC"
every = "10 s"

[[probe]]
id = "c1-pressure"
at = "C1"
quantity = "pressure"
serial = "bench-line"
pattern = 'C1 P=(?P<value>[-+0-9.]+) mbar'
unit = "mbar"
every = "10 s"

[[limit]]
at = "C1"
quantity = "pressure"
high = "2 kPa"
deadband = "0.5 kPa"
on_delay = "0 s"
off_delay = "0 s"
priority = "high"
consequence = "Glass bursts under pressure."
action = "Stand aside, then free the airlock."

[mail]
host = "127.0.0.1"
port = {mail}
from = "leeside@cellar.example"
to = ["cellarhand@cellar.example"]
"""


def test_lines_of_two_probes_noise_and_a_carboy_whose_airlock_is_blocked(tmp_path: Path) -> None:
    writer, reader = pty.openpty()
    tty.setraw(reader)
    inbox, mail_port = Inbox(), free_port()
    file = tmp_path / "cellar.toml"
    file.write_text(CELLAR.format(device=os.ttyname(reader), mail=mail_port))
    try:
        with mail_server(inbox, mail_port), Leeside(file) as running:
            eventually(lambda: "line bench-line: open" in leeside("now", file).stdout, within_s=20)
            os.write(writer, b"1 T=9.")  # what is left of a line that began before anyone listened
            os.write(writer, b"9\r\nK1 T=12.5\r\nC1 P=2.0 mbar\r\n\x00\xff\xfe 33 \r\nK1 T=nan\r\n")
            eventually(lambda: "12.5 °C" in leeside("now", file).stdout)
            os.write(writer, b"C1 P=25.0 mbar\r\n")
            eventually(lambda: inbox.mails)
            assert inbox.mails[0]["Subject"] == "HIGH: C1 pressure 2.5 kPa, above 2 kPa"
            assert "Stand aside, then free the airlock." in inbox.mails[0].get_content()
            eventually(lambda: "Not understood" in leeside("now", file).stdout, within_s=20)
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
