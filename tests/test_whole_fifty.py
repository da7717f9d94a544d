"""Fifty probes at once, on lines of which one is dead, one babbles and one comes and goes: the others miss nothing."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
import time
import tty
from pathlib import Path

import pytest
from brokers import Mosquitto
from eventually import eventually
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion

from ingest.store import Store, open_existing
from ingest.store.pulse_rows import pulses
from ingest.store.rejects import rejects

pytestmark = pytest.mark.whole

BARE, DATED, EACH_LINE = 20, 15, 5
ROUNDS = 20
FIRST_S = 1_790_000_000
# 115,200 baud with start and stop bit.
BABBLE_BYTES_A_SECOND = 11_520

HEAD = """
[site]
name = "Mill Lane cellar"
timezone = "Europe/Ljubljana"

[store]
path = "cellar.db"
commit = "0.5 s"

[mqtt]
host = "127.0.0.1"
port = {port}
client_id = "leeside-test"

[[room]]
id = "cellar"
"""
LINE = """
[[serial]]
id = "{name}"
device = "{device}"
baud = 115200
settle = "0 s"
"""
VESSEL = """
[[vessel]]
id = "V{number}"
kind = "keg"
capacity = "19.5 L"

[[probe]]
id = "{probe}"
at = "V{number}"
quantity = "temperature"
mounted = "wall"
unit = "degC"
"""


def cellar_text(port: int, devices: dict[str, Path]) -> str:
    pieces = [HEAD.format(port=port)]
    pieces += [LINE.format(name=name, device=device) for name, device in devices.items()]
    probes = [(f"bare-{place}", f'topic = "bare/{place}"') for place in range(BARE)]
    dated = 'payload = "json"\npointer = "/t"\ntime_pointer = "/at"'
    probes += [(f"dated-{place}", f'topic = "dated/{place}"\n{dated}') for place in range(DATED)]
    for line in devices:
        pattern = "pattern = '{place} T=(?P<value>[0-9.]+)'"
        probes += [
            (f"{line}-{place}", f'serial = "{line}"\n{pattern.format(place=place)}') for place in range(EACH_LINE)
        ]
    pieces += [VESSEL.format(number=number, probe=probe) + more for number, (probe, more) in enumerate(probes)]
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
    found = set()
    for descriptor in Path(f"/proc/{pid}/fd").iterdir():
        try:
            found.add(str(descriptor.readlink()))
        except OSError:
            continue  # closed in the meantime
    return found


def cpu_s(pid: int) -> float:
    """User and system time: proc_pid_stat(5), fields 14 and 15."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def pss_mb(pid: int) -> float:
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("Pss:"))


def stored(store: Store, probe: str) -> list[float]:
    rows = store.connection.execute(
        "SELECT number FROM fresh JOIN series ON series.id = series WHERE probe = ? ORDER BY fresh.at", (probe,)
    )
    return [row[0] for row in rows]


def feed(port: int, stop: threading.Event) -> None:
    """One number a second from each of the probes at the broker."""
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    for turn in range(ROUNDS):
        infos = [client.publish(f"bare/{place}", str(turn), qos=1) for place in range(BARE)]
        payload = f'{{"t": {turn}, "at": {FIRST_S + turn}}}'
        infos += [client.publish(f"dated/{place}", payload, qos=1) for place in range(DATED)]
        for info in infos:
            info.wait_for_publish(10)
        stop.wait(1.0)
    client.disconnect()
    client.loop_stop()


def test_fifty_probes_among_lines_that_fail_in_three_ways(tmp_path: Path) -> None:
    store_path, stop = tmp_path / "cellar.db", threading.Event()
    babbler, flapping = Babbler(), Flapping(tmp_path / "flapping")
    devices = {"dead": tmp_path / "nowhere", "babbling": babbler.device, "flapping": flapping.name}
    file = tmp_path / "cellar.toml"
    with Mosquitto(tmp_path) as broker, (tmp_path / "ingest.log").open("wb") as log:
        file.write_text(cellar_text(broker.port, devices))
        process = subprocess.Popen([sys.executable, "-m", "ingest.daemon", str(file)], stderr=log)
        feeder = threading.Thread(target=feed, args=(broker.port, stop))
        try:
            eventually(lambda: "leeside/leeside-test/presence" in broker_has(broker))
            began, cpu_began = time.monotonic(), cpu_s(process.pid)
            feeder.start()
            epochs = [flap(flapping, process.pid, store_path) for _ in range(3)]
            feeder.join()
            share = (cpu_s(process.pid) - cpu_began) / (time.monotonic() - began)
            memory_mb = pss_mb(process.pid)
        finally:
            stop.set()
            flapping.pull_out()
            process.send_signal(signal.SIGTERM)
            code = process.wait(20)
            babbler.close()
    print(f"ingest: {share:.1%} of a core, {memory_mb:.0f} MB PSS")
    assert code == 0, (tmp_path / "ingest.log").read_text()
    with open_existing(store_path) as store:
        for name in [f"bare-{place}" for place in range(BARE)] + [f"dated-{place}" for place in range(DATED)]:
            assert stored(store, name) == list(range(ROUNDS)), name
        for place in range(EACH_LINE):
            numbers = stored(store, f"flapping-{place}")
            assert sorted(set(numbers)) == numbers
            assert {number / 10 for first, last in epochs for number in range(first, last)} <= set(numbers)
            assert stored(store, f"dead-{place}") == stored(store, f"babbling-{place}") == []
        pulse = pulses(store).ingest
        refused = {reject.reason for reject in rejects(store) if reject.source == "babbling"}
        assert store.connection.execute("SELECT count(*) FROM reject").fetchone()[0] < 10
    assert pulse is not None
    assert "There is no device" in pulse.body.lines["dead"].last_error
    lines = pulse.as_json()["lines"]
    assert isinstance(lines, dict)
    assert lines["babbling"]["overlong"] >= 5
    assert lines["flapping"]["opens"] == 3
    assert pulse.body.dropped == pulse.body.failed_commits == 0
    assert "not text in the line's encoding" in refused
    # Generous, because other things run on the machine: a loop that never rests takes a whole core.
    assert share < 0.5
    assert memory_mb < 120


def broker_has(broker: Mosquitto) -> str:
    """The retained topics: our presence shows that the session exists."""
    command = ["mosquitto_sub", "-h", broker.host, "-p", str(broker.port), "-t", "leeside/#", "-v", "-W", "1"]
    return subprocess.run(command, capture_output=True, text=True, timeout=10, check=False).stdout


def flap(flapping: Flapping, pid: int, store_path: Path) -> tuple[int, int]:
    """Plug in, talk for a while, pull out. Gives the first number that got through and the one after the last."""
    flapping.plug_in(pid)
    with open_existing(store_path) as store:
        before = flapping.said

        def heard() -> list[float]:
            return [number for number in stored(store, "flapping-0") if number * 10 >= before]

        def talked_and_heard() -> bool:
            # What is said before the reader has flushed its input is nobody's loss.
            flapping.say()
            return bool(heard())

        eventually(talked_and_heard)
        first = round(min(heard()) * 10)
        for _ in range(20):
            flapping.say()
        eventually(lambda: round(heard()[-1] * 10) == flapping.said - 1)
    flapping.pull_out()
    return first, flapping.said
