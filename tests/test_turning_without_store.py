"""Judging in memory while the store takes nothing: what is sent, what is not, and what is noted afterwards."""

from __future__ import annotations

import os
import socket
from collections.abc import Sequence
from pathlib import Path

import pytest
from cellar_text import KEG, MQTT, limit, mail, probe, site
from samples import a_binding, a_sample

from alerts.message import DirectMessages
from alerts.message.outbox import Delivered, DeliveryFailure, Outbox
from alerts.turning.turner import Turner
from alerts.turning.without_store import PATIENCE_S, WithoutStore
from alerts.watch.turn_inputs import Now
from ingest.cellar import parse_cellar
from ingest.errors import StoreError
from ingest.probes.binding import declarations
from ingest.probes.decode import Decoder
from ingest.probes.steadiness import Steadiness
from ingest.reading import Row
from ingest.sources.sample import Sample, Ticket
from ingest.store import RoleLock, create_or_open
from ingest.store.alarms.alarm_record import alarm_rows
from ingest.store.alarms.messages import MessageRow, recent_messages
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.trouble import store_trouble
from ingest.unstored import UnstoredReceiver, UnstoredSender
from ingest.writing.unstored_readings import UnstoredReadings

T0 = 1_790_000_000_000
LOW = limit(
    at="K1", quantity="pressure", low="5 kPa", deadband="1 kPa", on_delay="5 s", off_delay="0 s", priority="high"
)
WARM = limit(at="K1", quantity="pressure", high="90 kPa", deadband="1 kPa", on_delay="5 s", off_delay="0 s")
CELLAR = site() + MQTT + KEG + probe(topic="cellar/K1/pressure") + LOW + WARM + mail()


class Bench:
    """A store that can be full, its turns, and a channel that notes what it gets."""

    def __init__(self, folder: Path) -> None:
        self.cellar = parse_cellar(CELLAR, file="cellar.toml", base=folder)
        self.store = create_or_open(self.cellar.store_path, T0)
        self.series = declare(self.store, declarations(self.cellar), T0)["k1-pressure"]
        self.unstored: list[Row] = []
        self.notes: list[str] = []
        self.sent: list[str] = []
        self.server_is_away = False
        self.direct = DirectMessages(lambda: 0.5)
        without_store = WithoutStore(self.cellar, self.direct, self._receive, self.notes.append)
        self.second = 0
        self.turner = Turner(self.cellar, self.store, self.now, without_store=without_store)
        self.outbox = Outbox(self.store, self._deliver, lambda: 0.5)

    @property
    def now(self) -> Now:
        return Now(T0 + self.second * 1000, 1000.0 + self.second)

    def _receive(self) -> list[Row]:
        rows, self.unstored = self.unstored, []
        return rows

    def _deliver(self, message: MessageRow, now_ms: int) -> Delivered | DeliveryFailure:
        if self.server_is_away:
            return DeliveryFailure(False, "away", unreachable=True)
        self.sent.append(message.subject)
        return Delivered()

    def turns(self, seconds: int) -> None:
        for _ in range(seconds):
            self.second += 1
            try:
                self.turner.turn(self.now)
            except StoreError as error:
                self.turner.failed(error, self.now)
            self.direct.work(self.now.utc_ms, self._deliver)
            try:
                self.outbox.work(self.now.utc_ms)
            except StoreError:
                pass

    def arrives(self, kpa: float) -> None:
        self.unstored.append((self.series, self.now.utc_ms, kpa, 0))

    def store_it(self, *rows: Row) -> None:
        Appender(self.store).append(rows)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    bench = Bench(tmp_path)
    bench.store_it((bench.series, T0, 40.0, 0))
    bench.turns(12)
    return bench


def _take_nothing(bench: Bench) -> None:
    bench.store.connection.execute("PRAGMA query_only=ON")


def _take_all(bench: Bench) -> None:
    bench.store.connection.execute("PRAGMA query_only=OFF")


STORE = "HIGH PRIORITY: leeside store takes no writes"
ALARM = "HIGH PRIORITY: K1 pressure 3.0 kPa, below 5 kPa"


def test_a_high_alarm_goes_out_once_and_is_noted_when_the_store_is_back(
    bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("INFO")
    _take_nothing(bench)
    rows = []
    for _ in range(6):
        bench.arrives(3.0)
        rows += bench.unstored[-1:]
        bench.turns(8)
    assert bench.sent == [STORE, ALARM]
    assert bench.notes[-1].endswith("(read-only disk or missing permission)")
    _take_all(bench)
    bench.store_it(*rows)
    bench.turns(15)
    assert bench.notes[-1] == ""
    assert bench.sent == [STORE, ALARM, "BACK TO NORMAL after: leeside store takes no writes"]
    assert [row.state for row in recent_messages(bench.store)] == ["sent"] * 3
    states = {row.key: row.state for row in alarm_rows(bench.store)}
    assert states["K1/pressure/low"] == "unacknowledged"
    # A step is logged when it is stored, and not with each try.
    assert caplog.text.count("K1/pressure/low: alarm raised") == 1


def test_a_short_trouble_is_nobodys_business(bench: Bench) -> None:
    _take_nothing(bench)
    bench.turns(int(PATIENCE_S) - 2)
    _take_all(bench)
    bench.turns(60)
    assert STORE not in bench.sent


def test_other_priorities_wait_and_silence_is_not_taken_for_the_probes(bench: Bench) -> None:
    _take_nothing(bench)
    for _ in range(4):
        bench.arrives(95.0)
        bench.turns(60)
    assert bench.sent == [STORE]
    _take_all(bench)
    bench.store_it((bench.series, bench.now.utc_ms, 40.0, 0))
    bench.turns(10)
    assert bench.sent == [STORE, "BACK TO NORMAL after: leeside store takes no writes"]


def test_a_lamp_shows_what_is_judged_in_memory_and_does_not_say_that_all_is_well(bench: Bench) -> None:
    quiet = {"high": "off", "medium": "off", "low": "off"}

    def words() -> dict[str, str]:
        return {priority: state.word for priority, state in bench.turner.lamp_states().items()}

    assert words() == quiet
    _take_nothing(bench)
    bench.turns(int(PATIENCE_S) - 2)
    assert words() == quiet, "a slow disk is nobody's business"
    bench.turns(20)
    assert words() == {"high": "on", "medium": "unknown", "low": "unknown"}, "the store itself is an alarm"
    assert bench.turner.lamp_states()["high"].standing == 1
    for _ in range(3):
        bench.arrives(95.0)
        bench.turns(10)
    assert words() == {"high": "on", "medium": "on", "low": "unknown"}
    _take_all(bench)
    bench.store_it((bench.series, bench.now.utc_ms, 40.0, 0))
    bench.turns(10)
    assert words() == quiet


def test_an_alarm_that_came_and_went_is_sent_both_times(bench: Bench) -> None:
    _take_nothing(bench)
    for kpa in (3.0, 3.0, 3.0, 40.0, 40.0):
        bench.arrives(kpa)
        bench.turns(10)
    assert bench.sent == [STORE, ALARM, "BACK TO NORMAL at 40.0 kPa after: K1 pressure 3.0 kPa, below 5 kPa"]


def test_without_a_server_the_outbox_has_it_all_when_both_are_back(bench: Bench) -> None:
    _take_nothing(bench)
    bench.server_is_away = True
    rows = []
    for _ in range(4):
        bench.arrives(3.0)
        rows += bench.unstored[-1:]
        bench.turns(10)
    _take_all(bench)
    bench.store_it(*rows)
    bench.turns(2)
    assert bench.sent == []
    bench.server_is_away = False
    bench.turns(20)
    assert sorted(bench.sent) == ["BACK TO NORMAL after: leeside store takes no writes", ALARM]


def test_a_mail_whose_note_the_store_refuses_is_not_sent_again(bench: Bench) -> None:
    bench.store_it(*((bench.series, T0 + 13_000 + second * 1000, 3.0, 0) for second in range(8)))
    bench.server_is_away = True
    bench.turns(20)
    _take_nothing(bench)
    bench.server_is_away = False
    bench.turns(19)
    assert bench.sent.count(ALARM) == 1
    _take_all(bench)
    bench.turns(20)
    assert bench.sent.count(ALARM) == 1
    assert {row.state for row in recent_messages(bench.store)} == {"sent"}


# ---- from ingest to alerts -----------------------------------------------------------------------------------------


def test_readings_are_handed_over_without_a_disk(tmp_path: Path) -> None:
    path = tmp_path / "cellar.db"
    sender = UnstoredSender(path)
    rows = [(1, T0 + number, 0.5 * number, 0) for number in range(1200)]
    assert sender.send(rows) == 0  # nobody listens
    receiver = UnstoredReceiver(path)
    with pytest.raises(OSError, match="in use"):
        UnstoredReceiver(path)
    assert receiver.receive() == []
    assert sender.send(rows) == 1200
    assert receiver.receive() == rows
    # Another program of this user, and nonsense.
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as other:
        for payload in (b"", b"[1]", b"{", b"[[1, 2]]", b'[["x", 1, 2, 3]]', b"\xff"):
            other.sendto(payload, sender._address)
    assert receiver.receive() == []
    sender.close()
    receiver.close()


def test_what_waits_is_read_once_and_what_may_be_old_is_left_out() -> None:
    sent: list[Row] = []
    open_ = True

    def send(rows: Sequence[Row]) -> int:
        sent.extend(rows if open_ else ())
        return len(rows) if open_ else 0

    readings = UnstoredReadings(Decoder([a_binding()]), Steadiness({1: None}), send)
    queue = [a_sample("55"), a_sample("nonsense")]

    def waiting(start: int, count: int) -> list[Sample]:
        return queue[start : start + count]

    held = [(1, 5, 50.0, 0)]
    readings.hand_on(held, waiting, (1, 400.0))
    assert [row[2] for row in sent] == [50.0, 55.0]
    queue.append(a_sample("56"))
    open_ = False
    readings.hand_on(held, waiting, (1, 400.0))
    open_ = True
    # The broker's connection of 490 s is ten seconds old: it may have kept this for long.
    queue.append(a_sample("57")._replace(ticket=Ticket(2, 7, 1)))
    queue.append(a_sample("58")._replace(ticket=Ticket(2, 8, 1), arrival_mono=530.0))
    readings.hand_on(held, waiting, (2, 490.0))
    assert [row[2] for row in sent] == [50.0, 55.0, 56.0, 58.0]
    readings.stored()
    queue.clear()
    readings.hand_on([(1, 6, 60.0, 0)], waiting, (2, 490.0))
    assert [row[2] for row in sent][4:] == [60.0]


# ---- the cause, asked from outside ---------------------------------------------------------------------------------


def test_the_cause_stands_in_the_lock_of_the_daemon_that_met_it(tmp_path: Path) -> None:
    path = tmp_path / "cellar.db"
    path.touch()
    assert store_trouble(path) == ""
    with RoleLock(path, "ingest") as ingest, RoleLock(path, "alerts") as alerts:
        assert store_trouble(path) == ""
        alerts.note("the disk\ndoes not take more " + "x" * 2000)
        assert store_trouble(path).startswith(r"the disk\x0adoes not take more x")
        ingest.note("held")
        assert store_trouble(path) == "held"
        for lock in (ingest, alerts):
            lock.note("")
        assert store_trouble(path) == ""
        path.unlink()
        assert "was deleted or moved away" in store_trouble(path)
        alerts.path.write_text("process 0\n")
    lock_of_the_dead = path.with_name("cellar.db.ingest.lock")
    child = os.fork()
    if child == 0:
        os._exit(0)
    os.waitpid(child, 0)
    lock_of_the_dead.write_text(f"process {child}\nheld\n")
    path.with_name("cellar.db.alerts.lock").unlink()
    assert store_trouble(path) == ""
