"""The journal at the mirror, against a real HTTP server: entries, results and strikes, through all trouble."""

from __future__ import annotations

import pytest
from a_mirror import Desk, Start, follower, refused_lines, settings, up_to_date
from a_store import NOW
from eventually import eventually
from influx_server import InfluxServer, Points, Request, Says, points_of
from journal_entries import an_entry

from ingest.mirror.encoder import entry_lines
from ingest.mirror.follower import Pace
from ingest.store import Store
from ingest.store.alarms.alarm_record import TransitionRow, add_transition
from ingest.store.journal.entries import entries
from ingest.store.journal.entry_rows import insert_entry
from ingest.store.mirror_queue import MOST_ENTRIES
from ingest.store.readings.fresh import Appender


@pytest.fixture
def store(mirrored: Store) -> Store:
    return mirrored


@pytest.fixture
def desk(store: Store) -> Desk:
    return Desk(store)


def wanted(store: Store) -> Points:
    """The points of the whole journal as it is now."""
    return points_of(line for entry in entries(store) for line in entry_lines(entry, "Mill Lane"))


def all_there(influx: InfluxServer, store: Store) -> bool:
    points = dict(influx.points).items()
    return {key: fields for key, fields in points if key[0].startswith(("entry", "result"))} == wanted(store)


def lines_of(request: Request, *names: str) -> list[str]:
    return [line for line in request.lines if line.startswith(names)]


def test_what_was_written_before_and_what_is_written_now(
    store: Store, influx: InfluxServer, desk: Desk, started: Start
) -> None:
    free = desk.free(31.0)
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    head = r"result,place=K1,quantity=free_so2,site=Mill\ Lane"
    point = influx.points[head, free.at_ms * 1_000_000 + free.id]
    assert (point["value"], point["u"], point["struck"]) == ("31.0", "2.0", "0i")
    before = len(influx.requests)
    lot = desk.free(28.0, None, "A")
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    assert (r"result,lot=A,quantity=free_so2,site=Mill\ Lane", lot.at_ms * 1_000_000 + lot.id) in influx.points
    # Only what is new.
    assert [len(request.lines) for request in influx.requests[before:]] == [2]


def test_a_strike_marks_the_points_that_were_sent(
    store: Store, influx: InfluxServer, desk: Desk, started: Start
) -> None:
    free = desk.free(31.0)
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    count, before = len(influx.points), len(influx.requests)
    desk.strike(free)
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    assert len(influx.points) == count
    assert [len(request.lines) for request in influx.requests[before:]] == [2]
    struck = [key for key, fields in influx.points.items() if fields.get("struck") == "1i"]
    assert sorted(head.split(",")[0] for head, _ in struck) == ["entry", "result"]


def test_a_restart_sends_nothing_twice_and_forgets_nothing(
    store: Store, influx: InfluxServer, desk: Desk, started: Start
) -> None:
    first, second = desk.free(31.0), desk.free(30.0)
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    mirror.stop(5.0)
    before = len(influx.requests)
    desk.strike(first)
    desk.free(29.0)
    again = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(again) and all_there(influx, store))
    sent = [line for request in influx.requests[before:] for line in request.lines]
    assert len(sent) == 4
    assert not [line for line in sent if f"entry={second.id}i" in line]


def test_another_bucket_gets_the_journal_as_it_is(
    store: Store, influx: InfluxServer, desk: Desk, started: Start
) -> None:
    desk.strike(desk.free(31.0))
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    mirror.stop(5.0)
    influx.points.clear()
    before = len(influx.requests)
    other = started(follower(store.path, settings(influx.url, bucket="other")))
    eventually(lambda: up_to_date(other) and all_there(influx, store))
    assert sum(len(request.lines) for request in influx.requests[before:]) == len(wanted(store))


def test_entries_that_an_import_puts_in_between_are_sent_too(
    store: Store, influx: InfluxServer, desk: Desk, started: Start
) -> None:
    with store.write() as connection:
        insert_entry(connection, an_entry(9, "vessel-status", NOW + 9, "K1", remark="nine"))
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    with store.write() as connection:
        insert_entry(connection, an_entry(5, "vessel-status", NOW + 5, "K1", remark="five"))
        insert_entry(connection, an_entry(12, "vessel-status", NOW + 12, "K1", remark="twelve"))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    before = len(influx.requests)
    desk.free(30.0)
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    assert [len(request.lines) for request in influx.requests[before:]] == [2]


def test_a_server_that_was_away_gets_entries_strikes_and_alarms(
    store: Store, influx: InfluxServer, desk: Desk, started: Start
) -> None:
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    influx.stop()
    desk.strike(desk.free(31.0))
    with store.write() as connection:
        row = TransitionRow(NOW, "K1/pressure/low", "a2b", "e", "normal", "unacknowledged", 3, "", "")
        add_transition(connection, row)
    # The entry, its strike, and the change of the alarm.
    eventually(lambda: mirror.state().state == "waiting" and mirror.state().records == 3)
    influx.start()
    eventually(lambda: up_to_date(mirror) and mirror.state().records == 0 and all_there(influx, store))
    assert [head for head, _ in influx.points if head.startswith("alarm")]


@pytest.mark.parametrize(
    "says",
    [
        Says(429, headers={"Retry-After": "1"}),
        Says(503),
        Says(401),
        Says(200),
        Says(drop=True),
        Says(drop=True, kept=True),
    ],
    ids=["busy", "unwell", "shut", "something else", "cut", "cut after it was kept"],
)
def test_no_answer_but_taken_moves_the_place(
    says: Says, store: Store, influx: InfluxServer, desk: Desk, started: Start
) -> None:
    desk.free(31.0)
    influx.script = [says]
    mirror = started(follower(store.path, settings(influx.url), pace=Pace(0.02, 0.05, 0.05)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    assert len(influx.requests) >= 2
    assert influx.requests[0].lines == influx.requests[1].lines


def test_a_kill_between_taken_and_kept_sends_the_same_points_again(
    store: Store, influx: InfluxServer, desk: Desk, started: Start
) -> None:
    """Of a process that dies there nothing is left but the store, so the place of before is put back."""
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    mirror.stop(5.0)
    names = ("mirror entries", "mirror entries counted", "mirror strikes")
    places = store.connection.execute("SELECT name, value FROM cursor WHERE name IN (?, ?, ?)", names).fetchall()
    desk.strike(desk.free(31.0))
    again = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(again) and all_there(influx, store))
    again.stop(5.0)
    points = dict(influx.points)
    with store.write() as connection:
        connection.executemany("UPDATE cursor SET value = ?2 WHERE name = ?1", places)
    third = started(follower(store.path, settings(influx.url)))
    before = len(influx.requests)
    eventually(lambda: up_to_date(third) and len(influx.requests) > before)
    assert influx.points == points


def test_too_many_at_once_are_halved_and_none_is_left_out(
    store: Store, influx: InfluxServer, desk: Desk, started: Start
) -> None:
    for number in range(70):
        desk.free(20.0 + number)
    influx.judge = lambda request: Says(413) if len(request.lines) > 7 else Says()
    mirror = started(follower(store.path, settings(influx.url, batch=50)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    assert mirror.state().refused == 0


def test_a_journal_of_years_need_not_wait_for_the_next_readings(
    store: Store, influx: InfluxServer, started: Start
) -> None:
    with store.write() as connection:
        for number in range(1, 3 * MOST_ENTRIES):
            insert_entry(connection, an_entry(number, "vessel-status", NOW + number, "K1", remark="x"))
    mirror = started(follower(store.path, settings(influx.url, every_s=3600.0)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    assert max(len(request.lines) for request in influx.requests) == MOST_ENTRIES


def test_an_entry_that_is_too_long_by_itself_is_put_aside_and_slows_nothing_down(
    store: Store, influx: InfluxServer, desk: Desk, started: Start
) -> None:
    desk.free(31.0)
    long = desk.write("vessel-status", "K1", remark="x" * 2000)
    desk.free(30.0)
    influx.judge = lambda request: Says(413) if any(len(line) > 2000 for line in request.lines) else Says()
    Appender(store).append([(1, NOW + step * 10_000, 1.0, 0) for step in range(40)])
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror))
    (refused,) = refused_lines(store)
    assert f"entry={long.id}i" in refused.line
    assert set(wanted(store)) - set(influx.points) == {
        key for key, fields in wanted(store).items() if fields["entry"] == f"{long.id}i"
    }
    readings = [len(lines_of(request, "reading")) for request in influx.requests]
    assert max(readings) > 1


def test_one_bad_entry_among_good_ones_is_put_aside(
    store: Store, influx: InfluxServer, desk: Desk, started: Start
) -> None:
    bad = desk.free(31.0)
    desk.free(30.0)
    influx.judge = lambda request: (
        Says(400, body="unable to parse")
        if lines_of(request, f"entry,kind={bad.kind}") and _has(request, bad.id)
        else Says()
    )
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror))
    assert [row.said for row in refused_lines(store)] == ["unable to parse"]
    missing = set(wanted(store)) - set(influx.points)
    assert [(head.split(",")[0], at % 1000) for head, at in missing] == [("entry", bad.id)]


def _has(request: Request, entry: int) -> bool:
    return any(line.startswith("entry") and f"entry={entry}i" in line for line in request.lines)
