"""Nothing that was acknowledged is lost and nothing false is stored, whatever a broker does: the ingest daemon, whole.

The broker is a script that plays exact packets. With each acknowledgement that it gets it looks into the store, through
a connection of its own, whether what it stands for is there.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from eventually import eventually
from witnessed_ingest import (
    Broker,
    Ingest,
    held,
    numbers,
    running_ingest,
    witnessed_broker,
)

from ingest.reading import Quality, quality_class
from ingest.store.pulse_rows import pulses
from ingest.store.rejects import rejects

pytestmark = pytest.mark.whole


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    with witnessed_broker(tmp_path) as broker:
        yield broker


@pytest.fixture
def ingest(tmp_path: Path, broker: Broker, monkeypatch: pytest.MonkeyPatch) -> Iterator[Ingest]:
    monkeypatch.setattr("ingest.daemon.PULSE_S", 0.2)
    with running_ingest(tmp_path) as running:
        yield running


# ---- a daemon that is killed ---------------------------------------------------------------------------------------


def start_process(file: Path) -> subprocess.Popen[bytes]:
    with file.with_suffix(".log").open("ab") as log:
        return subprocess.Popen([sys.executable, "-m", "ingest.daemon", str(file)], stderr=log)


def test_a_kill_before_and_after_the_commit(tmp_path: Path, broker: Broker) -> None:
    file, store_path = tmp_path / "cellar.toml", tmp_path / "cellar.db"
    first = start_process(file)
    broker.accept(session_present=False)
    with held(store_path):
        broker.bare(1, 11)
        broker.dated(2, 12)
        broker.bare(3, 13)
        assert broker.connection.barrier() == []
        os.kill(first.pid, signal.SIGKILL)
        first.wait(10)
    assert numbers(store_path) == []
    second = start_process(file)
    broker.accept()
    for _ in range(2):
        broker.bare(1, 11, repeat=True)
        broker.dated(2, 12, repeat=True)
        broker.bare(3, 13, repeat=True)
        broker.read_pubacks(1, 2, 3)
        assert numbers(store_path) == [11, 12, 13]
        # Now as if the acknowledgements had been lost with the connection: it all comes again.
        os.kill(second.pid, signal.SIGKILL)
        second.wait(10)
        second = start_process(file)
        broker.accept()
    broker.bare(4, 14)
    broker.read_pubacks(4)
    assert numbers(store_path) == [11, 12, 13, 14]
    second.terminate()
    assert second.wait(20) == 0


# ---- repeats and packet ids ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("version", [5, 4])
def test_repeats_marked_and_unmarked(ingest: Ingest, broker: Broker, version: int) -> None:
    if version == 4:
        refused = broker.peer.accept()
        refused.take_connect()
        refused.send(b"\x20\x03\x00\x84\x00")
    broker.accept()
    assert broker.connection.version == version
    broker.bare(1, 21)
    broker.dated(2, 22)
    broker.read_pubacks(1, 2)
    broker.bare(1, 21, repeat=True)
    broker.dated(2, 22, repeat=True)
    broker.dated(3, 22)
    broker.dated(4, 22, repeat=True)
    broker.read_pubacks(1, 2, 3, 4)
    assert ingest.numbers() == [21, 22]
    # The same number under the same packet id, but not marked: somebody has said it anew.
    broker.bare(1, 21)
    broker.read_pubacks(1)
    assert sorted(ingest.numbers()) == [21, 21, 22]


def test_packet_ids_that_mean_something_else_on_the_next_connection(ingest: Ingest, broker: Broker) -> None:
    """The trap: an acknowledgement that is ready late goes out on a connection where its id is another message."""
    broker.accept()
    with held(ingest.store_path):
        broker.bare(1, 31)
        broker.bare(2, 32)
        broker.dated(3, 33)
        assert broker.connection.barrier() == []
        ingest.until_it_waits()
        broker.connection.close()
        broker.accept(session_present=False)
        broker.bare(1, 34)
        broker.dated(2, 35)
        broker.bare(3, 32, repeat=True)
        assert broker.connection.barrier() == []
    broker.read_pubacks(1, 2, 3)
    assert broker.connection.barrier() == []
    # 32 came again under another id, so nobody can know that it is the same one.
    assert sorted(ingest.numbers()) == [31, 32, 32, 33, 34, 35]
    eventually(lambda: ingest.told()["stale_tickets"] == 3)


def test_what_a_broken_connection_left_comes_again_while_the_commit_is_under_way(
    ingest: Ingest, broker: Broker
) -> None:
    broker.accept()
    with held(ingest.store_path):
        for packet_id in range(1, 7):
            (broker.bare if packet_id % 2 else broker.dated)(packet_id, 40 + packet_id)
        assert broker.connection.barrier() == []
        ingest.until_it_waits()
        for _ in range(2):
            broker.connection.close()
            broker.accept()
            for packet_id in range(1, 7):
                (broker.bare if packet_id % 2 else broker.dated)(packet_id, 40 + packet_id, repeat=True)
            assert broker.connection.barrier() == []
    broker.read_pubacks(*range(1, 7))
    assert sorted(ingest.numbers()) == [41, 42, 43, 44, 45, 46]


def test_a_peer_that_ignores_the_window(ingest: Ingest, broker: Broker) -> None:
    broker.accept()
    for packet_id in range(1, 301):
        broker.dated(packet_id, packet_id)
    broker.read_pubacks(*range(1, 301))
    assert ingest.numbers() == list(range(1, 301))


# ---- what is stored is true ----------------------------------------------------------------------------------------


def test_the_newest_of_what_came_at_once_is_good_after_a_moment(ingest: Ingest, broker: Broker) -> None:
    broker.accept()
    for packet_id in range(1, 11):
        broker.bare(packet_id, packet_id)
    broker.read_pubacks(*range(1, 11))

    def qualities() -> list[Quality]:
        with ingest.store() as store:
            rows = store.connection.execute("SELECT quality FROM fresh ORDER BY at").fetchall()
        return [quality_class(row[0]) for row in rows]

    assert Quality.GOOD not in qualities()
    eventually(lambda: Quality.GOOD in qualities())
    assert qualities() == [Quality.UNCERTAIN] * 9 + [Quality.GOOD]


def test_what_the_store_says_is_countable(ingest: Ingest, broker: Broker) -> None:
    """Each message is a row, a repeat or a refusal, by the counters that the pulse carries."""
    broker.accept()
    broker.bare(1, 131)
    broker.read_pubacks(1)
    broker.bare(1, 131, repeat=True)
    broker.unreadable(2, b"bare", b"cold")
    broker.dated(3, 133)
    broker.dated(4, 133)
    broker.read_pubacks(1, 2, 3, 4)

    def body() -> dict[str, object]:
        with ingest.store() as store:
            pulse = pulses(store).ingest
        assert pulse is not None
        return pulse.as_json()

    eventually(lambda: body()["samples"] == 5 and body()["waiting"] == 0)
    assert {name: body()[name] for name in ("readings", "repeats", "refused", "dropped")} == {
        "readings": 2,
        "repeats": 2,
        "refused": 1,
        "dropped": 0,
    }
    with ingest.store() as store:
        assert [(reject.probe, reject.reason, reject.example) for reject in rejects(store)] == [
            ("k1-bare", "not a number", "cold")
        ]
