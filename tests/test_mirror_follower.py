"""The mirror against a real HTTP server that answers in every way a server can."""

from __future__ import annotations

import threading
from datetime import UTC, datetime
from email.utils import format_datetime
from pathlib import Path

import pytest
from a_mirror import Start, expected, follower, refused_lines, settings, settled, up_to_date
from a_store import NOW, declared
from eventually import eventually
from influx_server import InfluxServer, Request, Says, parse_line

from ingest.mirror.follower import Pace
from ingest.reading import ESTIMATED, LARGEST_DOUBLE, Part
from ingest.store import Store
from ingest.store.alarms.alarm_record import TransitionRow, add_transition
from ingest.store.change_feed import MIRROR, cursor, prune_feed
from ingest.store.readings.fresh import Appender
from ingest.store.readings.scales import add_part
from ingest.store.readings.series import declare
from ingest.store.readings.settling import DAY_MS


@pytest.fixture
def store(mirrored: Store) -> Store:
    return mirrored


BASE_MS = NOW // DAY_MS * DAY_MS
LATER_MS = BASE_MS + 2 * DAY_MS


def rows(count: int, series: int = 1, from_ms: int = BASE_MS) -> list[tuple[int, int, float, int]]:
    return [(series, from_ms + step * 10_000, 50 + step / 8, step % 3) for step in range(count)]


def changes_left(store: Store) -> int:
    """How many changes of the feed the mirror has yet to take up."""
    newest = store.connection.execute("SELECT max(seq) FROM touched").fetchone()[0]
    return int(newest or 0) - (cursor(store, MIRROR) or 0)


def all_there(influx: InfluxServer, store: Store) -> bool:
    points = dict(influx.points).items()
    return {key: fields for key, fields in points if key[0].startswith("reading")} == expected(store)


def test_what_is_stored_already_is_sent_then_what_comes(store: Store, influx: InfluxServer, started: Start) -> None:
    appender = Appender(store)
    appender.append([*rows(9000), *rows(50, 2)])
    settled(store, BASE_MS + DAY_MS // 2)
    with store.write() as connection:
        add_transition(
            connection, TransitionRow(NOW, "K1/pressure/low", "a2b", "e", "normal", "acknowledged", 3, "", "")
        )
    mirror = started(follower(store.path, settings(influx.url, batch=1000)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    assert max(len(request.lines) for request in influx.requests) == 1000
    assert {(request.path, tuple(request.query.items())) for request in influx.requests} == {
        ("/api/v2/write", (("org", "home"), ("bucket", "cellar"), ("precision", "ns")))
    }
    before = len(influx.requests)
    appender.append(rows(3, 1, LATER_MS) + rows(3, 2, LATER_MS))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    assert [len(request.lines) for request in influx.requests[before:]] == [6]
    alarms = [key for key in influx.points if key[0].startswith("alarm,limit=K1/pressure/low,site=Mill")]
    assert len(alarms) == 1
    assert mirror.state().newest_sent_ms == LATER_MS + 20_000
    assert mirror.state().sent == len(influx.points)
    with store.write() as connection:
        add_transition(
            connection, TransitionRow(NOW, "K1/pressure/low", "a2b", "e", "acknowledged", "normal", 9, "", "")
        )
    eventually(lambda: len([key for key in influx.points if key[0].startswith("alarm")]) == 2)


def test_a_restart_sends_only_what_is_new(store: Store, influx: InfluxServer, started: Start) -> None:
    appender = Appender(store)
    appender.append(rows(100))
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror))
    mirror.stop(5.0)
    count = len(influx.requests)
    appender.append(rows(1, 1, NOW))
    again = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(again) and all_there(influx, store))
    assert [len(request.lines) for request in influx.requests[count:]] == [1]


def test_another_bucket_gets_everything(store: Store, influx: InfluxServer, started: Start) -> None:
    Appender(store).append(rows(100))
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror))
    mirror.stop(5.0)
    influx.points.clear()
    other = started(follower(store.path, settings(influx.url, bucket="other")))
    eventually(lambda: up_to_date(other) and all_there(influx, store))


def test_a_scale_that_was_wrong_sends_the_corrected_values_again(
    store: Store, influx: InfluxServer, started: Start
) -> None:
    Appender(store).append([*rows(10_000, 1, NOW - 100_000_000), *rows(40, 2, NOW - 1_000_000)])
    settled(store, NOW - DAY_MS)
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    count = len(influx.requests)
    with store.write() as connection:
        add_part(connection, 1, Part(NOW - 95_000_000, "calibration", 1.5, -2.0, "kPa", "Ana"), NOW)
        add_part(connection, 2, Part(NOW - 900_000, "calibration", 1.0, 0.25, "kPa", "Ana"), NOW)
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    again = [line for request in influx.requests[count:] for line in request.lines]
    assert min(int(line.rsplit(" ", 1)[1]) for line in again) >= (NOW - 95_000_000) * 1_000_000
    assert len(again) == 9500 + 30


def test_late_readings_and_a_correction_amid_a_backlog(store: Store, influx: InfluxServer, started: Start) -> None:
    """Each answer of the server brings a change of what it is being sent: nothing stale may be left at the end."""
    appender = Appender(store)
    appender.append(rows(3000))
    settled(store, BASE_MS + 15_000_000)
    changes = iter(range(30))

    def meddle(request: Request) -> Says:
        step = next(changes, None)
        if step is not None:
            appender.append([(1, BASE_MS + 5 + step * 1_000_000, 7.0, 0)])
            with store.write() as connection:
                part = Part(BASE_MS + step * 700_000, "calibration", 1 + step / 10, 0.0, "kPa", "Ana")
                add_part(connection, 1, part, NOW)
        return Says()

    influx.judge = meddle
    mirror = started(follower(store.path, settings(influx.url, batch=100)))
    eventually(lambda: next(changes, None) is None and up_to_date(mirror))
    assert all_there(influx, store)


def test_a_renamed_probe_keeps_its_old_points(store: Store, influx: InfluxServer, started: Start) -> None:
    appender = Appender(store)
    appender.append(rows(5))
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror))
    mirror.stop(5.0)
    new = declared(probe="p1", former_probe="k1-pressure", gain=1.0, unit="kPa")
    declare(store, [new, declared(probe="k2-pressure", place="K2", gain=1.0, unit="kPa")], NOW)
    appender.append([(1, BASE_MS + 1, 1.0, 0), (1, NOW + 1, 1.0, 0)])
    again = started(follower(store.path, settings(influx.url)))
    eventually(lambda: len(influx.points) == 7 and up_to_date(again))
    probes = [parse_line(f"{head} x=1 {at}")[1]["probe"] for head, at in sorted(influx.points, key=lambda key: key[1])]
    assert probes == ["k1-pressure"] * 6 + ["p1"]


def test_no_sure_time_is_not_sent_and_a_number_that_is_not_finite_as_the_largest(
    store: Store, influx: InfluxServer, started: Start
) -> None:
    """Such a number can come only from a store of the time before it was refused."""
    Appender(store).append([(1, NOW, float("inf"), 0), (1, NOW + 1, 1.0, ESTIMATED + 17), (1, NOW + 2, 1.0, 0)])
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror))
    assert [float(fields["value"]) for fields in influx.points.values()] == [LARGEST_DOUBLE, 1.0]
    assert mirror.state().left_out == 1


@pytest.mark.parametrize(
    "says",
    [
        Says(500),
        Says(502),
        Says(503),
        Says(503, kept=True),
        Says(drop=True, status=0),
        Says(drop=True, status=0, kept=True),
        Says(429, headers={"Retry-After": "soon"}),
    ],
    ids=["500", "502", "503", "503 but kept", "dropped", "dropped but kept", "429"],
)
def test_the_same_batch_again(says: Says, store: Store, influx: InfluxServer, started: Start) -> None:
    Appender(store).append(rows(100))
    influx.script = [says, says, says]
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    assert len({request.lines for request in influx.requests}) == 1
    assert len(influx.requests) == 4
    assert mirror.state().last_error is None


def test_no_answer_in_time(store: Store, influx: InfluxServer, started: Start) -> None:
    Appender(store).append(rows(10))
    influx.script = [Says(hang=True)]
    mirror = started(follower(store.path, settings(influx.url, timeout_s=0.1), pace=Pace(0.3, 0.3, 0.3)))
    eventually(lambda: mirror.state().state == "waiting")
    assert mirror.state().last_error == "no answer in time"
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    assert len(influx.requests) == 2


def test_a_server_that_is_away_for_long_costs_a_few_rows(
    store: Store, influx: InfluxServer, started: Start, tmp_path: Path
) -> None:
    appender = Appender(store)
    appender.append(rows(10))
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror))
    influx.stop()
    for step in range(300):
        appender.append(rows(1, 1 + step % 2, NOW + step * 1000))
    eventually(lambda: mirror.state().state == "waiting" and changes_left(store) == 0 and mirror.state().spans == 2)
    assert mirror.state().last_error == "no connection: [Errno 111] Connection refused"
    assert mirror.state().oldest_unsent_ms == NOW
    while prune_feed(store, (MIRROR,)):
        pass
    assert store.connection.execute("SELECT count(*) FROM touched").fetchone() == (1,)
    settled(store, NOW + 100_000)
    influx.start()
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))


def test_a_month_without_a_server_is_all_there_in_the_end(store: Store, influx: InfluxServer, started: Start) -> None:
    """A day after the other is stored, settled and pruned from the feed; meanwhile the mirror is started again."""
    influx.stop()
    mirror = started(follower(store.path, settings(influx.url)))
    appender = Appender(store)
    for day in range(30):
        begin_ms = BASE_MS + day * DAY_MS
        appender.append([(n % 2 + 1, begin_ms + n * 120_000, 50 + n % 17 / 8, n % 3) for n in range(720)])
        settled(store, begin_ms + DAY_MS // 2)
        eventually(lambda: changes_left(store) == 0)
        prune_feed(store, (MIRROR,))
        if day == 15:
            mirror.stop(5.0)
            mirror = started(follower(store.path, settings(influx.url)))
    assert mirror.state().spans <= 2
    influx.start()
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    assert len(influx.points) == 30 * 720


@pytest.mark.parametrize("status", [429, 503])
@pytest.mark.parametrize("form", ["seconds", "date"])
def test_retry_after_is_obeyed(status: int, form: str, store: Store, influx: InfluxServer, started: Start) -> None:
    """Both forms ask for an hour; what is tried within the test would be tried within 50 ms."""
    date = format_datetime(datetime.fromtimestamp(NOW / 1000 + 3600, UTC), usegmt=True)
    influx.script = [Says(status, headers={"Retry-After": "3600" if form == "seconds" else date}, body="busy")]
    Appender(store).append(rows(10))
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: mirror.state().state == "waiting")
    assert mirror.state().last_error == f"{status}: busy"
    assert not threading.Event().wait(0.3)
    assert len(influx.requests) == 1


def test_retry_after_of_a_moment_is_a_moment(store: Store, influx: InfluxServer, started: Start) -> None:
    influx.script = [Says(429, headers={"Retry-After": "1"})]
    Appender(store).append(rows(10))
    mirror = started(follower(store.path, settings(influx.url), pace=Pace(3600.0, 3600.0, 3600.0)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))


@pytest.mark.parametrize("status", [401, 403, 404, 200, 302])
def test_a_server_that_will_not_have_us_is_asked_slowly_with_the_token_of_now(
    status: int, store: Store, influx: InfluxServer, started: Start
) -> None:
    Appender(store).append(rows(10))
    tokens = ["old"]
    influx.judge = lambda request: Says() if request.token == "Token new" else Says(status, body='{"message":"no"}')
    mirror = started(follower(store.path, settings(influx.url), token=lambda: tokens[-1], pace=Pace(9.0, 9.0, 0.05)))
    eventually(lambda: mirror.state().state == "shut")
    assert str(mirror.state().last_error).startswith(str(status))
    assert influx.points == {}
    tokens.append("new")
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    assert mirror.state().last_error is None


def test_a_token_that_cannot_be_read_is_told_and_waited_for(
    store: Store, influx: InfluxServer, started: Start, tmp_path: Path
) -> None:
    Appender(store).append(rows(10))
    table = settings(influx.url, token_file="token")
    mirror = started(follower(store.path, table, token=lambda: table.token({}, tmp_path)))
    eventually(lambda: mirror.state().state == "shut")
    assert "token_file" in str(mirror.state().last_error)
    assert influx.requests == []
    (tmp_path / "token").write_text("abc\n", encoding="utf-8")
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    assert influx.requests[0].token == "Token abc"


def test_too_large_is_halved_and_stays_so(store: Store, influx: InfluxServer, started: Start) -> None:
    influx.judge = lambda request: Says(413) if len(request.lines) > 300 else Says()
    Appender(store).append(rows(3000))
    mirror = started(follower(store.path, settings(influx.url, batch=1000)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    sizes = [len(request.lines) for request in influx.requests]
    assert sizes[:3] == [1000, 500, 250]
    assert max(sizes[sizes.index(250) + 1 :]) <= 500
    assert max(sizes[-4:]) == 250


def test_one_bad_point_among_good_ones_is_put_aside(store: Store, influx: InfluxServer, started: Start) -> None:
    bad = f"value=52.125,quality=2i {(BASE_MS + 170_000) * 1_000_000}"
    influx.judge = lambda request: (
        Says(400, body='{"code":"invalid","message":"unable to parse"}')
        if any(line.endswith(bad) for line in request.lines)
        else Says()
    )
    Appender(store).append(rows(500))
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror))
    missing = set(expected(store)) - set(influx.points)
    assert [at for _, at in missing] == [(BASE_MS + 170_000) * 1_000_000]
    (refused,) = refused_lines(store)
    assert refused.line.endswith(bad)
    assert (refused.status, refused.said, mirror.state().refused) == (400, "unable to parse", 1)


def test_a_server_that_takes_nothing_gives_up_nothing(store: Store, influx: InfluxServer, started: Start) -> None:
    influx.judge = lambda request: Says(400, body="what is this?")
    Appender(store).append(rows(8))
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: mirror.state().state == "shut")
    assert refused_lines(store) == []
    influx.judge = lambda request: Says()
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))


def test_partly_taken_goes_on_with_a_note(store: Store, influx: InfluxServer, started: Start) -> None:
    influx.script = [Says(422, body='{"message":"field type conflict"}', kept=True)]
    Appender(store).append(rows(10))
    mirror = started(follower(store.path, settings(influx.url)))
    eventually(lambda: up_to_date(mirror))
    assert len(influx.requests) == 1
    assert [(row.status, row.said) for row in refused_lines(store)] == [(422, "field type conflict")]


def test_stopping_does_not_wait_for_a_server_that_hangs(store: Store, influx: InfluxServer) -> None:
    influx.script = [Says(hang=True)]
    Appender(store).append(rows(10))
    mirror = follower(store.path, settings(influx.url, timeout_s=60.0))
    mirror.start()
    eventually(lambda: influx.requests)
    mirror.stop(0.05)
    assert mirror.alive()
    influx.stop()
    eventually(lambda: not mirror.alive())


def test_a_newest_change_need_not_wait_for_a_backlog(store: Store, influx: InfluxServer, started: Start) -> None:
    appender = Appender(store)
    appender.append(rows(3000))
    settled(store)

    def judge(request: Request) -> Says:
        if len(influx.requests) == 3:
            appender.append([(2, NOW, 1.0, 0)])
        return Says()

    influx.judge = judge
    mirror = started(follower(store.path, settings(influx.url, batch=100)))
    eventually(lambda: up_to_date(mirror) and all_there(influx, store))
    places = [n for n, request in enumerate(influx.requests) if any("k2-pressure" in line for line in request.lines)]
    assert places[0] < len(influx.requests) - 10
