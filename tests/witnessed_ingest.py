"""The real ingest daemon at a scripted broker, and a witness of what is on disk when it acknowledges, for tests."""

from __future__ import annotations

__all__ = [
    "BARE",
    "DATED",
    "FIRST_S",
    "Broker",
    "Ingest",
    "Witness",
    "held",
    "numbers",
    "running_ingest",
    "witnessed_broker",
]

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from cellar_text import KEG, SITE, mqtt, probe, table, temperature, write_cellar
from eventually import eventually
from scripted_peer import PUBACK, PUBCOMP, PeerConnection, ScriptedPeer, publish

from alerts.command.now import now
from ingest.cellar import load_cellar
from ingest.daemon import IngestDaemon
from ingest.store import Store, open_existing
from ingest.store.pulse_rows import pulses

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


@contextmanager
def witnessed_broker(folder: Path) -> Iterator[Broker]:
    """A scripted broker, and the cellar file of a daemon that reads from it; at the end nothing was wrong."""
    witness = Witness(folder / "cellar.db")
    with ScriptedPeer(witness.see) as peer:
        connection = mqtt(peer.port, client_id="leeside-test", keep_alive="5 s", window=20)
        write_cellar(folder, SITE, table("[store]", commit="0.1 s"), connection, KEG, BARE, DATED)
        yield Broker(peer, witness)
    assert witness.wrong == []


@contextmanager
def running_ingest(folder: Path) -> Iterator[Ingest]:
    """The daemon, until the test ends."""
    running = Ingest(folder)
    running.start()
    yield running
    running.stop()
