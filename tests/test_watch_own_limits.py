"""The limits on the store's disk, log, backups and mirror: what raises them, what they say, what keeps them silent."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_cellar_on_disk import NOW, CellarOnDisk
from cellar_text import BASE, SITE, cellar

from alerts.message.wording import compose, view_of
from alerts.turning.turner import Turner
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import Occasion
from alerts.watch.own_health import BACKUP_MISSED_MS, LOG_BYTES, MIRROR_BEHIND_MS, backup_health, health_of_pulse
from alerts.watch.own_limits import BACKUP, DISK, LOG, MIRROR, MIRROR_SILENCE_S, babbling_key, own_words, watched_limits
from alerts.watch.turn_inputs import Now
from ingest.pulse import BackupPulse, IngestPulse, MirrorPulse
from ingest.store.alarms.alarm_record import alarm_rows
from ingest.store.backup.making import back_up
from ingest.store.change_feed import set_cursor
from ingest.store.pulse_rows import pulses, write_pulse

DAY_MS = 86_400_000
WITH_BACKUP = "[backup]\n"
WITH_MIRROR = '[mirror]\nurl = "http://127.0.0.1:8086"\norg = "home"\nbucket = "cellar"\n'


def well(**body: object) -> set[str]:
    health = health_of_pulse(NOW, IngestPulse.model_validate(body))
    assert set(health.values()) == {NOW}
    return set(health)


def test_a_disk_with_room_is_heard_and_one_without_is_not() -> None:
    assert DISK in well(disk_low=True)
    assert DISK not in well(disk_alarming=True)
    # A pulse of an older leeside says nothing of the disk.
    assert DISK in well()


def test_a_log_of_the_usual_size_is_heard_and_one_that_grew_is_not() -> None:
    assert LOG in well(store_log_bytes=LOG_BYTES - 1)
    assert LOG not in well(store_log_bytes=LOG_BYTES)


def test_a_probe_that_babbles_is_not_heard() -> None:
    pulse = IngestPulse(babbling={"k1-pressure": 17})
    health = health_of_pulse(NOW, pulse, ["k1-pressure", "k1-temperature"])
    assert babbling_key("k1-temperature") in health
    assert babbling_key("k1-pressure") not in health


def test_what_is_reported_of_a_probe_that_babbles() -> None:
    limit = watched_limits(cellar(BASE))[babbling_key("k1-pressure")]
    words = own_words(limit)
    assert limit.priority == "medium"
    assert limit.setpoint == 100.0
    assert words is not None
    assert words.raised.startswith("{part} has sent far more readings than it should")
    assert "`every` in its [[probe]] table, which is 60 s now" in limit.action


def test_a_backup_counts_for_three_days_and_the_wish_for_one_as_well() -> None:
    assert backup_health(NOW, NOW - BACKUP_MISSED_MS, 0) == {BACKUP: NOW}
    assert backup_health(NOW, NOW - BACKUP_MISSED_MS - 1, 0) == {}
    assert backup_health(NOW, None, NOW - DAY_MS) == {BACKUP: NOW}
    assert backup_health(NOW, None, NOW - BACKUP_MISSED_MS - 1) == {}


def test_without_a_backup_table_nobody_misses_one() -> None:
    assert "leeside/backup" not in watched_limits(cellar(BASE))
    assert "leeside/backup" in watched_limits(cellar(BASE, WITH_BACKUP))


@pytest.mark.parametrize(
    ("told", "heard"),
    [
        ({"state": "up to date", "behind_since_ms": None}, True),
        ({"state": "waiting", "behind_since_ms": NOW - MIRROR_BEHIND_MS}, True),
        ({"state": "waiting", "behind_since_ms": NOW - MIRROR_BEHIND_MS - 1}, False),
        ({"state": "shut", "behind_since_ms": NOW - MIRROR_BEHIND_MS - 1}, False),
        # It takes what is sent, and never gets to the end.
        ({"state": "catching up", "behind_since_ms": NOW - MIRROR_BEHIND_MS - 1}, False),
        # Nobody knows yet; a restart must not take an alarm back.
        ({"state": "starting", "behind_since_ms": None}, False),
        # A pulse of an older leeside.
        ({"state": "up to date"}, True),
    ],
)
def test_a_mirror_is_heard_until_it_has_been_behind_for_a_day(told: dict[str, object], heard: bool) -> None:
    assert (MIRROR in well(mirror=told)) is heard


def test_without_a_mirror_table_nobody_misses_it() -> None:
    assert "leeside/mirror" not in watched_limits(cellar(BASE))
    assert MIRROR not in well(mirror=None)


def test_the_mirror_is_of_low_priority_and_hides_nothing() -> None:
    limits = watched_limits(cellar(BASE, WITH_BACKUP, WITH_MIRROR))
    assert limits["leeside/mirror"].priority == "low"
    assert limits["leeside/mirror"].suppressed_by == ("leeside/ingest",)
    assert all("leeside/mirror" not in limit.suppressed_by for limit in limits.values())
    # A request may hang for as long as its timeout says, and only then the first word of the mirror comes.
    assert MIRROR_SILENCE_S > 300


def test_only_what_is_of_high_priority_wakes() -> None:
    own = [limit for limit in watched_limits(cellar(BASE, WITH_BACKUP, WITH_MIRROR)).values() if not limit.probe]
    assert {(limit.priority, limit.hours) for limit in own} == {
        ("high", "any"),
        ("medium", "waking"),
        ("low", "digest"),
    }
    assert [limit.key for limit in own if limit.hours == "any"] == ["leeside/ingest"]


def test_a_silent_ingest_is_one_message_not_three() -> None:
    limits = watched_limits(cellar(BASE, WITH_BACKUP))
    assert limits["leeside/disk"].suppressed_by == ("leeside/ingest",)
    assert limits["leeside/log"].suppressed_by == ("leeside/ingest",)
    # Backups are made by the alerts daemon, which is the one that would tell.
    assert limits["leeside/backup"].suppressed_by == ()
    assert {limits[f"leeside/{name}"].priority for name in ("disk", "log", "backup")} == {"medium"}


@pytest.mark.parametrize(
    ("name", "subject", "said", "back"),
    [
        (
            "disk",
            "MEDIUM PRIORITY: leeside store disk, nearly full",
            "`leeside now` says how much is left",
            "enough room",
        ),
        ("log", "MEDIUM PRIORITY: leeside store log, too large for 10 min", "`fuser -v`", "usual size again"),
        (
            "backup",
            "MEDIUM PRIORITY: leeside store backup, none for 3 d",
            "`leeside backup` makes one at once",
            "backed up again",
        ),
        (
            "mirror",
            "LOW PRIORITY: leeside store mirror, behind for a day",
            "`leeside check --live` tries it",
            "everything that is stored again",
        ),
        ("clock", "MEDIUM PRIORITY: leeside clock, not right for 1 min 40 s", "time server", "clock is right again"),
    ],
)
def test_the_message_says_what_to_do(tmp_path: Path, name: str, subject: str, said: str, back: str) -> None:
    """From a turn over a real store: one that raises, one that returns."""
    house = CellarOnDisk(tmp_path, more=WITH_BACKUP + WITH_MIRROR)
    limit = watched_limits(house.cellar)[f"leeside/{name}"]
    view = view_of(house.cellar, limit.at)
    raised = compose(_transition(house, limit.key, Occasion.RAISED), limit, view)
    assert raised.subject == subject
    assert said in raised.body
    assert "not responded" not in raised.body
    returned = compose(_transition(house, limit.key, Occasion.RETURNED), limit, view)
    assert back in returned.body
    house.store.close()


def _transition(house: CellarOnDisk, key: str, occasion: Occasion) -> Transition:
    from alerts.watch.alarm_table import AlarmEvent, State

    began = occasion is Occasion.RAISED
    return Transition(
        at_ms=NOW,
        key=key,
        occurrence="a2b",
        event=AlarmEvent.BEGAN if began else AlarmEvent.ENDED,
        from_state=State.NORMAL if began else State.ACKNOWLEDGED,
        to_state=State.UNACKNOWLEDGED if began else State.NORMAL,
        occasion=occasion,
        since_ms=NOW - 60_000,
    )


def test_the_pulse_counts_a_backup_that_was_made_by_hand(tmp_path: Path) -> None:
    house = CellarOnDisk(tmp_path, more=WITH_BACKUP)
    turner = Turner(house.cellar, house.store, Now(NOW, 0.0), lambda: BackupPulse(last_ms=None))
    back_up(house.cellar.store_path, tmp_path / "elsewhere", NOW, site="x", cellar_text=house.cellar.text)
    turner.turn(Now(NOW + 1000, 1.0))
    alerts = pulses(house.store).alerts
    assert alerts is not None
    assert alerts.body.backup == BackupPulse(last_ms=NOW, last_error=None)


def test_a_turn_alarms_a_missing_backup_and_takes_it_back(tmp_path: Path) -> None:
    house = CellarOnDisk(tmp_path, more=WITH_BACKUP)
    with house.store.write() as connection:
        set_cursor(connection, "backups since", NOW - 4 * DAY_MS)
    turner = Turner(house.cellar, house.store, Now(NOW, 0.0), lambda: BackupPulse(last_ms=None))

    def states() -> dict[str, str]:
        return {row.key: row.state for row in alarm_rows(house.store)}

    def turns(from_s: int, to_s: int) -> None:
        for second in range(from_s, to_s, 5):
            with house.store.write() as connection:
                write_pulse(connection, IngestPulse(disk_low=False), NOW + second * 1000, NOW)
            turner.turn(Now(NOW + second * 1000, float(second)))

    turns(0, 90)
    assert states()["leeside/backup"] == "normal"
    turns(90, 130)
    assert states()["leeside/backup"] == "unacknowledged"
    pulse = pulses(house.store).alerts
    assert pulse is not None
    assert pulse.as_json()["backup"] == {"last_ms": None}
    back_up(house.store.path, tmp_path / "backups", NOW, site="", cellar_text="")
    turns(130, 150)
    assert states()["leeside/backup"] == "returned"
    house.store.close()


def test_a_turn_alarms_a_mirror_and_a_restart_does_not_take_it_back(tmp_path: Path) -> None:
    house = CellarOnDisk(tmp_path, more=WITH_MIRROR)
    shut = MirrorPulse(state="shut", last_error="401: no", behind_since_ms=NOW - MIRROR_BEHIND_MS + 60_000)
    turner = Turner(house.cellar, house.store, Now(NOW, 0.0))

    def turns(from_s: int, to_s: int, mirror: MirrorPulse) -> str:
        for second in range(from_s, to_s, 10):
            with house.store.write() as connection:
                write_pulse(connection, IngestPulse(mirror=mirror), NOW + second * 1000, NOW)
            turner.turn(Now(NOW + second * 1000, float(second)))
        states = {row.key: row.state for row in alarm_rows(house.store)}
        assert states["leeside/ingest"] == "normal"
        return states["leeside/mirror"]

    # Shut for a day after a minute, and then for as long as nobody might know.
    assert turns(0, 660, shut) == "normal"
    assert turns(660, 680, shut) == "unacknowledged"
    assert turns(680, 700, MirrorPulse(state="starting")) == "unacknowledged"
    assert turns(700, 720, MirrorPulse(state="up to date")) == "returned"
    house.store.close()


def test_a_turn_alarms_a_disk_within_a_minute_of_the_pulse_that_says_so(tmp_path: Path) -> None:
    house = CellarOnDisk(tmp_path)
    turner = Turner(house.cellar, house.store, Now(NOW, 0.0))

    def turn(second: int, low: bool) -> str | None:
        with house.store.write() as connection:
            write_pulse(connection, IngestPulse(disk_alarming=low), NOW + second * 1000, NOW)
        turner.turn(Now(NOW + second * 1000, float(second)))
        return next((row.state for row in alarm_rows(house.store) if row.key == "leeside/disk"), None)

    assert turn(0, False) == "normal"
    seen = {second: turn(second, True) for second in range(30, 700, 30)}
    assert {second for second, state in seen.items() if state == "unacknowledged"} == set(range(60, 700, 30))
    assert turn(700, False) == "returned"
    house.store.close()


def test_a_probe_that_is_called_disk_or_backup_is_another_thing() -> None:
    text = SITE + BASE.removeprefix(SITE).replace('id = "k1-pressure"', 'id = "disk"')
    limits = watched_limits(cellar(text, WITH_BACKUP))
    assert {limit.probe for key, limit in limits.items() if key.startswith("leeside/")} == {""}
    assert {BACKUP, DISK} < set(limits)
