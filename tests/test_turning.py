"""A turn with the store at both ends: what is judged is what was stored, and what it means is kept with it."""

from __future__ import annotations

import logging
from pathlib import Path

import pytest
from cellar_text import KEG, MQTT, limit, mail, probe, site
from samples import a_sample
from turning_bench import CELLAR, EPOCH_MS, MAIL, WATCHED, Bench

from alerts.turning.turner import MOST_A_TURN, occurrence_id
from ingest.daemon_log import BURST, CauseLimit
from ingest.errors import StoreError
from ingest.probes.binding import bindings
from ingest.probes.decode import Decoder
from ingest.pulse import BrokerPulse, IngestPulse
from ingest.reading import Quality, Reason, quality_code, quality_reason
from ingest.store.alarms.alarm_record import alarm_rows, transitions
from ingest.store.alarms.messages import recent_messages
from ingest.store.alarms.operator_events import append_event, outcome_of
from ingest.store.pulse_rows import write_pulse


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_a_breach_is_one_message_for_each_recipient_in_one_transaction(bench: Bench) -> None:
    bench.reading(12.0)
    assert bench.turn() == 0
    bench.reading(0.5)
    assert bench.turn() == 0
    for _ in range(11):
        bench.turn()
    assert bench.subjects() == [
        "ana: HIGH PRIORITY: K1 pressure 3.4 kPa, below 5 kPa",
        "ben: HIGH PRIORITY: K1 pressure 3.4 kPa, below 5 kPa",
    ]
    assert [row.state for row in alarm_rows(bench.store) if row.key == "K1/pressure/low"] == ["unacknowledged"]
    ids = [row.message_id for row in recent_messages(bench.store)]
    assert len(set(ids)) == 2


def test_a_raised_alarm_is_in_the_log_whatever_a_burst_leaves_out(
    bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    bench.reading(12.0)
    bench.turn()
    bench.reading(0.5)
    for _ in range(12):
        bench.turn()
    bench.reading(12.0)
    bench.turn()
    steps = [record for record in caplog.records if record.getMessage().startswith("K1/")]
    (raised,) = (step for step in steps if step.getMessage().endswith(": alarm raised"))
    other = next(step for step in steps if step is not raised)
    limit = CauseLimit(lambda: 0.0)
    assert not all(limit.filter(other) for _ in range(BURST + 1))
    assert limit.filter(raised)


def test_an_alarm_that_ends_beyond_another_limit_is_not_called_normal(bench: Bench) -> None:
    bench.reading(12.0)
    bench.turn()
    bench.reading(0.5)
    for _ in range(12):
        bench.turn()
    bench.send()
    bench.reading(27.0)
    bench.turn()
    mail = next(row for row in recent_messages(bench.store) if row.occasion == "returned")
    assert mail.subject == "ENDED at 186.2 kPa after: K1 pressure 3.4 kPa, below 5 kPa"
    assert mail.body.startswith("K1: pressure is no longer below 5 kPa: 186.2 kPa.\n")
    assert "\nIt is not normal: it is above the limit of 180 kPa, K1/pressure/over.\n" in mail.body


def test_a_turn_whose_commit_fails_judges_the_same_readings_again(bench: Bench) -> None:
    bench.reading(12.0)
    bench.turn()
    bench.reading(0.5, ago_s=0.0)
    bench.turn()
    bench.reading(0.5)
    bench.store.connection.execute("PRAGMA query_only=ON")
    with pytest.raises(StoreError):
        for _ in range(12):
            bench.turn()
    bench.store.connection.execute("PRAGMA query_only=OFF")
    assert bench.subjects() == []
    for _ in range(12):
        bench.turn()
    assert len(bench.subjects()) == 2


def test_imported_and_bad_readings_raise_nothing(bench: Bench) -> None:
    bench.reading(12.0)
    bench.turn()
    bench.reading(0.1, quality_code(Quality.GOOD, Reason.IMPORTED))
    for _ in range(20):
        bench.turn()
    bench.reading(0.1, quality_code(Quality.BAD, Reason.OUT_OF_RANGE))
    for _ in range(20):
        bench.turn()
    assert bench.subjects() == []


@pytest.mark.parametrize(
    ("milliampere", "subject"),
    [
        (20.7, "HIGH PRIORITY: K1 pressure 208.8 kPa, above 180 kPa"),
        (3.65, "HIGH PRIORITY: K1 pressure -4.4 kPa, below 5 kPa"),
    ],
)
def test_a_transmitter_beyond_its_range_and_beyond_a_limit_is_an_alarm_at_night(
    tmp_path: Path, milliampere: float, subject: str
) -> None:
    wired = probe(topic="cellar/K1/pressure", unit=None, signal="4-20 mA = 0-200 kPa")
    bench = Bench(tmp_path, site(waking="07:00-07:01") + MQTT + KEG + wired + mail())
    decoder = Decoder(bindings(bench.cellar, bench.series))
    for _ in range(8):
        (decoded,) = decoder.decode(a_sample(str(milliampere), "cellar/K1/pressure")).readings
        assert quality_reason(decoded.quality) is Reason.SATURATED
        bench.reading(decoded.number, decoded.quality)
        bench.turn(after_s=10.0)
    bench.send()
    # Nobody plays the ingest daemon here, so its silence is reported as well.
    of_keg = [row for row in recent_messages(bench.store) if " K1 " in row.subject]
    assert [(row.subject, row.state) for row in of_keg] == [(subject, "sent")]


def test_readings_from_before_the_first_start_are_not_judged(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.reading(0.1, ago_s=3600.0)
    bench.restart()
    for _ in range(30):
        bench.turn()
    assert bench.subjects() == []


def test_acknowledging_is_applied_by_the_next_turn(bench: Bench) -> None:
    bench.reading(0.5)
    for _ in range(12):
        bench.turn()
    occurrence = next(row.occurrence for row in alarm_rows(bench.store) if row.key == "K1/pressure/low")
    assert occurrence is not None
    event = append_event(bench.store, "acknowledge", occurrence, "Ana", "on my way", bench.now.utc_ms)
    assert outcome_of(bench.store, event) is None
    bench.turn()
    assert outcome_of(bench.store, event) == f"acknowledged: {occurrence} (K1/pressure/low)"
    row = transitions(bench.store, occurrence=occurrence)[-1]
    assert (row.to_state, row.who, row.note) == ("acknowledged", "Ana", "on my way")


def test_a_limit_that_leaves_the_file_closes_its_occurrence_with_a_message(bench: Bench) -> None:
    bench.reading(0.5)
    for _ in range(12):
        bench.turn()
    bench.send()
    bench.restart(WATCHED + MAIL)
    bench.turn()
    assert bench.subjects()[2:] == [
        "ana: LIMIT REMOVED: K1 pressure 3.4 kPa, below 5 kPa",
        "ben: LIMIT REMOVED: K1 pressure 3.4 kPa, below 5 kPa",
    ]
    assert "K1/pressure/low" not in {row.key for row in alarm_rows(bench.store)}
    assert transitions(bench.store)[-1].event == "limit removed"


def test_an_edited_setpoint_keeps_the_occurrence_and_judges_by_the_new_one(bench: Bench) -> None:
    bench.reading(0.5)
    for _ in range(12):
        bench.turn()
    bench.send()
    bench.restart(CELLAR.replace('low = "5 kPa"', 'low = "2 kPa"'))
    bench.reading(0.5)
    bench.turn()
    assert bench.subjects()[-1] == "ben: BACK TO NORMAL at 3.4 kPa after: K1 pressure 3.4 kPa, below 5 kPa"


def test_a_message_of_waking_hours_waits_for_the_morning(tmp_path: Path) -> None:
    text = CELLAR.replace('priority = "high"', 'priority = "medium"\nhours = "waking"')
    bench = Bench(tmp_path, text)
    # 2026-09-21 13:33:20 UTC is 15:33:20 in Ljubljana; nine hours later it is night.
    bench.second = 9 * 3600.0
    bench.restart()
    bench.reading(0.5)
    for _ in range(12):
        bench.turn()
    row = recent_messages(bench.store)[0]
    assert row.not_before_ms - row.created_ms > 5 * 3600 * 1000
    # 05:00 UTC is 07:00 summer time.
    assert row.not_before_ms % 86_400_000 == 5 * 3_600_000
    # It went back before the morning: one message instead of two, at the same time.
    bench.reading(8.0)
    bench.turn()
    waiting = [row for row in recent_messages(bench.store) if row.state == "waiting"]
    assert [row.subject.split(":")[0] for row in waiting] == ["CAME AND WENT", "CAME AND WENT"]
    assert {row.not_before_ms for row in waiting} == {row.not_before_ms}


def test_a_keg_that_swings_over_its_limit_is_reported_once_and_again_when_it_is_calm(tmp_path: Path) -> None:
    """Every 33 s for ten minutes, then half an hour of calm; a restart in between changes nothing."""
    over = limit(at="K1", quantity="pressure", high="180 kPa", deadband="4 kPa", on_delay="0 s", off_delay="0 s")
    bench = Bench(tmp_path, site() + MQTT + KEG + probe(unit="kPa") + over + mail())

    def turn(kpa: float, after_s: float) -> None:
        with bench.store.write() as connection:
            write_pulse(connection, IngestPulse(mqtt=BrokerPulse(connected=True)), bench.now.utc_ms, EPOCH_MS)
        bench.reading(kpa)
        bench.turn(after_s)
        bench.send()

    for swing in range(18):
        turn(185.0, 16.5)
        turn(170.0, 16.5)
        if swing == 10:
            bench.restart()
    for _ in range(185):
        turn(170.0, 10.0)
    assert bench.subjects() == [
        *[
            "ana: MEDIUM PRIORITY: K1 pressure 185.0 kPa, above 180 kPa",
            "ana: BACK TO NORMAL at 170.0 kPa after: K1 pressure 185.0 kPa, above 180 kPa",
        ]
        * 3,
        "ana: MEDIUM PRIORITY: K1 pressure, again and again above 180 kPa",
        "ana: CALM AGAIN after: K1 pressure, again and again above 180 kPa",
    ]
    calm, report = recent_messages(bench.store)[:2]
    assert "K1: pressure has raised this alarm 4 times since" in report.body
    assert (
        '\n  deadband = "10 kPa"  # it came back by up to 10 kPa\n  on_delay = "30 s"  # it stayed above for up to 1'
        in report.body
    )
    assert "Acknowledge: leeside acknowledge cellar.toml K1/pressure/high" in report.body
    assert "K1: pressure has been calm for 30 min.\nK1: pressure has raised this alarm 18 times since" in calm.body
    assert calm.thread_id == report.message_id
    steps = [step for step in transitions(bench.store) if step.key == "K1/pressure/high"]
    assert [step.event for step in steps].count("condition began") == 18
    assert [step.event for step in steps].count("chattering ended") == 1


def test_a_probe_that_reports_and_cannot_be_trusted_is_an_alarm_of_its_own(bench: Bench) -> None:
    def ingest_lives() -> None:
        with bench.store.write() as connection:
            pulse = IngestPulse(mqtt=BrokerPulse(connected=True), clock="right")
            write_pulse(connection, pulse, bench.now.utc_ms, EPOCH_MS)

    for _ in range(70):
        ingest_lives()
        bench.reading(12.0, quality_code(Quality.BAD, Reason.FAULT))
        bench.turn(10.0)
    assert bench.subjects() == [
        "ana: MEDIUM PRIORITY: K1 pressure, no good reading for 10 min",
        "ben: MEDIUM PRIORITY: K1 pressure, no good reading for 10 min",
    ]
    assert "has sent no reading that can be trusted for more than 10 min." in recent_messages(bench.store)[0].body
    bench.send()
    bench.reading(12.0)
    bench.turn()
    assert bench.subjects()[-1] == "ben: BACK TO NORMAL after: K1 pressure, no good reading for 10 min"
    assert "K1: probe k1-pressure (pressure) gives good readings again." in recent_messages(bench.store)[0].body


def test_occurrence_ids_are_short_and_never_repeat() -> None:
    ids = [occurrence_id(number) for number in range(1, 5000)]
    assert len(set(ids)) == len(ids)
    assert all(len(each) == 3 for each in ids)
    assert not set("".join(ids)) & set("01ilo")
    assert len(occurrence_id(31**3)) == 4


def test_a_breach_behind_a_long_backlog_is_judged_without_waiting_for_the_next_second(bench: Bench) -> None:
    bench.reading(12.0)
    bench.turn()
    series = bench.series["k1-pressure"]
    backlog = [(series, bench.now.utc_ms + number, 12.0, 0) for number in range(1, MOST_A_TURN + 1)]
    bench.appender.append(backlog)
    bench.second += MOST_A_TURN / 1000 + 1
    bench.reading(0.5)
    bench.second += 10
    bench.reading(0.5)
    bench.ingest_lives()
    bench.turn(0)
    assert bench.subjects() == []
    assert bench.turner.has_news(), "the turn took no more than it may; the next is made at once"
    bench.turn(0)
    assert not bench.turner.has_news()
    assert any("K1 pressure" in subject for subject in bench.subjects())
