"""Three ways in, whole: SenML from a real broker, a one-wire chip's file, an instrument that is asked."""

from __future__ import annotations

import os
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from brokers import Mosquitto
from cellar_text import KEG, SITE, keg, mqtt, probe, serial, table, write_cellar
from eventually import eventually
from running import Leeside, leeside_process

pytestmark = pytest.mark.whole

CHIP = "28-3c01f0964f2b"
SENML = probe(topic="box", payload="senml", name="k1/gas", unit=None)
ONE_WIRE = table("[[probe]]", id="k1-temperature", at="K1", quantity="temperature", w1=CHIP, every="0.5 s")
ASKED = probe("k2-pressure", "K2", topic=None, serial="gauge", pattern="P=(?P<value>[0-9.]+)", every="0.5 s")


@contextmanager
def gauge() -> Iterator[str]:
    """The name of a terminal behind which an instrument answers ``P?``."""
    near, far = os.openpty()
    tty.setraw(far)

    def answer() -> None:
        heard = b""
        while not heard.endswith(b"off"):
            heard += os.read(near, 100)
            if heard.endswith(b"P?\r\n"):
                os.write(near, b"P=42.0\r\n")

    thread = threading.Thread(target=answer)
    thread.start()
    try:
        yield os.ttyname(far)
    finally:
        os.write(far, b"off")
        thread.join(10)
        os.close(near)
        os.close(far)


def shown(file: Path, *texts: str) -> None:
    """Return once ``leeside now`` shows all of these."""

    def all_shown() -> bool:
        now = leeside_process("now", file).stdout
        return all(text in now for text in texts)

    eventually(all_shown)


def test_each_way_in_leads_to_a_reading(tmp_path: Path) -> None:
    chip = tmp_path / "devices" / CHIP
    with Mosquitto(tmp_path, options=["log_type all"]) as broker, gauge() as device:
        asked = serial(device, "gauge", poll="P?\r\n", poll_every="0.5 s")
        sources = (mqtt(broker.port), asked, table("[w1]", path="devices"))
        file = write_cellar(tmp_path, SITE, *sources, KEG, keg("K2"), SENML, ONE_WIRE, ASKED)
        with Leeside(file) as running:
            eventually(lambda: "Sending SUBACK" in broker.log())
            broker.publish("box", '[{"bn": "k1/", "bu": "Pa", "n": "gas", "v": 55200}]', '[{"n": "k1/gas", "u": "Pa"}]')
            shown(
                file,
                "55.2 kPa",
                "42.0 kPa",
                f"chip {CHIP}: There is no folder",
                "1 x not SenML: k1-pressure",
                "record 1: neither a value nor a sum",
            )
            chip.mkdir(parents=True)
            (chip / "w1_slave").write_text(
                "91 01 4b 46 7f ff 0c 10 70 : crc=70 YES\n91 01 4b 46 7f ff 0c 10 70 t=25062\n"
            )
            shown(file, "25.1 °C")
            assert running.stop() == 0
