"""What docs/wiring.md tells to write is taken, the broker that it sets up keeps, and its arithmetic is right."""

from __future__ import annotations

import re
import subprocess
from math import exp
from pathlib import Path
from typing import Final

import pytest
from brokers import Mosquitto
from cellar_text import MQTT, SITE, keg
from running import leeside

from ingest.cellar import Counts, Signal, parse_cellar

PAGE: Final = (Path(__file__).resolve().parent.parent / "docs" / "wiring.md").read_text(encoding="utf-8")

PSI_KPA: Final = 6.894757  # NIST SP 811, appendix B.8

BASE: Final = SITE + MQTT + "".join(keg(f"K{number}") for number in range(1, 7))
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


def says(words: str) -> None:
    """Fail unless the page has these words, however its lines are broken."""
    assert words in " ".join(PAGE.replace("\n> ", "\n").split()), f"docs/wiring.md does not say: {words}"


def test_what_the_page_says_of_the_loop() -> None:
    loop = Counts.parse("0-4095 = 0-22 mA")
    assert loop.wire_high == pytest.approx(3.3 / 150 * 1000)  # volts over ohms
    says(f'3.3 V over 150 ohm are {3.3 / 150 * 1000:.0f} mA, so a converter of 12 bits has `counts = "{loop}"`')
    says(f"One count is {1000 * loop.wire(1)[0]:.1f} µA, or {loop.wire(1)[0] / 16 * 100:.2f} kPa")
    says(f"150 ohm make {150 * 0.004:.1f} to {150 * 0.020:.1f} V of it")
    says(f"24 V less 22 mA x 150 ohm are {24 - 0.022 * 150:.1f} V")
    says(f"{1000 * 0.022**2 * 150:.0f} mW at most")
    says(f"24 V over the shunt: {1000 * 24 / 150:.0f} mA, {24**2 / 150:.1f} W")
    says(f"keep the current into it near {1000 * (24 - 3.3) / 10_000:.0f} mA")


def test_what_the_page_says_of_the_dividers() -> None:
    divided = Counts.parse("0-4095 = 0-5.5 V")
    share = 15 / (10 + 15)
    assert divided.wire_high == pytest.approx(3.3 / share)
    says(f"15 / (10 + 15) = {share:g} arrives. 4.5 V become {4.5 * share:.1f} V, 5 V become {5 * share:.1f} V")
    says(f"even 5.5 V stay at {5.5 * share:.1f} V")
    says(f'3.3 V / 0.6 = {3.3 / share:.1f} V, so `counts = "{divided}"`')
    volts = divided.wire(1)[0]
    says(f"One count is {1000 * volts:.2f} mV, or {volts / 4 * 30 * PSI_KPA:.2f} kPa of 0-30 psi")
    wide = 15 / (33 + 15)
    says(f"gives {wide:.4f}, so 10 V become {10 * wide:.1f} V, and 3.3 V at the pin are {3.3 / wide:.2f} V")


def test_what_the_page_says_of_resistors_of_one_percent() -> None:
    # The voltage before a divider is 1 + R1 / R2 times that at the pin; R1 / R2 is off by 2 %, so that is by 0.4 x 2 %.
    off = 0.4 * 2
    says(f"the divider is off by {off:.1f} % at most (0.4 x 2 %)")
    says(f"the share is off by up to {2 * off:.1f} %")
    middle, zero = (share * 2 * off / 100 / 0.8 * 30 * PSI_KPA for share in (0.5, 0.1))
    says(f"in the middle of 0-30 psi {middle:.0f} kPa")
    says(f"at 0 kPa ({zero:.1f} kPa)")


def test_what_the_page_says_of_a_supply_that_is_not_measured() -> None:
    signal = Signal.parse("0.5-4.5 V of 5 V = 0-100 %")  # so that the value is a share of the range
    assert signal.linearise(2.45, 4.9)[0] == pytest.approx(50.0)
    says(f"taken for 5 V that reads {50.0 - signal.linearise(2.45)[0]:.2f} % of the range too low")


def test_what_the_page_says_of_a_cylinder_that_empties() -> None:
    gas_m3 = 0.010 * 200
    says(f"10 L of nitrogen at 200 bar are {gas_m3:.0f} m³")
    large, small = (20.9 * exp(-gas_m3 / room_m3) for room_m3 in (30.0, 6.0))
    says(f"30 m³ they leave {large:.1f} % oxygen of 20.9 %, into one of 6 m³ {small:.1f} %")


def test_the_bench_command_of_the_page_works_out_a_count() -> None:
    words = ["bench", "signal", "4-20 mA = 0-100 kPa", "1042", "--counts", "0-4095 = 0-22 mA"]
    says('leeside bench signal "4-20 mA = 0-100 kPa" 1042 --counts "0-4095 = 0-22 mA"')
    shown = leeside(*words)
    assert (shown.returncode, shown.stderr) == (0, "")
    assert "9.9878 kPa, good" in shown.stdout  # (1042 x 22 / 4095 - 4) x 100 / 16
