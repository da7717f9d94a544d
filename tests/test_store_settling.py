"""Settling, summaries and history against a plain list, in any mixture of what can happen to a store."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path

import numpy as np
import pytest
from a_store import NOW, declared, new_store
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from ingest.reading import ESTIMATED, Part, Quality, Reason, quality_code
from ingest.store import Store
from ingest.store.readings.block import Arrays, BlockUnreadable
from ingest.store.readings.fresh import Appender
from ingest.store.readings.scales import add_part
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import arrays, latest, newest, raw, span
from ingest.store.readings.settling import DAY_MS, Settler
from ingest.store.readings.summaries import CatchUp, coarsest, summary
from ingest.store.readings.summary import LEVELS, Level, pack_summary, summarise, unpack_summary

BASE_MS = NOW // DAY_MS * DAY_MS
BAD = quality_code(Quality.BAD, Reason.FAULT)
UNCERTAIN = quality_code(Quality.UNCERTAIN, Reason.JUMP)


@pytest.fixture
def store(store: Store) -> Store:
    declare(store, [declared(gain=1.0)], NOW)
    return store


def settle(store: Store, before_ms: int) -> int:
    settler, slices = Settler(store), 0
    settler.begin(before_ms)
    while settler.slice():
        slices += 1
    return slices


def catch_up(store: Store) -> None:
    following = CatchUp(store)
    while following.slice():
        pass


def fresh_count(store: Store) -> int:
    return int(store.connection.execute("SELECT count(*) FROM fresh").fetchone()[0])


def test_settled_readings_leave_fresh_and_history_is_the_same(store: Store) -> None:
    rows = [(1, BASE_MS + step * 10_000, 50 + step % 7 / 10, step % 3) for step in range(20_000)]
    Appender(store).append(rows)
    before = list(raw(store, 1))
    settle(store, BASE_MS + 15_000 * 10_000)
    assert fresh_count(store) == 5000
    assert list(raw(store, 1)) == before
    assert store.connection.execute("SELECT sum(rows) FROM block").fetchone() == (15_000,)
    assert span(store, 1) == (rows[0][1], rows[-1][1])


def test_a_late_reading_lands_in_a_settled_day_and_a_repeat_does_not_win(store: Store) -> None:
    appender = Appender(store)
    appender.append([(1, BASE_MS + step * 1000, float(step), 0) for step in range(0, 100, 2)])
    settle(store, NOW + DAY_MS)
    # After a restart the appender does not remember what was settled.
    Appender(store).append([(1, BASE_MS + 1000, 1.0, 0), (1, BASE_MS + 2000, 99.0, 0)])
    assert [row.value for row in raw(store, 1)][:3] == [0.0, 1.0, 2.0]
    settle(store, NOW + DAY_MS)
    assert fresh_count(store) == 0
    assert [row.value for row in raw(store, 1)][:3] == [0.0, 1.0, 2.0]


def test_killed_between_packing_and_taking_out_nothing_is_lost_or_doubled(store: Store) -> None:
    rows = [(series, BASE_MS + step * 1000, step + 0.5, 0) for step in range(50) for series in (1, 2)]
    Appender(store).append(rows)
    before = [list(raw(store, series)) for series in (1, 2)]
    settler = Settler(store)
    settler.begin(NOW + DAY_MS)
    for _ in range(3):  # a look, and the two days
        assert settler.slice()
    assert (fresh_count(store), store.connection.execute("SELECT sum(rows) FROM block").fetchone()) == (100, (100,))
    assert [list(raw(store, series)) for series in (1, 2)] == before
    newest_id = Appender(store).newest_id
    settle(store, NOW + DAY_MS)
    assert fresh_count(store) == 0
    assert [list(raw(store, series)) for series in (1, 2)] == before
    assert Appender(store).newest_id == newest_id


def test_each_page_is_written_once_and_not_once_a_series(store: Store) -> None:
    """Thirty series lie mixed on the pages of fresh; what settling adds to the log is about blocks and pages once."""
    Appender(store).append([(1 + row % 30, BASE_MS + row * 333, row % 7 / 10, 0) for row in range(5400)])
    store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    settle(store, NOW + DAY_MS)
    log = Path(f"{store.path}-wal").stat().st_size
    assert log < 600_000, f"{log} bytes"


def test_readings_with_estimated_times_wait(store: Store) -> None:
    Appender(store).append([(1, BASE_MS, 1.0, ESTIMATED | 1), (1, BASE_MS + 1, 2.0, 0)])
    settle(store, NOW + DAY_MS)
    assert fresh_count(store) == 1


def test_an_id_is_never_used_again_after_everything_was_settled(store: Store) -> None:
    first = Appender(store).append([(1, BASE_MS + step, 1.0, 0) for step in range(10)])
    settle(store, NOW + DAY_MS)
    again = Appender(store).append([(1, NOW, 1.0, 0)])
    assert again.newest_id == first.newest_id + 1


def test_stamps_follow_what_is_settled_too(store: Store) -> None:
    # Nearer than a second: a stamp is not further ahead of its arrival.
    Appender(store).append([(1, NOW + 500, 1.0, 0)])
    settle(store, NOW + DAY_MS)
    assert Appender(store).stamp(1, NOW) == NOW + 501


def test_the_newest_reading_is_found_wherever_it_lies(store: Store) -> None:
    appender = Appender(store)
    appender.append([(1, BASE_MS, 1.0, 0), (1, BASE_MS + 1000, 2.0, UNCERTAIN)])
    settle(store, NOW + DAY_MS)
    assert latest(store, [1])[1][1:] == (BASE_MS + 1000, 2.0, UNCERTAIN)
    appender.append([(1, BASE_MS + 500, 3.0, 0)])
    assert latest(store, [1])[1][1:] == (BASE_MS + 1000, 2.0, UNCERTAIN)
    appender.append([(1, BASE_MS + 1500, 4.0, 0)])
    assert latest(store, [1])[1][1:] == (BASE_MS + 1500, 4.0, 0)
    assert newest(store, 1, 1)[0].value == 4.0


def test_a_block_that_does_not_give_back_what_went_in_settles_nothing(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    Appender(store).append([(1, BASE_MS, 1.0, 0)])
    monkeypatch.setattr("ingest.store.readings.settling.pack", lambda whole: b"")
    with pytest.raises(Exception, match="damaged"):
        settle(store, NOW + DAY_MS)
    assert fresh_count(store) == 1


def test_summaries_of_a_day_by_hand(store: Store) -> None:
    minute = LEVELS["minute"]
    values = [(0, 2.0, 0), (10_000, 4.0, 0), (50_000, 3.0, UNCERTAIN), (minute, 9.0, BAD), (3 * minute, 5.0, 0)]
    Appender(store).append([(1, BASE_MS + at, value, quality) for at, value, quality in values])
    for follow in (False, True):
        if follow:
            catch_up(store)
        made = summary(store, 1, BASE_MS, BASE_MS + DAY_MS, "minute")
        assert made.from_ms.tolist() == [BASE_MS, BASE_MS + minute, BASE_MS + 3 * minute]
        assert made.readings.tolist() == [3, 0, 1]
        assert made.low.tolist()[::2] == [2.0, 5.0]
        assert made.high.tolist()[::2] == [4.0, 5.0]
        assert made.mean.tolist()[::2] == [3.0, 5.0]
        assert made.first.tolist()[::2] == [2.0, 5.0]
        assert made.last.tolist()[::2] == [3.0, 5.0]
        assert math.isnan(made.mean[1])
        assert made.worst.tolist() == [1, 2, 0]
        hour = summary(store, 1, BASE_MS, BASE_MS + DAY_MS, "hour")
        assert (hour.readings.tolist(), hour.low.tolist(), hour.high.tolist()) == ([4], [2.0], [5.0])
        assert (hour.first.tolist(), hour.last.tolist(), hour.worst.tolist()) == ([2.0], [5.0], [2])


def test_the_level_that_fits_a_chart() -> None:
    day = DAY_MS
    assert coarsest(0, 365 * day, 300) == "day"
    assert coarsest(0, 30 * day, 300) == "hour"
    assert coarsest(0, day, 300) == "minute"
    assert coarsest(0, day // 24, 300) is None


def test_packed_summaries_come_back_bit_for_bit() -> None:
    chance = np.random.default_rng(1)
    times = BASE_MS + np.arange(3000) * 17_000
    values = Arrays(times, chance.normal(50, 1, 3000), np.where(chance.random(3000) < 0.1, BAD, 0).astype(np.uint16))
    made = summarise(values, LEVELS["minute"])
    back = unpack_summary(pack_summary(made))
    assert all(first.tobytes() == second.tobytes() for first, second in zip(made, back, strict=True))


@pytest.mark.parametrize("cut", [0, 3, 40, -1])
def test_packed_summaries_that_are_damaged_are_told(cut: int) -> None:
    times = BASE_MS + np.arange(300) * 17_000
    values = Arrays(times, np.round(np.sin(np.arange(300.0)), 2), np.zeros(300, np.uint16))
    made = summarise(values, LEVELS["minute"])
    with pytest.raises(BlockUnreadable, match="damaged"):
        unpack_summary(pack_summary(made)[:cut])


def test_minutes_take_no_more_room_than_some_readings() -> None:
    """A probe that prints two digits every 10 s: low, high, first and last take about a byte each, a mean eight."""
    chance = np.random.default_rng(1)
    times = BASE_MS + np.arange(8640) * 10_000
    values = Arrays(times, np.round(chance.normal(17, 0.02, 8640), 2), np.zeros(8640, np.uint16))
    assert len(pack_summary(summarise(values, LEVELS["minute"]))) < 14 * 1440


_AT = st.integers(0, 3 * 24 * 60).map(lambda minute: minute * 60_000)
_NUMBER = st.sampled_from([0.0, 0.1, 12.5, -3.25, 1 / 3, 1e6])
_ROWS = st.lists(st.tuples(st.sampled_from([1, 2]), _AT, _NUMBER, st.sampled_from([0, UNCERTAIN, BAD])), max_size=12)


class AnyMixture(RuleBasedStateMachine):
    """Inserts, repeats, late readings, re-scaling, settling, following, reopening; history equals a dictionary."""

    @initialize()
    def begin(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        self.store = new_store(Path(self.folder.name))
        declare(self.store, [declared(gain=1.0), declared(probe="k2-pressure", place="K2", gain=1.0)], BASE_MS)
        self.appender = Appender(self.store)
        self.settler = Settler(self.store)
        self.following = CatchUp(self.store)
        self.model: dict[tuple[int, int], tuple[float, int]] = {}
        self.scale: dict[int, list[tuple[int, float, float]]] = {1: [(0, 1.0, 0.0)], 2: [(0, 1.0, 0.0)]}

    @rule(rows=_ROWS, feed=st.booleans(), bare=st.booleans())
    def insert(self, rows: list[tuple[int, int, float, int]], feed: bool, bare: bool) -> None:
        chosen = self.appender.choose((series, BASE_MS + at, number, quality) for series, at, number, quality in rows)
        self.appender.commit(chosen, came=dict.fromkeys(range(len(chosen)), 1 << 32) if bare else None, feed=feed)
        for series, at, number, quality in rows:
            self.model.setdefault((series, BASE_MS + at), (number, quality))

    @rule(series=st.sampled_from([1, 2]), at=_AT, gain=st.sampled_from([0.5, 1.0, 2.0]), offset=st.integers(-2, 2))
    def scale_anew(self, series: int, at: int, gain: float, offset: int) -> None:
        with self.store.write() as connection:
            part = Part(BASE_MS + at, "calibration", gain, float(offset), "kPa", "somebody")
            add_part(connection, series, part, BASE_MS + 4 * DAY_MS)
        self.scale[series].append((BASE_MS + at, gain, float(offset)))
        self.scale[series].sort(key=lambda each: each[0])

    @rule(before=_AT, slices=st.integers(1, 8))
    def settle_some(self, before: int, slices: int) -> None:
        self.settler.begin(BASE_MS + before)
        for _ in range(slices):
            self.settler.slice()

    @rule(slices=st.integers(1, 6))
    def follow_some(self, slices: int) -> None:
        for _ in range(slices):
            self.following.slice()

    @rule()
    def reopen(self) -> None:
        self.store.close()
        self.store = new_store(Path(self.folder.name))
        self.appender = Appender(self.store)
        self.settler = Settler(self.store)
        self.following = CatchUp(self.store)

    def _values(self, series: int) -> list[tuple[int, float, int]]:
        made = []
        for (owner, at), (number, quality) in sorted(self.model.items()):
            if owner == series:
                _, gain, offset = [each for each in self.scale[series] if each[0] <= at][-1]
                made.append((at, gain * number + offset, quality))
        return made

    @invariant()
    def history_equals_the_model(self) -> None:
        if not hasattr(self, "model"):
            return
        for series in (1, 2):
            assert [tuple(row) for row in raw(self.store, series)] == self._values(series)
            got = arrays(self.store, series, BASE_MS + DAY_MS, BASE_MS + 2 * DAY_MS)
            wanted = [row for row in self._values(series) if BASE_MS + DAY_MS <= row[0] < BASE_MS + 2 * DAY_MS]
            assert got.at_ms.tolist() == [row[0] for row in wanted]
            assert got.number.tolist() == [row[1] for row in wanted]

    @invariant()
    def summaries_equal_the_model(self) -> None:
        if not hasattr(self, "model"):
            return
        for series in (1, 2):
            for level in ("minute", "hour", "day"):
                self._compare(series, level)

    def _compare(self, series: int, level: Level) -> None:
        made = summary(self.store, series, BASE_MS, BASE_MS + 5 * DAY_MS, level)
        wanted: dict[int, list[tuple[float, int]]] = {}
        for at, value, quality in self._values(series):
            wanted.setdefault(at // LEVELS[level] * LEVELS[level], []).append((value, quality & 3))
        assert made.from_ms.tolist() == sorted(wanted)
        for index, begins in enumerate(sorted(wanted)):
            sound = [value for value, quality in wanted[begins] if quality < 2]
            assert made.readings[index] == len(sound)
            assert made.worst[index] == max(quality for _, quality in wanted[begins])
            if sound:
                assert (made.low[index], made.high[index]) == (min(sound), max(sound))
                assert (made.first[index], made.last[index]) == (sound[0], sound[-1])
                assert made.mean[index] == pytest.approx(sum(sound) / len(sound), abs=1e-9)

    def teardown(self) -> None:
        if hasattr(self, "store"):
            self.store.close()
            self.folder.cleanup()


AnyMixture.TestCase.settings = settings(stateful_step_count=25)
test_any_mixture_equals_a_plain_list = AnyMixture.TestCase
