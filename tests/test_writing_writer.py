"""The writer's promise: reading, commit on disk, and only then the acknowledgement."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from a_store import fill_up, make_room
from eventually import eventually
from hypothesis import given
from hypothesis import strategies as st
from samples import NOW, a_binding, a_json_binding, a_sample

from ingest.probes.decode import Binding, Decoder
from ingest.pulse import IngestPulse
from ingest.reading import Quality, Reason, quality_code
from ingest.sources.sample import Sample, Ticket
from ingest.store import Store, create_or_open, open_existing
from ingest.store.change_feed import touched_after
from ingest.store.pulse_rows import write_pulse
from ingest.store.readings.series_history import fresh_after
from ingest.store.rejects import MOST_REJECT_ROWS, rejects
from ingest.writing.writer import Writer

GOOD = quality_code(Quality.GOOD)
BACKLOG = quality_code(Quality.UNCERTAIN, Reason.BACKLOG)

BINDINGS = (
    a_binding(),
    a_json_binding("/p", probe="k2-pressure", series=2),
    a_json_binding("/t", probe="k2-temperature", series=3),
    a_json_binding("/p", time_pointer="/at", probe="k3-pressure", series=4, address="dated"),
    a_binding(probe="line-t", series=5, source="line", address="line"),
)


class Desk:
    """A writer over a real store, with an acknowledge that looks into the store as another program would."""

    def __init__(self, path: Path, bindings: Sequence[Binding] = BINDINGS) -> None:
        self.path = path
        self.store: Store = create_or_open(path, NOW)
        self.acknowledged: list[int] = []
        self.seen_on_disk: list[int] = []
        self.enough = 10_000
        self.writer = Writer(self.store, Decoder(bindings), self._acknowledge, lambda: self.enough)

    def _acknowledge(self, tickets: Sequence[Ticket]) -> None:
        self.acknowledged.extend(ticket.packet_id for ticket in tickets)
        with open_existing(self.path) as other:
            self.seen_on_disk.append(other.connection.execute("SELECT count(*) FROM fresh").fetchone()[0])

    def pulse(self, connection: sqlite3.Connection) -> None:
        write_pulse(connection, IngestPulse(), NOW, NOW)

    def rows(self) -> list[tuple[int, int, float, int]]:
        return self.store.connection.execute("SELECT series, at, number, quality FROM fresh ORDER BY id").fetchall()

    def numbers(self) -> list[float]:
        return [row[2] for row in self.rows()]


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    opened = Desk(tmp_path / "cellar.db")
    yield opened
    opened.store.close()


def test_nothing_is_acknowledged_before_it_is_on_disk(desk: Desk) -> None:
    for number in range(3):
        desk.writer.offer(a_sample(str(number), packet=number + 1))
    assert (desk.acknowledged, desk.rows(), desk.writer.waiting) == ([], [], 3)
    assert desk.writer.turn(NOW)
    assert desk.acknowledged == [1, 2, 3]
    assert desk.seen_on_disk == [3]
    assert (desk.numbers(), desk.writer.waiting) == ([0.0, 1.0, 2.0], 0)


def test_acknowledgements_keep_the_order_of_arrival_over_many_commits(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ingest.writing.writer.MOST_AT_ONCE", 4)
    desk.enough = 1
    order = [7, 3, 9, 1, 8, 2, 6, 5, 4, 10]
    for packet in order:
        desk.writer.offer(a_sample(str(packet), packet=packet))
    assert desk.writer.turn(NOW)
    assert desk.acknowledged == order
    assert desk.seen_on_disk == [4, 8, 10]
    assert desk.numbers() == order


def test_what_gives_no_reading_is_acknowledged_too(desk: Desk) -> None:
    desk.writer.offer(a_sample("abc", packet=1))
    desk.writer.offer(a_sample("5", "nobody", packet=2))
    assert desk.writer.turn(NOW)
    assert (desk.acknowledged, desk.rows()) == ([1, 2], [])
    assert desk.writer.counters.refused == 2


def test_a_turn_with_nothing_new_writes_nothing(desk: Desk) -> None:
    assert desk.writer.turn(NOW)
    assert (desk.writer.counters.commits, desk.writer.counters.last_commit_ms) == (0, None)


def test_bare_numbers_get_rising_stamps_and_own_times_are_kept(desk: Desk) -> None:
    for number in range(3):
        desk.writer.offer(a_sample(str(number)))
    desk.writer.offer(a_sample('{"p": 4, "at": "2026-11-25T18:00:00Z"}', "dated"))
    desk.writer.offer(a_sample("9", arrival_ms=NOW - 500))
    assert desk.writer.turn(NOW)
    own = NOW - 30 * 60 * 1000
    assert [row[:3] for row in desk.rows()] == [
        (1, NOW, 0.0),
        (1, NOW + 1, 1.0),
        (1, NOW + 2, 2.0),
        (4, own, 4.0),
        (1, NOW + 3, 9.0),
    ]


def test_what_cannot_be_is_kept_as_bad(desk: Desk) -> None:
    desk.writer.offer(a_sample("5000"))
    assert desk.writer.turn(NOW)
    assert desk.rows() == [(1, NOW, 5000.0, quality_code(Quality.BAD, Reason.OUT_OF_RANGE))]


# ---- repeats -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("between", ["nothing", "turn", "restart"])
def test_a_bare_number_that_the_broker_sends_again_is_stored_once(tmp_path: Path, between: str) -> None:
    path = tmp_path / "cellar.db"
    desk = Desk(path)
    desk.writer.offer(a_sample("55.2", packet=4))
    if between != "nothing":
        assert desk.writer.turn(NOW)
        if between == "restart":
            desk.store.close()
            desk = Desk(path)
    desk.writer.offer(a_sample("55.2", packet=4, repeat=True, arrival_ms=NOW + 60_000))
    assert desk.writer.turn(NOW)
    assert [row[:3] for row in desk.rows()] == [(1, NOW, 55.2)]
    assert desk.acknowledged[-1:] == [4]
    assert desk.writer.counters.repeats == 1
    desk.store.close()


@pytest.mark.parametrize(
    "second",
    [
        a_sample("55.2", packet=4),  # the same number again, said anew
        a_sample("55.3", packet=4, repeat=True),  # never delivered before the connection broke
        a_sample("55.2", packet=5, repeat=True),
        a_sample("55.2", "k1/q", packet=4, repeat=True),
    ],
    ids=["not marked", "other number", "other packet", "other topic"],
)
def test_what_only_looks_like_a_repeat_is_stored(tmp_path: Path, second: Sample) -> None:
    desk = Desk(tmp_path / "cellar.db", (*BINDINGS, a_binding(address="k1/q", series=6)))
    desk.writer.offer(a_sample("55.2", packet=4))
    desk.writer.offer(second)
    assert desk.writer.turn(NOW)
    assert len(desk.rows()) == 2
    desk.store.close()


@pytest.mark.parametrize("restart", [False, True])
def test_both_probes_of_a_repeated_box_are_stored_once(tmp_path: Path, restart: bool) -> None:
    path = tmp_path / "cellar.db"
    desk = Desk(path)
    box = '{"p": 55.2, "t": 12.5}'
    desk.writer.offer(a_sample(box, "box", packet=9))
    assert desk.writer.turn(NOW)
    if restart:
        desk.store.close()
        desk = Desk(path)
    desk.writer.offer(a_sample(box, "box", packet=9, repeat=True, arrival_ms=NOW + 5))
    desk.writer.offer(a_sample(box, "box", packet=10, arrival_ms=NOW + 10))
    assert desk.writer.turn(NOW)
    assert [row[:3] for row in desk.rows()] == [
        (2, NOW, 55.2),
        (3, NOW, 12.5),
        (2, NOW + 10, 55.2),
        (3, NOW + 10, 12.5),
    ]
    desk.store.close()


def test_an_own_time_is_its_own_mark_whatever_the_broker_says(desk: Desk) -> None:
    first = '{"p": 4, "at": 1795631000}'
    for packet, payload in enumerate([first, first, '{"p": 5, "at": 1795631000}', '{"p": 6, "at": 1795631001}'], 1):
        desk.writer.offer(a_sample(payload, "dated", packet=packet))
    assert desk.writer.turn(NOW)
    assert desk.numbers() == [4.0, 6.0]
    assert desk.writer.counters.repeats == 2
    assert desk.acknowledged == [1, 2, 3, 4]


_WIRE = st.lists(
    st.one_of(
        st.tuples(st.just("k1/p"), st.integers(0, 3)),
        st.tuples(st.just("box"), st.integers(0, 3)),
        st.tuples(st.sampled_from(["turn", "again", "restart", "disk full", "power cut"]), st.just(0)),
    ),
    max_size=25,
)


@given(steps=_WIRE)
def test_every_message_is_stored_once_whatever_happens_between(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[str, int]]
) -> None:
    """A broker that sends again, marked as a repeat, whatever was not acknowledged when the connection broke."""
    path = tmp_path_factory.mktemp("wire") / "cellar.db"
    desk = Desk(path)
    unacknowledged: dict[int, tuple[str, str]] = {}
    meant: list[tuple[int, float]] = []
    packet = clock = 0

    def turn() -> None:
        already = len(desk.acknowledged)
        assert desk.writer.turn(NOW)
        for done in desk.acknowledged[already:]:
            unacknowledged.pop(done, None)

    def send_again() -> None:
        for known, (address, payload) in unacknowledged.items():
            desk.writer.offer(a_sample(payload, address, packet=known, repeat=True, arrival_ms=NOW + clock))

    for what, number in (*steps, ("power cut", 0), ("turn", 0)):
        clock += 1000
        if what == "turn":
            turn()
        elif what == "again":
            send_again()
        elif what == "restart":
            turn()
            desk.store.close()
            desk = Desk(path)
        elif what == "power cut":
            desk.store.close()
            desk = Desk(path)
            send_again()
        elif what == "disk full":
            desk.store.connection.execute("PRAGMA query_only=ON")
            count = len(desk.acknowledged)
            stored = desk.writer.turn(NOW)
            assert stored == (desk.writer.waiting == 0)
            if not stored:
                assert len(desk.acknowledged) == count
            else:
                for done in desk.acknowledged[count:]:
                    unacknowledged.pop(done, None)
            desk.store.connection.execute("PRAGMA query_only=OFF")
        else:
            packet += 1
            payload = str(number) if what == "k1/p" else f'{{"p": {number}, "t": {number + 0.5}}}'
            unacknowledged[packet] = (what, payload)
            desk.writer.offer(a_sample(payload, what, packet=packet, arrival_ms=NOW + clock))
            meant += [(1, float(number))] if what == "k1/p" else [(2, float(number)), (3, number + 0.5)]
    assert not unacknowledged
    for series in (1, 2, 3):
        assert sorted(row[2] for row in desk.rows() if row[0] == series) == sorted(
            number for of, number in meant if of == series
        )
    desk.store.close()


def test_after_a_restart_the_newest_packet_ids_are_known_and_no_older_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ingest.store.readings.fresh.REMEMBERED_IDS", 10)
    desk = Desk(tmp_path / "cellar.db")
    for packet in range(1, 31):
        desk.writer.offer(a_sample("12", packet=packet))
        assert desk.writer.turn(NOW)
    desk.store.close()
    again = Desk(tmp_path / "cellar.db")
    for packet in range(1, 31):
        again.writer.offer(a_sample("12", packet=packet, repeat=True))
    assert again.writer.turn(NOW)
    assert (again.writer.counters.repeats, len(again.rows())) == (10, 50)
    again.store.close()


def test_a_packet_id_that_is_used_again_at_once_stands_for_the_later_number(tmp_path: Path) -> None:
    """What the commit that brings the later number confirms keeps its packet id, and must not come after it."""
    mono = 500.0
    with create_or_open(tmp_path / "cellar.db", NOW) as store:

        def a_writer() -> Writer:
            decoder = Decoder((a_binding(), a_binding(series=2, address="k2/p")))
            return Writer(store, decoder, lambda tickets: None, lambda: 10_000, monotonic=lambda: mono)

        writer = a_writer()
        writer.offer(a_sample("1", packet=1))
        assert writer.turn(NOW)
        mono += 1.0
        writer.offer(a_sample("2", "k2/p", packet=1, arrival_mono=mono))
        assert writer.turn(NOW)
        assert [(row[1], row[3], row[4]) for row in fresh_after(store, 0, 9)] == [(1, 1.0, GOOD), (2, 2.0, BACKLOG)]
        again = a_writer()
        again.offer(a_sample("2", "k2/p", packet=1, repeat=True, arrival_ms=NOW + 60_000))
        assert again.turn(NOW)
        assert again.counters.repeats == 1
        # The ids that are kept of the doubted rows are those that they have on disk.
        mono += 1.0
        assert writer.turn(NOW)
        assert [(row[1], row[3], row[4]) for row in fresh_after(store, 0, 9)] == [(1, 1.0, GOOD), (2, 2.0, GOOD)]


def test_the_newest_of_a_backlog_is_told_again_as_a_good_one(tmp_path: Path) -> None:
    desk = Desk(tmp_path / "cellar.db")
    for packet in range(1, 4):
        desk.writer.offer(a_sample(str(packet), packet=packet))
    assert desk.writer.turn(NOW)
    assert [row[3] for row in desk.rows()] == [BACKLOG] * 3
    before = desk.store.connection.execute("SELECT max(id) FROM fresh").fetchone()[0]

    def settled() -> bool:
        assert desk.writer.turn(NOW)
        return not desk.writer.doubts

    eventually(settled)
    assert [row[2:] for row in desk.rows()] == [(1.0, BACKLOG), (2.0, BACKLOG), (3.0, GOOD)]
    # Who follows the ids meets it once more, at the time that it had; the next row comes after it.
    assert [row[2:4] for row in fresh_after(desk.store, before, 10)] == [(NOW + 2, 3.0)]
    assert touched_after(desk.store, 0) == []
    assert desk.writer.turn(NOW, desk.pulse)
    assert [touch[1:] for touch in touched_after(desk.store, 0)] == [(1, NOW, NOW + 2)]
    desk.writer.offer(a_sample("4", packet=5, arrival_ms=NOW + 9))
    assert desk.writer.turn(NOW)
    assert desk.numbers() == [1.0, 2.0, 3.0, 4.0]
    desk.store.close()


# ---- a disk that takes nothing -------------------------------------------------------------------------------------


def test_while_the_disk_is_full_nothing_is_acknowledged_and_later_all_is(desk: Desk) -> None:
    fill_up(desk.store)
    for number in range(300):
        desk.writer.offer(a_sample(str(number), packet=number + 1))
    for _ in range(3):
        assert not desk.writer.turn(NOW)
    desk.writer.offer(a_sample("300", packet=301))
    assert not desk.writer.turn(NOW, desk.pulse)
    assert (desk.acknowledged, desk.rows()) == ([], [])
    assert desk.writer.waiting == 301
    counters = desk.writer.counters
    assert (counters.failed_commits, counters.commits, counters.readings) == (4, 0, 0)
    assert "the disk does not take more" in (counters.last_error or "")

    make_room(desk.store)
    desk.enough = 1
    assert desk.writer.turn(NOW + 5)
    assert desk.acknowledged == list(range(1, 302))
    assert desk.numbers() == [float(number) for number in range(301)]
    assert (counters.readings, counters.last_error, counters.last_commit_ms) == (301, None, NOW + 5)
    assert desk.writer.waiting == 0


def test_what_nobody_would_send_again_is_held_up_to_a_bound(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ingest.writing.writer.MOST_HELD", 3)
    for number in range(5):
        desk.writer.offer(a_sample(str(number), "line", source="line"))
    desk.writer.offer(a_sample("9", packet=1))
    assert desk.writer.counters.dropped == 2
    assert desk.writer.turn(NOW)
    assert desk.numbers() == [0.0, 1.0, 2.0, 9.0]


def test_large_samples_are_held_up_to_a_bound_of_bytes(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ingest.writing.writer.MOST_HELD_BYTES", 100)
    for number in range(5):
        desk.writer.offer(a_sample(str(number).rjust(40), "line", source="line"))
    assert desk.writer.counters.dropped == 3
    assert desk.writer.turn(NOW)
    desk.writer.offer(a_sample("5".rjust(40), "line", source="line"))
    assert desk.writer.counters.dropped == 3


# ---- rejects -------------------------------------------------------------------------------------------------------


def test_rejects_are_counted_and_stored_with_the_next_pulse(desk: Desk) -> None:
    for at in (0, 7):
        desk.writer.offer(a_sample("abc", arrival_ms=NOW + at))
    desk.writer.offer(a_sample("5", "nobody"))
    assert desk.writer.turn(NOW)
    assert rejects(desk.store) == []
    assert desk.writer.turn(NOW, desk.pulse)
    expected = {
        ("k1/p", "k1-pressure", 2, NOW, NOW + 7, "abc"),
        ("nobody", "", 1, NOW, NOW, "5"),
    }
    assert {(row.address, row.probe, row.times, *row[5:]) for row in rejects(desk.store)} == expected
    assert desk.writer.turn(NOW, desk.pulse)
    assert {row.times for row in rejects(desk.store)} == {1, 2}


def test_rejects_wait_while_the_disk_is_full(desk: Desk) -> None:
    desk.writer.offer(a_sample("abc"))
    desk.store.connection.execute("PRAGMA query_only=ON")
    assert not desk.writer.turn(NOW, desk.pulse)
    desk.store.connection.execute("PRAGMA query_only=OFF")
    assert desk.writer.turn(NOW, desk.pulse)
    assert [row.times for row in rejects(desk.store)] == [1]


def test_a_flood_of_unknown_addresses_is_bounded_and_counted(desk: Desk) -> None:
    count = MOST_REJECT_ROWS + 200
    for number in range(count):
        desk.writer.offer(a_sample("5", f"babble/{number}"))
    assert desk.writer.turn(NOW, desk.pulse)
    kept = rejects(desk.store)
    assert len(kept) == MOST_REJECT_ROWS + 1
    assert sum(row.times for row in kept) == count


def test_the_feed_is_written_with_every_so_many_th_pulse(desk: Desk) -> None:
    writer = Writer(desk.store, Decoder(BINDINGS), lambda tickets: None, lambda: 10_000, feed_every=3)
    fed = []
    for number in range(7):
        writer.offer(a_sample(str(number), arrival_ms=NOW + number))
        assert writer.turn(NOW, desk.pulse)
        fed.append([touch[1:] for touch in touched_after(desk.store, 0)])
    first, fourth, seventh = (1, NOW, NOW), (1, NOW + 1, NOW + 3), (1, NOW + 4, NOW + 6)
    assert fed == [[first]] * 3 + [[first, fourth]] * 3 + [[first, fourth, seventh]]


# ---- threads -------------------------------------------------------------------------------------------------------


def test_enough_samples_wake_the_writer(desk: Desk) -> None:
    desk.enough = 3
    for number in range(2):
        desk.writer.offer(a_sample(str(number)))
    assert not desk.writer.wake.is_set()
    desk.writer.offer(a_sample("2"))
    assert desk.writer.wake.is_set()
    assert desk.writer.turn(NOW)
    assert not desk.writer.wake.is_set()


def test_a_flood_without_an_end_lets_a_turn_end(tmp_path: Path) -> None:
    """Or there would be no pulse, and the daemon would be taken for dead in the middle of its work."""
    path = tmp_path / "cellar.db"
    with create_or_open(path, NOW) as store:
        turns: list[int] = []

        def acknowledge_and_bring_the_next(tickets: Sequence[Ticket]) -> None:
            turns.append(len(tickets))
            assert len(turns) < 1000
            writer.offer(a_sample("5", packet=len(turns)))

        writer = Writer(store, Decoder(BINDINGS), acknowledge_and_bring_the_next, lambda: 1)
        writer.offer(a_sample("5", packet=1000))
        assert writer.turn(NOW)
        assert writer.wake.is_set()  # there is more to do, at once


def test_what_many_sources_deliver_at_once_is_all_stored(desk: Desk) -> None:
    def deliver(first: int) -> None:
        for packet in range(first, first + 400):
            desk.writer.offer(a_sample(f'{{"p": {packet}, "t": {packet}}}', "box", packet=packet))

    threads = [threading.Thread(target=deliver, args=(first,)) for first in (1, 1001, 2001)]
    for thread in threads:
        thread.start()

    def all_stored() -> bool:
        assert desk.writer.turn(NOW)
        return len(desk.acknowledged) == 1200

    eventually(all_stored)
    for thread in threads:
        thread.join()
    assert len(set(desk.acknowledged)) == 1200
    for series in (2, 3):
        assert sorted(row[2] for row in desk.rows() if row[0] == series) == sorted(desk.acknowledged)
    assert desk.seen_on_disk == sorted(desk.seen_on_disk)
