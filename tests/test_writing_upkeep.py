"""Upkeep: what is due is done in short slices, what the owner no longer wants goes, what others still need stays."""

from __future__ import annotations

import time

import pytest
from a_store import NOW, declared, fill_up, make_room

from ingest.store import Store
from ingest.store.change_feed import SUMMARIES, cursor, set_cursor, touched_after
from ingest.store.readings.fresh import Appender, came_with
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import raw
from ingest.store.readings.settling import DAY_MS
from ingest.store.readings.summaries import summary
from ingest.writing.upkeep import Upkeep, UpkeepSettings

TODAY_MS = NOW // DAY_MS * DAY_MS
HOUR_S = 3600.0


@pytest.fixture
def store(store: Store) -> Store:
    declare(store, [declared(gain=1.0)], NOW)
    return store


def fill(store: Store, days: int) -> None:
    """A reading a minute for some days until now."""
    count = days * 1440
    rows = [(1, NOW - (count - step) * 60_000, 50 + step % 9 / 10, 0) for step in range(count)]
    Appender(store).append(rows)


def count(store: Store, table: str) -> int:
    return int(store.connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0])


def all_due(upkeep: Upkeep, now_ms: int = NOW, mono: float = 10_000.0) -> float:
    """Work until nothing is due; the longest call in seconds."""
    longest = 0.0
    for _ in range(10_000):
        began = time.perf_counter()
        more = upkeep.work(now_ms, mono)
        longest = max(longest, time.perf_counter() - began)
        if not more:
            return longest
    raise AssertionError("upkeep never ends")


def test_after_a_start_nothing_is_due_at_once(store: Store) -> None:
    fill(store, 2)
    upkeep = Upkeep(store, UpkeepSettings(2 * HOUR_S), 0.0, (SUMMARIES,))
    assert not upkeep.work(NOW, 1.0)
    assert count(store, "block") == 0


def test_it_settles_follows_and_prunes(store: Store) -> None:
    fill(store, 3)
    before = list(raw(store, 1))
    upkeep = Upkeep(store, UpkeepSettings(2 * HOUR_S), 0.0, (SUMMARIES,))
    all_due(upkeep)
    assert count(store, "fresh") == 120
    assert list(raw(store, 1)) == before
    assert cursor(store, SUMMARIES) == touched_after(store, 0)[-1].seq
    assert count(store, "touched") == 1
    assert summary(store, 1, TODAY_MS - DAY_MS, TODAY_MS, "day").readings.tolist() == [1440]


def test_what_another_follower_still_needs_is_not_pruned(store: Store) -> None:
    fill(store, 1)
    Appender(store).append([(1, NOW + 1, 50.0, 0)])
    with store.write() as connection:
        set_cursor(connection, "mirror", 1)
    upkeep = Upkeep(store, UpkeepSettings(2 * HOUR_S), 0.0, (SUMMARIES, "mirror"))
    place = touched_after(store, 1)
    all_due(upkeep)
    assert touched_after(store, 1) == place
    with store.write() as connection:
        set_cursor(connection, "mirror", place[-1].seq)
    all_due(upkeep, mono=20_000.0)
    assert count(store, "touched") == 1


def test_by_default_nothing_is_dropped(store: Store) -> None:
    fill(store, 3)
    upkeep = Upkeep(store, UpkeepSettings(2 * HOUR_S), 0.0, (SUMMARIES,))
    all_due(upkeep, NOW + 4000 * DAY_MS)
    assert len(list(raw(store, 1))) == 3 * 1440


def test_each_level_is_kept_as_long_as_wished(store: Store) -> None:
    fill(store, 6)
    day_s = 86_400.0
    upkeep = Upkeep(store, UpkeepSettings(2 * HOUR_S, 2 * day_s, 3 * day_s, 4 * day_s), 0.0, (SUMMARIES,))
    all_due(upkeep)
    first_raw = next(raw(store, 1)).at_ms
    assert first_raw == TODAY_MS - 2 * DAY_MS
    begin = TODAY_MS - 10 * DAY_MS
    assert summary(store, 1, begin, NOW, "minute").from_ms[0] == TODAY_MS - 3 * DAY_MS
    assert summary(store, 1, begin, NOW, "hour").from_ms[0] == TODAY_MS - 4 * DAY_MS
    assert summary(store, 1, begin, NOW, "day").from_ms[0] == (NOW - 6 * DAY_MS) // DAY_MS * DAY_MS


def test_readings_are_not_dropped_before_they_were_summed_up(store: Store) -> None:
    fill(store, 5)
    upkeep = Upkeep(store, UpkeepSettings(2 * HOUR_S, 86_400.0), 0.0, (SUMMARIES,))
    all_due(upkeep)
    made = summary(store, 1, TODAY_MS - 10 * DAY_MS, TODAY_MS, "day")
    assert made.readings.tolist()[1:] == [1440] * (len(made.from_ms) - 1)


def test_a_late_change_to_a_day_whose_readings_are_gone_leaves_its_summary(store: Store) -> None:
    fill(store, 5)
    upkeep = Upkeep(store, UpkeepSettings(2 * HOUR_S, 86_400.0), 0.0, (SUMMARIES,))
    all_due(upkeep)
    old = summary(store, 1, TODAY_MS - 3 * DAY_MS, TODAY_MS - 2 * DAY_MS, "day")
    with store.write() as connection:
        connection.execute(
            "INSERT INTO touched (series, from_ms, to_ms) VALUES (1, ?, ?)",
            (TODAY_MS - 3 * DAY_MS, TODAY_MS - 3 * DAY_MS),
        )
    all_due(upkeep, mono=20_000.0)
    again = summary(store, 1, TODAY_MS - 3 * DAY_MS, TODAY_MS - 2 * DAY_MS, "day")
    assert again.readings.tolist() == old.readings.tolist() == [1440]


def test_readings_that_are_settled_late_are_dropped_all_the_same(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """A bare number may wait for weeks until enough others have followed, longer than its minutes are to be kept."""
    monkeypatch.setattr("ingest.store.readings.fresh.REMEMBERED_IDS", 30)
    day_s = 86_400.0
    appender = Appender(store)
    upkeep = Upkeep(store, UpkeepSettings(2 * HOUR_S, 2 * day_s, 3 * day_s, None), 0.0, (SUMMARIES,))
    mono = 0.0
    for quarter in range(60):
        now_ms = TODAY_MS + quarter * DAY_MS // 4
        mono += 4000.0
        appender.commit([(1, now_ms, 1.0, 0)], came={0: came_with(quarter + 1, 5)})
        # A probe with a clock of its own beside it, for some days.
        if quarter < 12 or quarter > 36:
            appender.append([(2, now_ms, 1.0, 0)])
        all_due(upkeep, now_ms, mono)
    oldest = store.connection.execute("SELECT min(day) FROM block WHERE series = 1").fetchone()[0]
    kept = store.connection.execute("SELECT min(at) / ? FROM fresh WHERE series = 1", (DAY_MS,)).fetchone()[0]
    # What is older is gone, and what is younger still waits.
    assert (oldest, kept) == (None, TODAY_MS // DAY_MS + 7)


def test_a_full_disk_puts_upkeep_off_and_loses_nothing(store: Store) -> None:
    fill(store, 3)
    before = list(raw(store, 1))
    fill_up(store)
    upkeep = Upkeep(store, UpkeepSettings(2 * HOUR_S), 0.0, (SUMMARIES,))
    all_due(upkeep)
    assert upkeep.last_error is not None
    assert list(raw(store, 1)) == before
    make_room(store)
    all_due(upkeep, mono=20_000.0)
    assert list(raw(store, 1)) == before
    assert count(store, "fresh") == 120


def test_no_call_takes_long(store: Store) -> None:
    """Slices are at most 50 ms each; a call may begin one when its time is nearly over. The bound is generous, for a
    busy machine; tests/benchmarks measures it."""
    fill(store, 10)
    longest = all_due(Upkeep(store, UpkeepSettings(2 * HOUR_S), 0.0, (SUMMARIES,)))
    print(f"the longest call took {longest * 1000:.0f} ms")
    assert longest < 0.5


def test_nothing_is_dropped_by_a_clock_that_nobody_vouches_for(store: Store) -> None:
    """A board that believes in 2100 keeps what it has; a clock that has gone on for a day unset is believed."""
    fill(store, 6)
    day_s, years_ms = 86_400.0, 75 * 365 * DAY_MS
    wishes = UpkeepSettings(2 * HOUR_S, 2 * day_s, 3 * day_s, 4 * day_s)
    upkeep = Upkeep(store, wishes, 0.0, (SUMMARIES,), network_sets_clock=lambda: None)
    for hour in range(1, 8):
        # By then the clock was set far ahead, and soon back again.
        wrong_ms = years_ms if hour in (3, 4) else 0
        all_due(upkeep, NOW + round(hour * HOUR_S * 1000) + wrong_ms, hour * HOUR_S)
    assert len(list(raw(store, 1))) == 6 * 1440
    for hour in range(8, 32):
        all_due(upkeep, NOW + round(hour * HOUR_S * 1000), hour * HOUR_S)
    assert len(list(raw(store, 1))) < 6 * 1440
