"""The writer's turns under a clock that is wrong, with a real store: wait, estimate, date."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from a_store import NOW, declared, new_store
from samples import a_binding, a_sample

from ingest.probes.decode import Decoder
from ingest.reading import ESTIMATED, Quality, Reason, quality_code
from ingest.sources.sample import Ticket
from ingest.store import Store
from ingest.store.change_feed import cursor, set_cursor, touched_after
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import raw
from ingest.store.readings.settling import Settler
from ingest.store.readings.undated import DATED, FORGOTTEN_FUTURE
from ingest.store.readings.wrong_future import forget_future, future_readings
from ingest.writing.board_clock import ClockState
from ingest.writing.clock_guard import ClockGuard
from ingest.writing.writer import Writer

BOOT_MS = 946_684_800_000
GOOD = quality_code(Quality.GOOD)
CLOCK = quality_code(Quality.UNCERTAIN, Reason.CLOCK) + ESTIMATED


class Board:
    """A store that knows the time NOW, on a board whose clock is set by hand; monotonic seconds go on by themselves."""

    def __init__(self, store: Store, wall_ms: int, mono: float = 50.0, boot: str = "boot-1") -> None:
        self.store = store
        self.mono = mono
        self.offset_ms = wall_ms - mono * 1000
        self.acknowledged: list[int] = []
        self.writer = Writer(
            store, Decoder([a_binding(series=1)]), self._acknowledge, lambda: 1_000_000, monotonic=lambda: self.mono
        )
        self.keeper = ClockGuard(store, self.wall_ms, mono, boot)
        self._packet = 0
        # The connection came about long ago, so that no number is taken for one that the broker had kept.
        long_ago = a_sample(b"x", a_binding().address, packet=0, arrival_mono=mono - 100)
        self.writer.offer(long_ago)

    def _acknowledge(self, tickets: Sequence[Ticket]) -> None:
        self.acknowledged += [ticket.packet_id for ticket in tickets if ticket.packet_id]

    @property
    def wall_ms(self) -> int:
        return round(self.offset_ms + self.mono * 1000)

    def set_clock(self, wall_ms: int) -> None:
        self.offset_ms = wall_ms - self.mono * 1000

    def sample(self, payload: bytes) -> None:
        self._packet += 1
        sample = a_sample(payload, a_binding().address)
        self.writer.offer(
            sample._replace(arrival_ms=self.wall_ms, arrival_mono=self.mono, ticket=Ticket(1, self._packet, 1))
        )

    def turn(self, after_s: float = 1.0, steered: bool | None = None) -> ClockState:
        self.mono += after_s
        assert self.keeper.turn(self.writer, lambda _: None, self.wall_ms, self.mono, steered)
        return self.keeper.verdict

    def rows(self) -> list[tuple[int, int]]:
        return [(row.at_ms, row.quality) for row in raw(self.store, 1)]


@pytest.fixture
def store(store: Store) -> Store:
    declare(store, [declared(gain=1.0)], NOW)
    with store.write() as connection:
        set_cursor(connection, "clock", NOW)
    return store


def test_a_board_that_starts_in_the_past_waits_for_its_clock(store: Store) -> None:
    board = Board(store, BOOT_MS)
    board.sample(b"12")
    board.mono += 10
    board.sample(b"13")
    assert board.turn() is ClockState.WAITING
    assert board.rows() == []
    assert board.acknowledged == []
    # The network tells the time after 30 s: both readings get the times at which they came.
    board.mono += 19
    board.set_clock(NOW + 3_600_000)
    assert board.turn() is ClockState.RIGHT
    assert board.rows() == [(NOW + 3_600_000 - 30_000, GOOD), (NOW + 3_600_000 - 20_000, GOOD)]
    assert board.acknowledged == [1, 2]
    board.sample(b"14")
    board.turn()
    assert board.rows()[-1] == (board.wall_ms - 1000, GOOD)


def test_what_waits_for_the_clock_calls_for_no_turn(store: Store) -> None:
    board = Board(store, BOOT_MS)
    board.writer.wake.set()
    assert board.turn() is ClockState.WAITING
    assert not board.writer.wake.is_set()


def test_signs_of_life_go_on_while_readings_wait(store: Store) -> None:
    board = Board(store, BOOT_MS)
    board.sample(b"12")
    signs: list[float] = []
    for _ in range(3):
        board.mono += 10
        assert board.keeper.turn(board.writer, lambda _: signs.append(board.mono), board.wall_ms, board.mono)
    assert board.keeper.verdict is ClockState.WAITING
    assert signs == [60.0, 70.0, 80.0]
    assert (board.rows(), board.acknowledged, board.writer.waiting) == ([], [], 2)


def test_all_that_waited_is_dated_by_the_monotonic_clock_over_several_turns(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ingest.writing.writer.MOST_AT_ONCE", 2)
    board = Board(store, BOOT_MS)
    for _ in range(5):
        board.sample(b"12")
        board.mono += 1
    board.set_clock(NOW + 3_600_000)
    for _ in range(3):
        assert board.turn(0.0) is ClockState.RIGHT
    assert board.rows() == [(NOW + 3_600_000 - ago, GOOD) for ago in (5000, 4000, 3000, 2000, 1000)]


def test_after_two_minutes_times_are_estimated_and_dated_when_the_clock_comes_right(store: Store) -> None:
    board = Board(store, BOOT_MS)
    for index in range(130):
        board.sample(b"12")
        verdict = board.turn()
        assert verdict is (ClockState.WAITING if index < 119 else ClockState.UNKNOWN)
    assert board.acknowledged == list(range(1, 131))
    estimated = board.rows()
    assert [quality for _, quality in estimated] == [CLOCK] * 130
    assert estimated[0][0] == NOW
    assert estimated[-1][0] == NOW + 129_000
    place = touched_after(store, 0)[-1].seq
    board.set_clock(NOW + 86_400_000)
    right_at = board.mono + 1.0
    assert board.turn() is ClockState.RIGHT
    dated = board.rows()
    assert [quality for _, quality in dated] == [GOOD] * 130
    # The first came 130 s before the clock was found right.
    first_ms = board.wall_ms - round((right_at - 50.0) * 1000)
    assert dated[0][0] == first_ms
    assert dated[-1][0] == first_ms + 129_000
    assert cursor(store, DATED) == 1
    assert [(touch.from_ms, touch.to_ms) for touch in touched_after(store, place)] == [
        (estimated[0][0], estimated[-1][0]),
        (dated[0][0], dated[-1][0]),
    ]
    board.sample(b"12")
    board.turn()
    assert board.rows()[-1] == (board.wall_ms - 1000, GOOD)


def test_what_a_full_disk_held_back_is_dated_too(store: Store) -> None:
    """Both at once: times are estimates, and the estimates cannot be stored until after the clock has come right."""
    board = Board(store, BOOT_MS)
    board.turn(121.0)
    store.connection.execute("PRAGMA query_only=ON")
    board.sample(b"12")
    board.mono += 1
    assert not board.keeper.turn(board.writer, lambda _: None, board.wall_ms, board.mono)
    assert (board.rows(), board.acknowledged) == ([], [])
    store.connection.execute("PRAGMA query_only=OFF")
    board.set_clock(NOW + 86_400_000)
    assert board.turn() is ClockState.RIGHT
    assert board.rows() == [(board.wall_ms - 2000, GOOD)]
    assert board.acknowledged == [1]


def test_a_clock_set_back_while_running_holds_nothing_up(store: Store) -> None:
    board = Board(store, NOW + 10_000)
    board.sample(b"12")
    assert board.turn() is ClockState.RIGHT
    board.set_clock(board.wall_ms - 3_600_000)
    board.sample(b"13")
    assert board.turn() is ClockState.UNKNOWN
    assert board.rows() == [(NOW + 10_000, GOOD), (NOW + 11_000, CLOCK)]
    assert board.acknowledged == [1, 2]


def test_a_process_that_starts_again_in_the_same_boot_goes_on_and_dates_what_the_former_one_estimated(
    store: Store,
) -> None:
    board = Board(store, BOOT_MS)
    board.turn(121.0)
    board.sample(b"12")
    assert board.turn() is ClockState.UNKNOWN
    again = Board(store, board.wall_ms, mono=board.mono)
    assert again.keeper.verdict is ClockState.UNKNOWN, "also in the pulse before the first turn"
    again.sample(b"13")
    assert again.turn() is ClockState.UNKNOWN
    assert [at for at, _ in again.rows()] == [NOW + 121_000, NOW + 122_000]
    third = Board(store, NOW + 7_200_000, mono=again.mono)
    assert third.turn() is ClockState.RIGHT
    assert third.rows() == [(NOW + 7_200_000 - 2000, GOOD), (NOW + 7_200_000 - 1000, GOOD)]


def test_estimates_of_another_boot_stay_estimates(store: Store) -> None:
    board = Board(store, BOOT_MS)
    board.turn(121.0)
    board.sample(b"12")
    board.turn()
    other = Board(store, NOW + 7_200_000, mono=5.0, boot="boot-2")
    assert other.turn() is ClockState.RIGHT
    assert other.rows() == [(NOW + 121_000, CLOCK)]


def test_a_first_start_on_a_new_store_believes_the_clock(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        declare(store, [declared(gain=1.0)], BOOT_MS)
        board = Board(store, BOOT_MS)
        board.sample(b"12")
        assert board.turn() is ClockState.RIGHT
        assert board.rows() == [(BOOT_MS, GOOD)]


def test_a_clock_a_day_ahead_for_a_moment_leaves_no_trace(store: Store) -> None:
    board = Board(store, NOW + 10_000)
    board.sample(b"12")
    assert board.turn() is ClockState.RIGHT
    board.set_clock(board.wall_ms + 86_400_000)
    for _ in range(20):
        board.sample(b"13")
        assert board.turn() is ClockState.UNKNOWN
    board.set_clock(board.wall_ms - 86_400_000)
    assert board.turn() is ClockState.RIGHT
    assert board.rows() == [(NOW + 10_000 + 1000 * second, GOOD) for second in range(21)]
    assert cursor(store, "clock") == board.wall_ms


def test_a_clock_that_was_wrong_between_two_turns_leaves_no_trace(store: Store) -> None:
    board = Board(store, NOW + 10_000)
    board.sample(b"12")
    assert board.turn() is ClockState.RIGHT
    for ahead_ms in (86_400_000, -86_400_000):
        board.set_clock(board.wall_ms + ahead_ms)
        board.sample(b"13")
        board.set_clock(board.wall_ms - ahead_ms)
        assert board.turn() is ClockState.RIGHT
    assert board.rows() == [(NOW + 10_000 + 1000 * second, GOOD) for second in range(3)]


FAR_MS = 4_102_444_800_000  # 2100
WRONG = quality_code(Quality.UNCERTAIN, Reason.CLOCK)


def _in_2100(store: Store) -> Board:
    """Three readings of 2100, and the clock is right again, behind what was stored."""
    board = Board(store, FAR_MS)
    for _ in range(3):
        board.sample(b"12")
        assert board.turn() is ClockState.RIGHT
    board.set_clock(NOW + 3_600_000)
    board.sample(b"13")
    assert board.turn() is ClockState.UNKNOWN
    return board


def test_the_store_comes_back_from_a_wrong_future_once_the_network_steers_the_clock(store: Store) -> None:
    board = _in_2100(store)
    place = touched_after(store, 0)[-1].seq
    while board.turn(steered=True) is not ClockState.RIGHT:
        assert board.mono < 200
    board.sample(b"14")
    board.turn(steered=True)
    now_ms = board.wall_ms
    assert board.rows() == [
        (NOW + 3_600_000, GOOD),
        (now_ms - 1000, GOOD),
        *((FAR_MS + second * 1000, WRONG) for second in range(3)),
    ]
    assert cursor(store, "clock") == now_ms
    assert (cursor(store, FORGOTTEN_FUTURE) or 0) >= FAR_MS
    assert (1, FAR_MS, FAR_MS + 2000) in [touch[1:] for touch in touched_after(store, place)]
    # Also after a restart stamps are those of now.
    again = Board(store, board.wall_ms, mono=board.mono)
    again.sample(b"15")
    assert again.turn() is ClockState.RIGHT
    assert again.rows()[2] == (now_ms, GOOD)


@pytest.mark.parametrize("running", [True, False])
def test_the_owners_word_brings_the_store_back_from_a_wrong_future(store: Store, running: bool) -> None:
    board = _in_2100(store)
    if not running:
        board = Board(store, board.wall_ms, mono=board.mono)
    assert forget_future(store, board.wall_ms, "boot-1") == 3
    if not running:
        board = Board(store, board.wall_ms, mono=board.mono)
    assert board.turn() is ClockState.RIGHT
    board.sample(b"14")
    board.turn()
    assert [at for at, _ in board.rows()][:2] == [NOW + 3_600_000, board.wall_ms - 1000]
    (future,) = future_readings(store, board.wall_ms)
    assert future == (1, 3, 3, FAR_MS, FAR_MS + 2000)


def test_a_wrong_future_that_was_settled_is_marked_too_and_holds_no_stamp_up(store: Store) -> None:
    board = _in_2100(store)
    settler = Settler(store)
    settler.begin(FAR_MS + 10**9)
    while settler.slice():
        pass
    assert future_readings(store, board.wall_ms)[0].marked == 0
    forget_future(store, board.wall_ms, "boot-1")
    assert [quality for at, quality in board.rows() if at == FAR_MS + 2000] == [WRONG]
    again = Board(store, board.wall_ms, mono=board.mono)
    assert again.turn() is ClockState.RIGHT
    again.sample(b"15")
    again.turn()
    assert (again.wall_ms - 1000, GOOD) in again.rows()


def test_a_store_that_takes_nothing_holds_up_neither_the_clock_nor_the_writer(store: Store) -> None:
    board = _in_2100(store)
    store.connection.execute("PRAGMA query_only=ON")
    board.sample(b"14")
    for _ in range(70):
        board.mono += 1
        assert not board.keeper.turn(board.writer, lambda _: None, board.wall_ms, board.mono, True)
    store.connection.execute("PRAGMA query_only=OFF")
    assert board.turn(steered=True) is ClockState.RIGHT
    assert len([at for at, _ in board.rows() if at < FAR_MS]) == 2
