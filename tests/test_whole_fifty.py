"""Fifty probes at once, on lines of which one is dead, one babbles and one comes and goes: the others miss nothing."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from brokers import Mosquitto
from cellar_text import write_cellar
from eventually import eventually
from failing_lines import BARE, DATED, EACH_LINE, Babbler, Flapping, cellar_of_fifty, feed

from ingest.store import Store, open_existing
from ingest.store.pulse_rows import pulses
from ingest.store.rejects import rejects

pytestmark = pytest.mark.whole

ROUNDS = 20


def stored(store: Store, probe: str) -> list[float]:
    rows = store.connection.execute(
        "SELECT number FROM fresh JOIN series ON series.id = series WHERE probe = ? ORDER BY fresh.at", (probe,)
    )
    return [row[0] for row in rows]


def test_fifty_probes_among_lines_that_fail_in_three_ways(tmp_path: Path) -> None:
    store_path, stop = tmp_path / "cellar.db", threading.Event()
    babbler, flapping = Babbler(), Flapping(tmp_path / "flapping")
    devices = {"dead": tmp_path / "nowhere", "babbling": babbler.device, "flapping": flapping.name}
    with Mosquitto(tmp_path) as broker, (tmp_path / "ingest.log").open("wb") as log:
        file = write_cellar(tmp_path, cellar_of_fifty(broker.port, devices))
        process = subprocess.Popen([sys.executable, "-m", "ingest.daemon", str(file)], stderr=log)
        feeder = threading.Thread(target=feed, args=(broker.port, ROUNDS, 0.5, stop))
        try:
            eventually(lambda: "leeside/leeside-test/presence" in broker_has(broker))
            feeder.start()
            epochs = [flap(flapping, process.pid, store_path) for _ in range(3)]
            feeder.join()
        finally:
            stop.set()
            flapping.pull_out()
            process.send_signal(signal.SIGTERM)
            code = process.wait(20)
            babbler.close()
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
