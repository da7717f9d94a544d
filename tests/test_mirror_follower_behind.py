"""Since when the mirror has been behind: kept through restarts and a clock that is wrong, and reported."""

from __future__ import annotations

import pytest
from a_mirror import Start, follower, settings, up_to_date
from a_store import NOW
from eventually import eventually
from influx_server import InfluxServer, Says

from ingest.mirror.follower import MirrorProgress
from ingest.store import Store
from ingest.store.change_feed import set_cursor
from ingest.store.mirror_queue import MirrorQueue
from ingest.store.readings.fresh import Appender


@pytest.fixture
def store(mirrored: Store) -> Store:
    return mirrored


HOUR_MS = 3_600_000


def behind_since(store: Store) -> int | None:
    return MirrorQueue(store, 1).behind_since()


def test_since_when_it_is_behind_outlives_a_restart_and_ends_with_the_backlog(
    store: Store, influx: InfluxServer, started: Start
) -> None:
    influx.judge = lambda request: Says(503)
    Appender(store).append([(1, NOW, 1.0, 0)])
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: mirror.state().behind_since_ms == NOW)
    mirror.stop(5.0)
    assert behind_since(store) == NOW
    later = started(follower(store.path, settings(influx.url), clock=lambda: NOW + 5 * HOUR_MS))
    eventually(lambda: later.state().state == "waiting")
    assert later.state().behind_since_ms == NOW
    influx.judge = lambda request: Says()
    eventually(lambda: up_to_date(later) and later.state().behind_since_ms is None)
    eventually(lambda: behind_since(store) is None)


def test_a_stop_amid_a_backlog_is_not_taken_for_its_end(store: Store, influx: InfluxServer, started: Start) -> None:
    influx.judge = lambda request: Says(503)
    Appender(store).append([(1, NOW, 1.0, 0)])
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: mirror.state().behind_since_ms is not None)
    influx.judge = lambda request: Says(hang=True)
    count = len(influx.requests)
    eventually(lambda: len(influx.requests) > count)
    mirror.stop(0.0)
    influx.stop()
    eventually(lambda: not mirror.alive())
    assert mirror.state().state == "waiting"
    assert behind_since(store) == NOW


def test_a_stop_amid_a_request_is_not_taken_for_trouble(store: Store, influx: InfluxServer, started: Start) -> None:
    mirror = started(follower(store.path, settings(influx.url, timeout_s=60.0)))
    eventually(lambda: up_to_date(mirror))
    influx.judge = lambda request: Says(hang=True)
    Appender(store).append([(1, NOW, 1.0, 0)])
    eventually(lambda: influx.requests)
    mirror.stop(0.0)
    influx.stop()
    eventually(lambda: not mirror.alive())
    assert (mirror.state().state, mirror.state().last_error, behind_since(store)) == ("up to date", None, None)


def test_turns_that_fail_count_as_behind(store: Store, influx: InfluxServer, started: Start) -> None:
    def broken() -> str:
        raise ZeroDivisionError

    mirror = started(follower(store.path, settings(influx.url), token=broken))
    eventually(lambda: mirror.state().behind_since_ms == NOW)
    assert mirror.state().state == "waiting"
    assert behind_since(store) == NOW


def test_a_clock_in_the_past_makes_no_half_century_of_it(store: Store, influx: InfluxServer, started: Start) -> None:
    with store.write() as connection:
        set_cursor(connection, "clock", NOW - 7)
    influx.judge = lambda request: Says(503)
    Appender(store).append([(1, NOW, 1.0, 0)])
    mirror = started(follower(store.path, settings(influx.url), clock=lambda: 1000))
    eventually(lambda: mirror.state().behind_since_ms is not None)
    assert mirror.state().behind_since_ms == NOW - 7


def test_one_that_keeps_up_writes_nothing_about_it(store: Store, influx: InfluxServer, started: Start) -> None:
    mirror = started(follower(store.path, settings(influx.url)))
    appender = Appender(store)
    for step in range(3):
        appender.append([(1, NOW + step, 1.0, 0)])
        eventually(lambda step=step: up_to_date(mirror) and len(influx.points) == step + 1)  # type: ignore[misc]  # bound now
    count = store.connection.execute("SELECT count(*) FROM cursor WHERE name = 'mirror behind since'").fetchone()
    assert count == (0,)


def test_a_word_that_is_said_again_keeps_its_time() -> None:
    progress = MirrorProgress(1.0)
    progress.say("waiting", 2.0, "a")
    progress.say("waiting", 3.0, "b")
    assert (progress.pulse(9.0).for_s, progress.last_error) == (7.0, "b")
    progress.say("up to date", 4.0)
    assert (progress.pulse(9.0).for_s, progress.last_error) == (5.0, None)


def test_the_newest_reading_sent_never_goes_back() -> None:
    progress = MirrorProgress(0.0)
    for at_ms in (5, 9, 7):
        progress.reached(at_ms)
    assert progress.newest_sent_ms == 9


def test_the_pulse_carries_every_key_from_the_start() -> None:
    written = MirrorProgress(0.0).pulse(1.5).model_dump(mode="json", exclude_unset=True)
    assert set(written) == {
        "state",
        "for_s",
        "behind",
        "spans",
        "records",
        "oldest_unsent_ms",
        "newest_sent_ms",
        "sent",
        "refused",
        "left_out",
        "last_error",
        "behind_since_ms",
    }
    assert (written["state"], written["for_s"]) == ("starting", 1.5)
