"""The writer's promise: reading, commit on disk, and only then the acknowledgement."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from a_store import fill_up, make_room
from eventually import eventually
from samples import NOW, a_sample
from writing_desk import BINDINGS, Desk

from ingest.probes.decode import Decoder
from ingest.reading import Quality, Reason, quality_code
from ingest.sources.sample import Ticket
from ingest.store import create_or_open
from ingest.store.change_feed import touched_after
from ingest.store.rejects import MOST_REJECT_ROWS, rejects
from ingest.writing.writer import Writer


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
