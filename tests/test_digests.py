"""The digest: when it is due, that each person gets it once, and what it says."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import pytest
from a_cellar_on_disk import NOW, CellarOnDisk
from apscheduler.schedulers.background import BackgroundScheduler
from cellar_text import mail, problems, site, table
from hypothesis import given
from hypothesis import strategies as st
from turning_bench import EPOCH_MS, LOW, MAIL, WATCHED, Bench

from alerts.digests import AFTER_START_MS, ScheduledDigest, write_digest
from alerts.message.digest_times import digest_before_ms, next_digest_ms
from ingest.cellar import DigestSettings
from ingest.store.alarms.messages import MessageRow, recent_messages

ZONE: Final = ZoneInfo("Europe/Ljubljana")
DAY_MS: Final = 86_400_000
HOUR_MS: Final = 3_600_000


def local(at_ms: int) -> str:
    return f"{datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(ZONE):%Y-%m-%d %H:%M}"


def utc_ms(text: str) -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp() * 1000)


@pytest.mark.parametrize(
    ("at", "now", "before", "following"),
    [
        (time(7), "2026-11-28 06:59", "2026-11-27 07:00", "2026-11-28 07:00"),
        (time(7), "2026-11-28 07:00", "2026-11-28 07:00", "2026-11-29 07:00"),
        # The clocks go back at 03:00: 24 hours after seven o'clock it would be six.
        (time(7), "2026-10-24 12:00", "2026-10-24 07:00", "2026-10-25 07:00"),
        # Half past two comes twice: the first one counts. In spring it does not come at all.
        (time(2, 30), "2026-10-25 02:45", "2026-10-25 02:30", "2026-10-26 02:30"),
        (time(2, 30), "2027-03-28 01:30", "2027-03-27 02:30", "2027-03-28 03:00"),
        (time(2, 30), "2027-03-28 03:30", "2027-03-28 03:00", "2027-03-29 02:30"),
    ],
)
def test_it_keeps_to_the_clock_on_the_wall(at: time, now: str, before: str, following: str) -> None:
    digest = DigestSettings(at=at)
    now_ms = utc_ms(now)
    assert local(digest_before_ms(digest, now_ms, ZONE)) == before
    assert local(next_digest_ms(digest, now_ms, ZONE)) == following


@given(
    st.datetimes(datetime(2020, 1, 1), datetime(2040, 1, 1)),
    st.times().map(lambda at: at.replace(second=0, microsecond=0)),
    st.sampled_from([None, "Monday", "Sunday"]),
)
def test_there_is_one_for_each_day_or_week(now: datetime, at: time, on: str | None) -> None:
    settings = {"at": at} if on is None else {"at": at, "every": "week", "on": on}
    digest = DigestSettings.model_validate(settings)
    now_ms = round(now.replace(tzinfo=UTC).timestamp() * 1000)
    last, following = digest_before_ms(digest, now_ms, ZONE), next_digest_ms(digest, now_ms, ZONE)
    assert last <= now_ms < following
    assert next_digest_ms(digest, last, ZONE) == following
    days = date.fromisoformat(local(following)[:10]) - date.fromisoformat(local(last)[:10])
    assert days == timedelta(days=1 if on is None else 7)
    if on is not None:
        assert f"{datetime.fromtimestamp(following / 1000, UTC).astimezone(ZONE):%A}" == on


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"on": "Friday"}, 'is the day of a weekly digest; add every = "week"'),
        ({"every": "month"}, 'allowed: "day" or "week"'),
        ({"at": "25:00"}, 'a local time, such as "03:30"'),
    ],
)
def test_a_digest_that_cannot_be_is_refused(keys: dict[str, str], words: str) -> None:
    assert words in str(problems(site() + mail() + table("[digest]", **keys)))


def test_a_digest_that_nobody_gets_is_refused() -> None:
    assert "nobody would get it" in str(problems(site() + table("[digest]")))


DAILY: Final = table("[digest]", at="19:00")
MOMENT: Final = utc_ms(local(NOW)[:10] + " 19:00")


@pytest.fixture
def on_disk(tmp_path: Path) -> Iterator[CellarOnDisk]:
    made = CellarOnDisk(tmp_path, more=MAIL + DAILY)
    yield made
    made.store.close()


def digests(cellar: CellarOnDisk | Bench) -> list[MessageRow]:
    return [row for row in recent_messages(cellar.store, 100) if row.occasion == "digest"]


def test_each_person_gets_it_once_for_its_day(on_disk: CellarOnDisk) -> None:
    assert write_digest(on_disk.cellar, on_disk.store, MOMENT) == 2
    assert write_digest(on_disk.cellar, on_disk.store, MOMENT + HOUR_MS) == 0
    assert {row.recipient for row in digests(on_disk)} == {"ana@cellar.example", "ben@cellar.example"}
    assert write_digest(on_disk.cellar, on_disk.store, MOMENT + 25 * HOUR_MS) == 2


def test_one_that_was_missed_is_written_for_half_a_day(on_disk: CellarOnDisk) -> None:
    assert write_digest(on_disk.cellar, on_disk.store, MOMENT + 13 * HOUR_MS) == 0
    assert write_digest(on_disk.cellar, on_disk.store, MOMENT + 11 * HOUR_MS) == 2


def test_a_clock_that_is_behind_writes_none(on_disk: CellarOnDisk) -> None:
    on_disk.pulse("alerts", seconds_ago=(NOW - MOMENT) / 1000 - 2 * 86_400)
    assert write_digest(on_disk.cellar, on_disk.store, MOMENT) == 0


def test_a_second_person_and_a_channel_for_urgent_alarms_get_none(tmp_path: Path) -> None:
    people = (
        table("[[person]]", id="cleo", channels={"mail": "x"}).replace(
            '{"mail": "x"}', '{ mail = "cleo@cellar.example" }'
        )
        + 'after = "30 min"\n'
        + table("[[person]]", id="dora").rstrip()
        + '\nchannels = { mail = "dora@cellar.example" }\npriorities = ["high"]\n'
    )
    made = CellarOnDisk(tmp_path, more=MAIL + people + DAILY)
    assert write_digest(made.cellar, made.store, MOMENT) == 2
    assert {row.recipient for row in digests(made)} == {"ana@cellar.example", "ben@cellar.example"}
    made.store.close()


def test_a_quiet_day_is_one_line(on_disk: CellarOnDisk) -> None:
    for role in ("ingest", "alerts"):
        on_disk.pulse(role)
    on_disk.reading("k1-pressure", 55.0, seconds_ago=5)
    on_disk.reading("k1-temperature", 12.0, seconds_ago=5)
    assert write_digest(on_disk.cellar, on_disk.store, NOW) == 2
    text = digests(on_disk)[0]
    assert text.subject.endswith(": a quiet day")
    first, rest = text.body.split("\n", 1)
    assert first.startswith("A quiet day at ")
    assert rest.startswith(
        "\nVessels:\n  K1: contents not entered yet; 55.0 kPa, 12.0 °C\n  C1: contents not entered yet"
    )
    assert "Alarms" not in rest


def test_what_is_wrong_stands_first(on_disk: CellarOnDisk) -> None:
    on_disk.alarm()
    on_disk.reading("k1-pressure", 3.2, seconds_ago=7200)
    write_digest(on_disk.cellar, on_disk.store, NOW)
    text = digests(on_disk)[0]
    first = text.body.partition("\n")[0]
    assert ": 1 alarm (1 of high priority), 2 probes silent, leeside needs a look." in first
    assert text.body.index("Alarms:") < text.body.index("Silent probes:") < text.body.index("Vessels:")
    assert "  K1 temperature: nothing yet [k1-temperature]" in text.body
    assert max(map(len, text.subject.split("\n"))) <= 78


def test_what_was_held_back_for_the_digest_comes_in_it(tmp_path: Path) -> None:
    bench = Bench(
        tmp_path, WATCHED + LOW.replace('priority = "high"', 'priority = "low"\nhours = "digest"') + MAIL + DAILY
    )
    for psi in (0.4, 8.0):
        for _ in range(30):
            bench.ingest_lives()
            bench.reading(psi)
            bench.turn()
    held = [row for row in recent_messages(bench.store) if row.hold == "digest"]
    due_ms = next_digest_ms(bench.cellar.digest or DigestSettings(), EPOCH_MS, ZONE)
    assert held
    assert {row.not_before_ms > due_ms for row in held} == {True}
    assert write_digest(bench.cellar, bench.store, due_ms) == 2
    body = digests(bench)[0].body
    assert "K1/pressure/low: alarm raised" in body
    assert "K1: pressure has returned to normal: 55.2 kPa." in body
    waiting = [row for row in recent_messages(bench.store) if row.hold == "digest" and row.state == "waiting"]
    assert not waiting
    bench.store.close()


def test_its_jobs_are_for_the_next_moment_and_for_one_that_was_missed(on_disk: CellarOnDisk) -> None:
    scheduler = BackgroundScheduler(timezone=UTC)
    scheduler.start(paused=True)
    clock = [MOMENT - HOUR_MS]
    scheduled = ScheduledDigest(on_disk.cellar, scheduler, lambda: clock[0])

    def due() -> dict[str, str]:
        return {job.id: local(round(job.next_run_time.timestamp() * 1000)) for job in scheduler.get_jobs()}

    scheduled.anchor(clock[0])
    assert due() == {"digest": local(MOMENT)}, "the last one is too old to be made up for"
    clock[0] = MOMENT
    scheduled.run()
    assert len(digests(on_disk)) == 2
    assert due()["digest"] == local(MOMENT + DAY_MS)
    # The machine was off at that time.
    scheduled.anchor(MOMENT + DAY_MS + HOUR_MS)
    assert due()["digest that was missed"] == local(MOMENT + DAY_MS + HOUR_MS + AFTER_START_MS)
    scheduler.shutdown(wait=False)
