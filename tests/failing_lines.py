"""Fifty probes at a broker and on serial lines, of which one is dead, one babbles, and one comes and goes."""

from __future__ import annotations

__all__ = ["BARE", "DATED", "EACH_LINE", "FIRST_S", "Babbler", "Flapping", "cellar_of_fifty", "feed"]

import os
import random
import threading
import tty
from pathlib import Path

from cellar_text import SITE, keg, mqtt, serial, table, temperature
from eventually import eventually
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion

BARE, DATED, EACH_LINE = 20, 15, 5
FIRST_S = 1_790_000_000
# 115,200 baud with start and stop bit.
BABBLE_BYTES_A_SECOND = 11_520


def cellar_of_fifty(port: int, devices: dict[str, Path]) -> str:
    """The cellar file. devices: of three lines, by their names."""
    pieces = [SITE, table("[store]", commit="0.5 s"), mqtt(port, client_id="leeside-test")]
    pieces += [serial(device, name, baud=115200) for name, device in devices.items()]
    probes: dict[str, dict[str, str | None]] = {f"bare-{place}": {"topic": f"bare/{place}"} for place in range(BARE)}
    as_json = {"payload": "json", "pointer": "/t", "time_pointer": "/at"}
    probes |= {f"dated-{place}": {"topic": f"dated/{place}", **as_json} for place in range(DATED)}
    for line in devices:
        for place in range(EACH_LINE):
            pattern = f"{place} T=(?P<value>[0-9.]+)"
            probes[f"{line}-{place}"] = {"topic": None, "serial": line, "pattern": pattern}
    for number, (probe, address) in enumerate(probes.items()):
        pieces += [keg(f"V{number}"), temperature(probe, f"V{number}", mounted="wall", **address)]
    return "\n".join(pieces)


class Babbler:
    """A line that never stops: noise with line ends, and for a while noise without any."""

    def __init__(self) -> None:
        self._near, self._far = os.openpty()
        tty.setraw(self._far)
        os.set_blocking(self._near, False)
        self.device = Path(os.ttyname(self._far))
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        chance = random.Random(20261125)
        tick_s, turn = 0.05, 0
        while not self._stop.wait(tick_s):
            turn += 1
            noise = chance.randbytes(int(BABBLE_BYTES_A_SECOND * tick_s))
            if turn // 20 % 2:
                noise = noise.replace(b"\n", b"x").replace(b"\r", b"y")
            try:
                os.write(self._near, noise)
            except BlockingIOError:
                pass  # nobody has opened it yet

    def close(self) -> None:
        self._stop.set()
        self._thread.join()
        os.close(self._near)
        os.close(self._far)


class Flapping:
    """A line whose adapter is pulled out and put in again, under the same lasting name."""

    def __init__(self, name: Path) -> None:
        self.name = name
        self._ends: tuple[int, int] | None = None
        self.said = 0

    def plug_in(self, pid: int) -> None:
        """Return once the process has it open."""
        near, far = os.openpty()
        tty.setraw(far)
        self._ends = near, far
        device = os.ttyname(far)
        self.name.symlink_to(device)
        eventually(lambda: device in opened_by(pid))

    def say(self) -> None:
        """The next number, from each of its instruments."""
        assert self._ends is not None
        lines = "".join(f"{place} T={self.said / 10}\r\n" for place in range(EACH_LINE))
        os.write(self._ends[0], lines.encode())
        self.said += 1

    def pull_out(self) -> None:
        if self._ends is not None:
            self.name.unlink()
            for end in self._ends:
                os.close(end)
            self._ends = None


def opened_by(pid: int) -> set[str]:
    """What a process has open."""
    names = set()
    for descriptor in Path(f"/proc/{pid}/fd").iterdir():
        try:
            names.add(str(descriptor.readlink()))
        except OSError:
            continue  # closed in the meantime
    return names


def feed(port: int, rounds: int, pause_s: float, stop: threading.Event) -> None:
    """One number in each round for each of the probes at the broker, from 0 on."""
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    for turn in range(rounds):
        infos = [client.publish(f"bare/{place}", str(turn), qos=1) for place in range(BARE)]
        payload = f'{{"t": {turn}, "at": {FIRST_S + turn}}}'
        infos += [client.publish(f"dated/{place}", payload, qos=1) for place in range(DATED)]
        for info in infos:
            info.wait_for_publish(30)
        if stop.wait(pause_s):
            break
    client.disconnect()
    client.loop_stop()
