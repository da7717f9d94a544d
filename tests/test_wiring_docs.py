"""What docs/wiring.md tells to write can be written: its tables are taken, its broker keeps, its arithmetic is right."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path
from typing import Final

import pytest
from brokers import Mosquitto

from ingest.cellar import parse_cellar
from ingest.probes.signal import Counts, Signal

PAGE: Final = (Path(__file__).resolve().parent.parent / "docs" / "wiring.md").read_text(encoding="utf-8")

BASE: Final = """
[site]
name = "Mill Lane cellar"
timezone = "Europe/Ljubljana"
[mqtt]
host = "127.0.0.1"
""" + "".join(
    f"""
[[vessel]]
id = "K{number}"
kind = "keg"
capacity = "19.5 L"
gas = "nitrogen"
max_pressure = "200 kPa"
"""
    for number in range(1, 7)
)
LINE: Final = '[[serial]]\nid = "bench-line"\ndevice = "/dev/serial/by-id/usb-example"\n'


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", PAGE, re.DOTALL)


@pytest.mark.parametrize("block", [block for block in blocks("toml") if block.startswith("[")])
def test_each_table_of_the_page_is_taken(block: str) -> None:
    line = LINE if 'serial = "bench-line"' in block and "[[serial]]" not in block else ""
    parse_cellar(BASE + line + block, file="cellar.toml", base=Path("/srv/cellar"))


def test_the_tables_of_the_page_are_found() -> None:
    tables = [re.findall(r"^\[+(\w+)", block, re.MULTILINE) for block in blocks("toml")]
    assert tables.count(["probe"]) == 3
    assert tables.count(["serial", "probe"]) == 2
    assert ["w1"] in tables


def test_the_broker_of_the_page_keeps_more_than_its_default(tmp_path: Path) -> None:
    (settings,) = [block for block in blocks("text") if "listener" in block]
    # The listener and the place of the passwords are the test's; mosquitto refuses what it does not know.
    options = [
        line for line in settings.splitlines() if not line.startswith(("#", "listener", "allow_anon", "password_file"))
    ]
    assert [option.split()[0] for option in options] == ["max_queued_messages", "autosave_interval"]
    with Mosquitto(tmp_path, password=("leeside", "a password of the test"), options=options) as broker:
        subscribe = ["mosquitto_sub", "-h", broker.host, "-p", str(broker.port), "-u", "leeside"]
        subscribe += ["-P", "a password of the test", "-i", "leeside-test", "-c", "-q", "1", "-t", "cellar/#"]
        subprocess.run([*subscribe, "-E"], check=True, timeout=30)  # subscribes, and goes away
        broker.publish("cellar/K1/pressure", *map(str, range(1500)))
        kept = subprocess.run([*subscribe, "-C", "1500"], check=True, timeout=30, capture_output=True, text=True).stdout
    assert kept.split() == [str(number) for number in range(1500)]


def test_what_the_counts_of_the_page_mean() -> None:
    loop = Counts.parse("0-4095 = 0-22 mA")
    assert loop.wire_high == pytest.approx(3.3 / 150 * 1000)  # volts over ohms
    assert 0.022**2 * 150 == pytest.approx(0.073, abs=5e-4)  # watts in the shunt
    assert 24 - 0.022 * 150 == pytest.approx(20.7)
    assert loop.wire(1)[0] == pytest.approx(0.0054, abs=5e-5)
    divided = Counts.parse("0-4095 = 0-5.5 V")
    assert divided.wire_high == pytest.approx(3.3 / (15 / (10 + 15)))
    assert divided.wire(1)[0] == pytest.approx(0.00134, abs=5e-6)
    assert 3.3 / (15 / (33 + 15)) == pytest.approx(10.56)


def test_what_a_supply_that_is_not_measured_costs() -> None:
    signal = Signal.parse("0.5-4.5 V of 5 V = 0-100 %")  # so that the value is a share of the range
    assert signal.linearise(2.45, 4.9)[0] == pytest.approx(50.0)
    assert signal.linearise(2.45)[0] == pytest.approx(50.0 - 1.25)


@pytest.mark.parametrize(("share", "kpa"), [(0.5, 2.07), (0.1, 0.41)])
def test_what_two_dividers_of_one_percent_cost(share: float, kpa: float) -> None:
    # The voltage before a divider is (1 + R1 / R2) times that at the pin: off by 0.4 / 1.0 x 2 % of it, twice.
    off = share * 2 * 0.4 * 0.02
    assert off / 0.8 * 30 * 6.894757 == pytest.approx(kpa, abs=0.01)


def test_the_bench_command_of_the_page_says_what_the_page_says() -> None:
    command = [sys.executable, "-m", "alerts.command.main", "bench", "signal", "4-20 mA = 0-100 kPa", "1042"]
    told = subprocess.run(
        [*command, "--counts", "0-4095 = 0-22 mA"], check=True, capture_output=True, text=True, timeout=60
    ).stdout
    assert "9.988 kPa, good" in told
