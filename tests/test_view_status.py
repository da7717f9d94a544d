"""Every place as it stands, read from a real store."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC
from pathlib import Path

import pytest
from a_cellar_on_disk import LOW, NOW, CellarOnDisk
from cellar_text import LIMIT, temperature

from alerts.blanket.details import BlanketShown, blanket_details
from alerts.view.alarms.alarm_lines import alarm_json, alarm_line
from alerts.view.alarms.muted_lines import muted_json, muted_line
from alerts.view.status import CellarStatus, cellar_status
from alerts.watch.alarm_table import State
from alerts.watch.chatter import Chatter
from alerts.watch.level import LevelTrack
from alerts.watch.shelving import OutOfService, Shelving
from alerts.watch.watch_state import LimitRecord
from ingest.judgement import Judgement
from ingest.pulse import RESPONDS_S
from ingest.reading import Quality, Reason, quality_code
from ingest.store.alarms.alarm_record import AlarmRow, alarm_rows, put_alarm
from ingest.store.judgements import keep_judgements
from ingest.times import iso_utc


def _view(on_disk: CellarOnDisk, now_ms: int = NOW) -> CellarStatus:
    return cellar_status(on_disk.cellar, on_disk.store, now_ms)


def test_a_new_store_shows_each_place_with_nothing_yet(on_disk: CellarOnDisk) -> None:
    view = _view(on_disk)
    assert [(place.id, place.kind) for place in view.places] == [("K1", "keg"), ("C1", "carboy")]
    assert [(reading.probe, reading.value, reading.silent) for reading in view.places[0].readings] == [
        ("k1-pressure", None, True),
        ("k1-temperature", None, True),
    ]
    assert view.places[1].readings == ()
    assert [(daemon.role, daemon.responds, daemon.pulse) for daemon in view.daemons] == [
        ("ingest", False, None),
        ("alerts", False, None),
    ]
    assert not view.file_is_newer
    assert not view.all_well


def test_all_is_well_when_probes_speak_and_daemons_live(on_disk: CellarOnDisk) -> None:
    for probe in ("k1-pressure", "k1-temperature"):
        on_disk.reading(probe, 12.0)
    for role in ("ingest", "alerts"):
        on_disk.pulse(role)
    assert _view(on_disk).all_well
    on_disk.alarm(state=State.RETURNED)
    assert not _view(on_disk).all_well


def test_the_newest_by_time_is_shown_with_its_quality(on_disk: CellarOnDisk) -> None:
    on_disk.reading("k1-pressure", 50.0, 5)
    on_disk.reading("k1-pressure", 5000.0, 2, quality_code(Quality.BAD, Reason.OUT_OF_RANGE))
    on_disk.reading("k1-pressure", 40.0, 900)
    on_disk.reading("k1-temperature", 12.5, 1, quality_code(Quality.UNCERTAIN, Reason.BACKLOG))
    pressure, temperature = _view(on_disk).places[0].readings
    assert (pressure.value, pressure.at_ms, pressure.quality, pressure.reason) == (
        5000.0,
        NOW - 2000,
        "bad",
        "out of range",
    )
    assert (temperature.value, temperature.quality, temperature.reason) == (12.5, "uncertain", "backlog")


def test_a_value_goes_through_its_scale(tmp_path: Path) -> None:
    sealed = temperature("c1-f", "C1", topic="c1", unit="degF")
    on_disk = CellarOnDisk(tmp_path, more=sealed)
    on_disk.reading("c1-f", 212.0)
    (reading,) = _view(on_disk).places[1].readings
    assert reading.value == pytest.approx(100.0)
    on_disk.store.close()


def test_a_probe_is_silent_after_its_no_data_time(on_disk: CellarOnDisk) -> None:
    on_disk.reading("k1-pressure", 50.0)
    after = {limit.probe: limit.setpoint for limit in on_disk.cellar.limits if limit.kind == "no data"}["k1-pressure"]
    edge = NOW + round(after * 1000)
    assert not _view(on_disk, edge).places[0].readings[0].silent
    assert _view(on_disk, edge + 1).places[0].readings[0].silent


def test_a_daemon_lives_for_a_few_missed_pulses(on_disk: CellarOnDisk) -> None:
    on_disk.pulse("ingest")
    assert _view(on_disk, NOW + round(RESPONDS_S * 1000) - 1).daemons[0].responds
    dead = _view(on_disk, NOW + round(RESPONDS_S * 1000)).daemons[0]
    assert not dead.responds
    assert dead.pulse is not None
    assert dead.pulse.at_ms == NOW


def test_a_file_that_changed_since_the_start_is_told(on_disk: CellarOnDisk) -> None:
    on_disk.pulse("ingest")
    assert not _view(on_disk).file_is_newer
    on_disk.pulse("ingest", digest="0" * 64)
    assert _view(on_disk).file_is_newer


@pytest.mark.parametrize(
    ("state", "shown"),
    [
        (State.UNACKNOWLEDGED, True),
        (State.ACKNOWLEDGED, True),
        (State.RETURNED, True),
        (State.NORMAL, False),
        (State.SUPPRESSED, False),
    ],
)
def test_open_alarms_are_shown_at_their_place(on_disk: CellarOnDisk, state: State, shown: bool) -> None:
    on_disk.alarm(state=state, acknowledged_by="Ana")
    view = _view(on_disk)
    assert len(view.alarms) == shown
    assert view.places[0].alarms == view.alarms
    assert view.places[1].alarms == ()
    for alarm in view.alarms:
        assert (alarm.key, alarm.occurrence, alarm.state, alarm.at) == (LOW, "a2b", state, "K1")
        assert (alarm.since_ms, alarm.value, alarm.last_value) == (NOW - 60_000, 3.5, 3.25)
        assert alarm.acknowledged_by == "Ana"
        assert alarm.limit is not None
        assert alarm.limit.setpoint == 5.0


def test_an_alarm_that_chatters_is_shown_with_how_often(on_disk: CellarOnDisk) -> None:
    on_disk.alarm()
    (alarm,) = _view(on_disk).alarms
    assert alarm_json(alarm, NOW)["chattering"] is None
    assert "times since" not in alarm_line(alarm, UTC, "metric", NOW)
    restless = replace(alarm, chatter=Chatter(since_ms=NOW - 600_000, count=18))
    assert alarm_line(restless, UTC, "metric", NOW).endswith("(not acknowledged), raised 18 times since 18:20:00 UTC")
    assert alarm_json(restless, NOW)["chattering"] == {"raised": 18, "since": iso_utc(NOW - 600_000)}


def test_alarms_stand_in_the_order_of_urgency_and_age(on_disk: CellarOnDisk) -> None:
    on_disk.alarm("K1/pressure/no-data", occurrence="a2c", since_ms=NOW - 5)
    on_disk.alarm("K1/temperature/no-data", occurrence="a2d", since_ms=NOW - 9)
    on_disk.alarm("K9/pressure/low", occurrence="a2e", since_ms=NOW - 99)
    on_disk.alarm(LOW, occurrence="a2f", since_ms=NOW - 1)
    on_disk.alarm("leeside/ingest", occurrence="a2g", since_ms=NOW)
    view = _view(on_disk)
    assert [alarm.occurrence for alarm in view.alarms] == ["a2f", "a2g", "a2d", "a2c", "a2e"]
    gone = view.alarms[-1]
    assert (gone.limit, gone.at) == (None, "K9")
    own = view.alarms[1]
    assert own.limit is not None
    assert own.at == "leeside"


def test_an_entry_that_cannot_be_read_hides_nothing_else(on_disk: CellarOnDisk) -> None:
    on_disk.alarm()
    with on_disk.store.write() as connection:
        put_alarm(connection, AlarmRow("K1/pressure/no-data", "unacknowledged", "a2c", '{"form": 99}', NOW))
    assert [alarm.occurrence for alarm in _view(on_disk).alarms] == ["a2b"]


def test_refusals_and_messages_are_there(on_disk: CellarOnDisk) -> None:
    on_disk.reject()
    for number in range(12):
        on_disk.message(f"about {number}")
    view = _view(on_disk)
    assert [(reject.times, reject.example) for reject in view.rejects] == [(3, "abc")]
    assert view.undelivered is None
    assert [message.subject for message in view.messages] == [f"about {number}" for number in range(11, 1, -1)]


def test_what_people_have_muted_is_listed_with_its_end_and_reason(on_disk: CellarOnDisk) -> None:
    shelving = Shelving("Ana", NOW, "lid off", 7200.0, NOW + 7_200_000)
    out = OutOfService("Ben", NOW, "sent in")
    on_disk.alarm(state=State.SHELVED, shelving=shelving, suppressed=True, suppressed_because="the vessel is empty")
    on_disk.alarm("K1/pressure/no-data", state=State.OUT_OF_SERVICE, occurrence=None, out_of_service=out)
    view = _view(on_disk)
    assert view.alarms == ()
    shelved, silent = sorted(view.muted, key=lambda muted: muted.key)
    zone = on_disk.cellar.site.zone
    assert (
        muted_line(shelved, zone, NOW)
        == f"{LOW}: muted until 21:30:00 CET, by Ana: lid off; also muted: the vessel is empty"
    )
    assert muted_line(silent, zone, NOW) == "K1/pressure/no-data: out of service since 19:30:00 CET, by Ben: sent in"
    active = replace(silent, active=True, since_ms=NOW - 60_000)
    assert muted_line(active, zone, NOW).endswith("sent in (its condition is true since 19:29:00 CET)")
    document = muted_json(shelved)
    assert document["shelved"] == {
        "since": iso_utc(NOW),
        "until": iso_utc(NOW + 7_200_000),
        "who": "Ana",
        "why": "lid off",
    }
    assert (document["alarm"], document["suppressed_because"]) == ("a2b", "the vessel is empty")
    assert muted_json(silent)["out_of_service"] == {"since": iso_utc(NOW), "who": "Ben", "why": "sent in"}


def test_what_stands_comes_before_what_only_waits_to_be_acknowledged(on_disk: CellarOnDisk) -> None:
    on_disk.alarm(state=State.RETURNED)
    on_disk.alarm("K1/pressure/no-data", state=State.ACKNOWLEDGED, occurrence="a2c", acknowledged_by="Ana")
    on_disk.alarm("leeside/mirror", state=State.UNACKNOWLEDGED, occurrence="a2d")
    assert [alarm.key for alarm in _view(on_disk).alarms] == ["K1/pressure/no-data", "leeside/mirror", LOW]


def test_an_alarm_shows_its_age(on_disk: CellarOnDisk) -> None:
    on_disk.alarm()
    (alarm,) = _view(on_disk).alarms
    assert ", since 19:29:00 CET, 60 s ago (" in alarm_line(alarm, on_disk.cellar.site.zone, "metric", NOW)
    assert (alarm_json(alarm, NOW)["age_s"], alarm_json(alarm, NOW)["finding"]) == (60, None)


def _judge(on_disk: CellarOnDisk, name: str, details: Mapping[str, object]) -> None:
    judgement = Judgement("K1", name, NOW, 1.0, details=details)
    with on_disk.store.write() as connection:
        keep_judgements(connection, name, [judgement])


def test_an_alarm_on_gas_says_when_what_explains_it_began(on_disk: CellarOnDisk) -> None:
    on_disk.alarm("K1/leak_rate/high", value=0.4)
    (row,) = alarm_rows(on_disk.store)
    entry = LimitRecord.from_json(row.entry, 0.0)
    entry = replace(entry, track=LevelTrack(active=True, since_ms=NOW, value=0.4, finding="slow leak"))
    with on_disk.store.write() as connection:
        put_alarm(connection, AlarmRow(row.key, row.state, row.occurrence, entry.to_json(), NOW))
    (alarm,) = _view(on_disk).alarms
    assert alarm_json(alarm, NOW)["finding_since"] is None, "the gas is not judged now"
    since_ms = NOW - 29 * 3_600_000
    shown = BlanketShown(at_ms=NOW, finding="slow leak", since_ms=since_ms, leak_certain=True)
    _judge(on_disk, "compensated_pressure", blanket_details(shown))
    (alarm,) = _view(on_disk).alarms
    line = alarm_line(alarm, on_disk.cellar.site.zone, "metric", NOW)
    assert ", alarm since 19:29:00 CET, 60 s ago, slow leak since " in line
    assert alarm_json(alarm, NOW)["finding_since"] == iso_utc(since_ms)


@pytest.mark.parametrize(
    ("upper_bound", "words"), [(True, "K1 free SO2 at most 15 mg/L"), (False, "K1 free SO2 15 mg/L")]
)
def test_so2_of_which_only_an_upper_bound_is_known_is_at_most_so_much(
    tmp_path: Path, *, upper_bound: bool, words: str
) -> None:
    low = LIMIT + 'at = "K1"\nquantity = "free_so2"\nlow = "20 mg/L"\npriority = "low"\n'
    on_disk = CellarOnDisk(tmp_path, more=low)
    on_disk.alarm("K1/free_so2/low", value=15.0)
    _judge(on_disk, "free_so2", {"titrated": [NOW, 15.0, upper_bound]})
    (alarm,) = _view(on_disk).alarms
    assert words in alarm_line(alarm, UTC, "metric", NOW)


@pytest.mark.parametrize(
    ("active", "change", "shown"),
    [(True, 11.0, "change 11.0 °C"), (True, 0.1, "change 7.5 °C"), (False, 0.1, "change 7.5 °C")],
)
def test_a_change_is_shown_with_its_own_direction(*, active: bool, change: float, shown: str, tmp_path: Path) -> None:
    # It fell by 7.5 °C when the alarm was raised, and rises now.
    on_disk = CellarOnDisk(tmp_path)
    key = "K1/temperature/change"
    on_disk.alarm(key, value=7.5, state=State.UNACKNOWLEDGED if active else State.RETURNED)
    (row,) = alarm_rows(on_disk.store)
    track = LevelTrack(active, NOW, value=change, finding="rising")
    entry = replace(LimitRecord.from_json(row.entry, 0.0), track=track)
    with on_disk.store.write() as connection:
        put_alarm(connection, AlarmRow(key, row.state, row.occurrence, entry.to_json(), NOW))
    (alarm,) = _view(on_disk).alarms
    line = alarm_line(alarm, UTC, "metric", NOW)
    assert shown in line
    assert ("rising" in line) is (change == 11.0)
