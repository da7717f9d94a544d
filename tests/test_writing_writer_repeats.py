"""What the broker sends again is stored once: in one run, over restarts, a full disk and a power cut."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from eventually import eventually
from hypothesis import given
from hypothesis import strategies as st
from samples import NOW, a_binding, a_sample
from writing_desk import BINDINGS, Desk

from ingest.probes.decode import Decoder
from ingest.reading import Quality, Reason, quality_code
from ingest.sources.sample import Sample
from ingest.store import create_or_open
from ingest.store.change_feed import touched_after
from ingest.store.readings.series_history import fresh_after
from ingest.writing.writer import Writer

GOOD = quality_code(Quality.GOOD)
BACKLOG = quality_code(Quality.UNCERTAIN, Reason.BACKLOG)


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    opened = Desk(tmp_path / "cellar.db")
    yield opened
    opened.store.close()


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
