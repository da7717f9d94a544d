"""Nothing that was acknowledged is lost and nothing false is stored, whatever a broker does: the ingest daemon, whole.

The broker is a script that plays exact packets. With each acknowledgement that it gets it looks into the store, through
a connection of its own, whether what it stands for is there.
"""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from cellar_text import KEG, SITE, mqtt, probe, table, temperature, write_cellar
from eventually import eventually
from scripted_peer import PINGREQ, PUBACK, PUBCOMP, PUBREC, PeerConnection, ScriptedPeer, publish

from alerts.command.now import now
from ingest.cellar import load_cellar
from ingest.daemon import IngestDaemon
from ingest.reading import Quality, quality_class
from ingest.store import Store, open_existing
from ingest.store.pulse_rows import pulses
from ingest.store.rejects import rejects

pytestmark = pytest.mark.whole

BARE = temperature("k1-bare", mounted="wall", topic="bare")
DATED = probe("k1-dated", topic="dated", payload="json", pointer="/v", time_pointer="/at")

FIRST_S = 1_790_000_000


class Witness:
    """What was sent under which packet id, and whether it was on disk when the acknowledgement came."""

    def __init__(self, store_path: Path) -> None:
        self._store_path = store_path
        self._open: dict[tuple[PeerConnection, int], float | None] = {}
        self.acknowledged: list[int] = []
        self.wrong: list[str] = []

    def sent(self, connection: PeerConnection, packet_id: int, number: float | None) -> None:
        """number: what is to be on disk, None for what gives no reading."""
        self._open[connection, packet_id] = number

    def see(self, connection: PeerConnection, packet: bytes) -> None:
        if packet[0] >> 4 not in (PUBACK, PUBCOMP):
            return
        packet_id = int.from_bytes(packet[2:4], "big")
        self.acknowledged.append(packet_id)
        if (connection, packet_id) not in self._open:
            self.wrong.append(f"{packet_id} was not sent on this connection, or was acknowledged before")
            return
        number = self._open.pop((connection, packet_id))
        if number is not None and number not in numbers(self._store_path):
            self.wrong.append(f"{packet_id} was acknowledged before {number} was on disk")


class Broker:
    """The script's hand: connections, and numbers sent on them."""

    def __init__(self, peer: ScriptedPeer, witness: Witness) -> None:
        self.peer = peer
        self.witness = witness
        self.connection: PeerConnection

    def accept(self, *, session_present: bool = True, granted: bytes = b"\x01\x01") -> PeerConnection:
        self.connection = self.peer.accept()
        self.connection.establish(session_present=session_present, granted=granted)
        return self.connection

    def bare(
        self, packet_id: int, number: float, *, qos: int = 1, repeat: bool = False, retained: bool = False
    ) -> None:
        stored = None if retained or not qos else number
        self._send(b"bare", b"%g" % number, packet_id, stored, qos=qos, repeat=repeat, retained=retained)

    def dated(self, packet_id: int, number: float, *, repeat: bool = False, retained: bool = False) -> None:
        """Its own time is that of the number: the same number is the same reading."""
        payload = b'{"v": %g, "at": %d}' % (number, FIRST_S + number)
        self._send(b"dated", payload, packet_id, number, repeat=repeat, retained=retained)

    def unreadable(self, packet_id: int, topic: bytes, payload: bytes) -> None:
        self._send(topic, payload, packet_id, None)

    def _send(
        self,
        topic: bytes,
        payload: bytes,
        packet_id: int,
        number: float | None,
        *,
        qos: int = 1,
        repeat: bool = False,
        retained: bool = False,
    ) -> None:
        if qos:
            self.witness.sent(self.connection, packet_id, number)
        self.connection.send(
            publish(
                topic,
                payload,
                packet_id=packet_id,
                qos=qos,
                repeat=repeat,
                retained=retained,
                version=self.connection.version,
            )
        )

    def read_pubacks(self, *packet_ids: int) -> None:
        """The next acknowledgements are these, in this order."""
        got = [int.from_bytes(self.connection.read_until(PUBACK)[2:4], "big") for _ in packet_ids]
        assert got == list(packet_ids)


def numbers(store_path: Path) -> list[float]:
    """What is stored, by another program's eyes."""
    with closing(sqlite3.connect(store_path, timeout=10)) as connection:
        return [row[0] for row in connection.execute("SELECT number FROM fresh ORDER BY id")]


@contextmanager
def held(store_path: Path) -> Iterator[None]:
    """Another writer holds the store: no commit of the daemon comes through."""
    with closing(sqlite3.connect(store_path, isolation_level=None)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        yield
        connection.execute("ROLLBACK")


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    witness = Witness(tmp_path / "cellar.db")
    with ScriptedPeer(witness.see) as peer:
        connection = mqtt(peer.port, client_id="leeside-test", keep_alive="5 s", window=20)
        write_cellar(tmp_path, SITE, table("[store]", commit="0.1 s"), connection, KEG, BARE, DATED)
        yield Broker(peer, witness)
    assert witness.wrong == []


class Ingest:
    """The daemon in this process, with pulses that a test can wait for."""

    def __init__(self, folder: Path) -> None:
        self.file = folder / "cellar.toml"
        self.store_path = folder / "cellar.db"
        self.daemon = IngestDaemon(load_cellar(self.file), {})
        self._thread = threading.Thread(target=self.daemon.run, name="writer")

    def start(self) -> None:
        self.daemon.start()
        self._thread.start()

    def stop(self) -> None:
        # Whatever the broker did, nothing may have ended by itself.
        alive = {thread.name for thread in threading.enumerate()}
        self.daemon.stop_event.set()
        self._thread.join(20)
        self.daemon.stop()
        assert {"writer", "mqtt"} <= alive

    def numbers(self) -> list[float]:
        return numbers(self.store_path)

    def store(self) -> Store:
        return open_existing(self.store_path)

    def told(self) -> dict[str, object]:
        """What the last pulse says of the broker."""
        with self.store() as store:
            pulse = pulses(store).ingest
        assert pulse is not None
        mqtt = pulse.as_json()["mqtt"]
        assert isinstance(mqtt, dict)
        return mqtt

    def now(self, capsys: pytest.CaptureFixture[str]) -> str:
        """What `leeside now` prints."""
        capsys.readouterr()
        now(self.file)
        return capsys.readouterr().out

    def until_it_waits(self) -> None:
        """Return once the writer waits for the store, with what has come by then; the rest waits behind it."""
        writer = self.daemon._writer
        eventually(lambda: writer._held is not None)


@pytest.fixture
def ingest(tmp_path: Path, broker: Broker, monkeypatch: pytest.MonkeyPatch) -> Iterator[Ingest]:
    monkeypatch.setattr("ingest.daemon.PULSE_S", 0.2)
    running = Ingest(tmp_path)
    running.start()
    yield running
    running.stop()


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


# ---- what a message may be -----------------------------------------------------------------------------------------


def test_what_the_broker_had_kept(ingest: Ingest, broker: Broker, capsys: pytest.CaptureFixture[str]) -> None:
    broker.accept()
    broker.bare(1, 51, retained=True)
    broker.dated(2, 52, retained=True)
    broker.read_pubacks(1, 2)
    broker.connection.close()
    broker.accept()
    broker.bare(1, 51, retained=True)
    broker.dated(2, 52, retained=True)
    broker.bare(3, 53)
    broker.read_pubacks(1, 2, 3)
    assert ingest.numbers() == [52, 53]
    kept = "k1-bare: the broker had kept '51', of unknown age; shown here, not stored"
    counted = "2 x retained without a time of its own: k1-bare, mqtt bare"
    eventually(lambda: {kept, counted} <= {line.strip().split(", last")[0] for line in ingest.now(capsys).splitlines()})


def test_topics_that_are_no_utf_8(ingest: Ingest, broker: Broker) -> None:
    broker.accept()
    broker.bare(1, 61)
    broker.unreadable(2, b"ba\xffre", b"62")
    broker.bare(3, 63)
    broker.read_pubacks(1, 2, 3)
    assert ingest.numbers() == [61, 63]
    eventually(lambda: ingest.told()["bad_topics"] == 1)


def test_qos_0_and_2_between(ingest: Ingest, broker: Broker) -> None:
    broker.accept()
    broker.bare(0, 71, qos=0)
    broker.bare(1, 72)
    broker.bare(2, 73, qos=2)
    broker.bare(3, 74)
    broker.read_pubacks(1, 3)
    assert [packet[0] >> 4 for packet in broker.connection.received if packet[0] >> 4 in (PUBREC, PUBCOMP)] == [PUBREC]
    broker.connection.send(b"\x62\x02\x00\x02")  # PUBREL: only now it counts as delivered
    assert broker.connection.read_until(PUBCOMP)[2:4] == b"\x00\x02"
    assert ingest.numbers() == [71, 72, 74, 73]


def test_payloads_that_are_far_too_large(ingest: Ingest, broker: Broker, capsys: pytest.CaptureFixture[str]) -> None:
    broker.accept()
    broker.unreadable(1, b"bare", b"1" * 300_000)
    broker.unreadable(2, b"dated", b'{"v": 1, "at": "' + b"x" * 2_000_000 + b'"}')
    broker.unreadable(3, b"dated", b"[" * 60_000)
    broker.bare(4, 81)
    broker.read_pubacks(1, 2, 3, 4)
    assert ingest.numbers() == [81]
    eventually(lambda: "Not understood" in ingest.now(capsys))
    shown = ingest.now(capsys)
    for reason in ("too long: k1-bare", "too large: k1-dated", "nested too deep: k1-dated"):
        assert f"1 x {reason}" in shown
    assert all(len(line) < 200 for line in shown.splitlines())


@pytest.mark.parametrize(
    "garbage",
    [b"\xff" * 40, b"\x00" * 40, b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\x32\x05\x00\x09ab", b"\x40\x00"],
    ids=["ones", "zeros", "http", "topic too short", "puback of nothing"],
)
def test_garbage_after_a_good_packet(ingest: Ingest, broker: Broker, garbage: bytes) -> None:
    broker.accept()
    with held(ingest.store_path):
        broker.bare(1, 91)
        broker.connection.send(garbage)
        broker.connection.close()
    # What is good was taken; it was acknowledged nowhere, so it comes again.
    broker.accept()
    broker.bare(1, 91, repeat=True)
    broker.bare(2, 92)
    broker.read_pubacks(1, 2)
    assert ingest.numbers() == [91, 92]


# ---- a broker that does not do its part ----------------------------------------------------------------------------


def test_a_broker_that_says_nothing(ingest: Ingest, broker: Broker, capsys: pytest.CaptureFixture[str]) -> None:
    silent = broker.peer.accept()
    silent.take_connect()
    eventually(lambda: "takes the connection but does not answer" in ingest.now(capsys))
    broker.accept()
    broker.bare(1, 101)
    broker.read_pubacks(1)
    eventually(lambda: "broker: connected" in ingest.now(capsys))


def test_a_broker_that_falls_silent_in_the_middle(
    ingest: Ingest, broker: Broker, capsys: pytest.CaptureFixture[str]
) -> None:
    broker.accept()
    broker.bare(1, 111)
    broker.read_pubacks(1)
    broker.connection.read_until(PINGREQ)  # after 5 s; it gets no answer
    eventually(lambda: not ingest.told()["connected"])
    broker.accept()
    broker.bare(2, 112, repeat=True)
    broker.read_pubacks(2)
    assert ingest.numbers() == [111, 112]
    eventually(lambda: "broker: connected" in ingest.now(capsys))


def test_a_subscription_that_is_refused(ingest: Ingest, broker: Broker, capsys: pytest.CaptureFixture[str]) -> None:
    broker.accept(granted=b"\x87\x01")
    broker.dated(1, 121)
    broker.read_pubacks(1)
    eventually(lambda: "broker: does not let us read bare" in ingest.now(capsys))
    assert ingest.numbers() == [121]


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
