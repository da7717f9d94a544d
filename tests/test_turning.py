"""A turn with the store at both ends: what is judged is what was stored, and what it means is kept with it."""

from __future__ import annotations

import logging
import tempfile
from pathlib import Path

import pytest
from cellar_text import KEG, MQTT, keg, limit, mail, probe, site, temperature
from hypothesis import assume, example, given
from hypothesis import strategies as st
from samples import a_sample
from turning_bench import CELLAR, EPOCH_MS, MAIL, WATCHED, Bench

from alerts.turning.turner import MOST_A_TURN, occurrence_id
from alerts.watch.no_data import SilenceTrack
from alerts.watch.own_limits import watched_limits
from ingest.daemon_log import BURST, CauseLimit
from ingest.errors import StoreError
from ingest.journal.entry import Draft
from ingest.journal.kinds import parse_body
from ingest.journal.open_rackings import LONGEST_RACKING_MS
from ingest.operator_event import OperatorEventKind, OperatorRequest
from ingest.probes.binding import bindings
from ingest.probes.decode import Decoder
from ingest.pulse import PULSE_S, BrokerPulse, IngestPulse
from ingest.reading import Quality, Reason, quality_code, quality_reason
from ingest.store.alarms.alarm_record import alarm_rows, transitions
from ingest.store.alarms.messages import recent_messages
from ingest.store.alarms.operator_events import append_event, append_events, outcome_of
from ingest.store.change_feed import cursor, set_cursor
from ingest.store.journal.entries import strike, write_entry
from ingest.store.pulse_rows import pulses, write_pulse
from ingest.store.readings.undated import DATED, KNOWN
from ingest.store.readings.wrong_future import forget_future


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


def test_a_restart_neither_repeats_nor_forgets(bench: Bench) -> None:
    bench.reading(12.0)
    bench.turn()
    bench.reading(0.5)
    bench.turn()
    # In the middle of the delay: the own-time part of it survives.
    bench.restart()
    bench.reading(0.4)
    bench.turn(10.0)
    bench.reading(0.4)
    bench.turn()
    raised = bench.subjects()
    assert len(raised) == 2
    for _ in range(3):
        bench.restart()
        bench.reading(0.3)
        bench.turn()
    assert bench.subjects() == raised
    bench.send()
    bench.reading(8.0)
    bench.turn()
    assert bench.subjects()[2:] == [
        "ana: BACK TO NORMAL at 55.2 kPa after: K1 pressure 2.8 kPa, below 5 kPa",
        "ben: BACK TO NORMAL at 55.2 kPa after: K1 pressure 2.8 kPa, below 5 kPa",
    ]


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


def test_its_own_silence_is_one_alarm_and_hides_what_follows_from_it(bench: Bench) -> None:
    def ingest_lives(connected: bool) -> None:
        with bench.store.write() as connection:
            broker = BrokerPulse(connected=connected)
            write_pulse(connection, IngestPulse(mqtt=broker), bench.now.utc_ms, EPOCH_MS)

    for _ in range(30):
        ingest_lives(True)
        bench.reading(12.0)
        bench.turn(10.0)
    assert bench.subjects() == []
    # The broker goes: nothing of the probe comes either, but only the root is told.
    for _ in range(30):
        ingest_lives(False)
        bench.turn(10.0)
    assert [subject.split(": ", 1)[1] for subject in bench.subjects()][0::2] == [
        "MEDIUM PRIORITY: leeside broker, not responding for 1 min 40 s"
    ]
    # Then the ingest daemon goes as well.
    for _ in range(10):
        bench.turn(10.0)
    assert [subject.split(": ", 1)[1] for subject in bench.subjects()][2::2] == [
        "HIGH PRIORITY: leeside ingest, not responding for 1 min"
    ]


def test_a_broker_that_hangs_is_one_message_not_one_for_each_probe_before(tmp_path: Path) -> None:
    kegs = "".join(
        keg(f"K{number}") + probe(f"k{number}-pressure", f"K{number}", topic=f"k{number}/p", every="30 s")
        for number in range(1, 7)
    )
    bench = Bench(tmp_path, site(waking="00:00-23:59") + MQTT + kegs + mail())

    def turns(until_s: int, *, connected: bool, heard: bool) -> None:
        while bench.second < until_s:
            if bench.second % 10 == 0:
                with bench.store.write() as connection:
                    broker = BrokerPulse(connected=connected)
                    write_pulse(connection, IngestPulse(mqtt=broker), bench.now.utc_ms, EPOCH_MS)
            if heard and bench.second % 30 == 0:
                bench.appender.append([(series, bench.now.utc_ms, 50.0, 0) for series in bench.series.values()])
            bench.turn()
            bench.send()

    turns(60, connected=True, heard=True)
    # Nothing comes any more, and a while passes until the connection is found dead.
    turns(120, connected=True, heard=False)
    turns(400, connected=False, heard=False)
    turns(450, connected=True, heard=False)
    turns(600, connected=True, heard=True)
    assert bench.subjects() == [
        "ana: MEDIUM PRIORITY: leeside broker, not responding for 1 min 40 s",
        "ana: BACK TO NORMAL after: leeside broker, not responding for 1 min 40 s",
    ]


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


def test_a_clock_that_is_wrong_is_an_alarm_and_alarms_go_on(bench: Bench) -> None:
    for _ in range(15):
        with bench.store.write() as connection:
            pulse = IngestPulse(mqtt=BrokerPulse(connected=True), clock="unknown")
            write_pulse(connection, pulse, bench.now.utc_ms, EPOCH_MS)
        bench.reading(0.5, quality_code(Quality.UNCERTAIN, Reason.CLOCK))
        bench.turn(10.0)
    assert {subject.split(": ", 1)[1] for subject in bench.subjects()} == {
        "HIGH PRIORITY: K1 pressure 3.4 kPa, below 5 kPa",
        "MEDIUM PRIORITY: leeside clock, not right for 1 min 40 s",
    }


def test_readings_are_judged_on_after_the_clock_was_set_and_times_were_moved_back(bench: Bench) -> None:
    bench.reading(12.0)
    bench.turn()
    # What comes next is an hour earlier by the clock that is right now.
    with bench.store.write() as connection:
        set_cursor(connection, DATED, 1)
    bench.reading(0.5, ago_s=3600.0)
    bench.turn()
    for _ in range(3):
        bench.reading(0.5, ago_s=3600.0)
        bench.turn(5.0)
    assert len(bench.subjects()) == 2


@pytest.mark.parametrize("steps", [(-3600.0,), (86_400.0, 0.0)], ids=["an hour back", "a day ahead and right again"])
def test_a_clock_that_is_set_makes_no_message_and_hides_none(bench: Bench, steps: tuple[float, ...]) -> None:
    def live(connected: bool = True, reading: bool = True) -> None:
        bench.ingest_lives(connected)
        if reading:
            bench.reading(12.0)
        bench.turn(10.0)

    for _ in range(6):
        live()
    for off_s in steps:
        bench.clock_is_off_s = off_s
        for _ in range(20):
            live()
    assert bench.subjects() == []
    for restart in (False, True):
        if restart:
            bench.restart()
        for _ in range(15):
            live(connected=False)
        assert bench.subjects()[-1] == "ben: MEDIUM PRIORITY: leeside broker, not responding for 1 min 40 s"
        bench.send()
        live()
        bench.send()
        for _ in range(31):
            live(reading=False)
        assert bench.subjects()[-1].startswith("ben: MEDIUM PRIORITY: K1 pressure, no data for ")
        bench.send()
        live()
        bench.send()


def test_a_restart_while_ingest_is_dead_says_nothing_new(bench: Bench) -> None:
    bench.ingest_lives()
    for _ in range(8):
        bench.turn(10.0)
    raised = bench.subjects()
    assert raised == [f"{who}: HIGH PRIORITY: leeside ingest, not responding for 1 min" for who in ("ana", "ben")]
    bench.send()
    for _ in range(3):
        bench.restart()
        for _ in range(10):
            bench.turn(10.0)
    assert bench.subjects() == raised
    bench.ingest_lives()
    bench.turn()
    assert bench.subjects()[2:] == [
        f"{who}: BACK TO NORMAL after: leeside ingest, not responding for 1 min" for who in ("ana", "ben")
    ]


_SLOW = (
    site()
    + MQTT
    + KEG
    + temperature(mounted="wall", topic="cellar/K1/temperature", every="6 h")
    + limit(
        at="K1", quantity="temperature", high="20 °C", on_delay="10 min", off_delay="0 s", consequence="The wine warms."
    )
    + MAIL
)


@pytest.mark.parametrize("boot", ["boot-1", "boot-2"])
@pytest.mark.parametrize("settled", [False, True])
def test_a_slow_probe_keeps_its_running_delay_over_a_restart(tmp_path: Path, settled: bool, boot: str) -> None:
    bench = Bench(tmp_path, _SLOW)

    def warm(celsius: float) -> None:
        bench.ingest_lives()
        bench.appender.append([(bench.series["k1-temperature"], bench.now.utc_ms, celsius, 0)])
        bench.turn()

    def pass_time(seconds: int) -> None:
        for _ in range(seconds // 30):
            bench.ingest_lives()
            bench.turn(30.0)

    warm(12.0)
    pass_time(6 * 3600)
    warm(25.0)
    pass_time(540)
    if settled:
        bench.settle(60.0)
        assert bench.store.connection.execute("SELECT count(*) FROM fresh").fetchone() == (0,)
    assert bench.subjects() == []
    bench.boot = boot
    bench.restart()
    # In the same boot a minute is left; else the delay has its whole time again, and needs no further reading.
    pass_time(90 if boot == "boot-1" else 630)
    assert bench.subjects()[-1] == "ben: MEDIUM PRIORITY: K1 temperature 25.0 °C, above 20 °C"
    assert len(bench.subjects()) == 2


def test_a_reading_whose_own_time_is_ahead_holds_up_no_alarm_also_after_a_restart(bench: Bench) -> None:
    bench.reading(12.0)
    bench.turn()
    bench.reading(12.0, ago_s=-300.0)
    bench.turn()
    bench.restart()
    bench.reading(0.5)
    for _ in range(12):
        bench.turn()
    assert len(bench.subjects()) == 2


def test_the_record_of_an_acknowledgement_has_the_value_of_that_time(bench: Bench) -> None:
    for psi in (0.5, 0.4, 0.3):
        bench.reading(psi)
        for _ in range(12):
            bench.turn()
    for psi, restart in ((0.6, False), (0.3, True)):
        bench.reading(psi)
        bench.turn(10.0)
        if restart:
            bench.restart()
        append_event(bench.store, "acknowledge", "K1/pressure/low", "Ana", "", bench.now.utc_ms)
        bench.turn()
        acknowledged = transitions(bench.store)[-1]
        assert acknowledged.to_state == "acknowledged"
        assert acknowledged.value == pytest.approx(psi * 6.894757, rel=1e-4)
        bench.reading(12.0)
        bench.turn()
        bench.reading(0.4)
        for _ in range(12):
            bench.turn()


def _notes(bench: Bench) -> list[str]:
    return [subject for subject in bench.subjects() if "NOTE" in subject]


_SPARSE = CELLAR + (
    temperature(mounted="wall", topic="cellar/K1/temperature", every="10 min")
    + limit(
        at="K1",
        quantity="temperature",
        high="20 °C",
        on_delay="15 min",
        off_delay="5 min",
        consequence="The wine warms.",
    )
)

# What is sent, whether ingest lives and whether its broker is there, and for how many times ten seconds.
_STEP = st.tuples(
    st.sampled_from(
        [None, ("k1-pressure", 12.0), ("k1-pressure", 0.4), ("k1-temperature", 12.0), ("k1-temperature", 25.0)]
    ),
    st.sampled_from([0, 0, 0, quality_code(Quality.BAD, Reason.FAULT)]),
    st.sampled_from(["lives", "lives", "lives", "no broker", "dead"]),
    st.sampled_from([1, 3, 12, 50]),
)
_Step = tuple[tuple[str, float] | None, int, str, int]


class _Run:
    """The steps, with a restart before every n-th turn from ``first`` on, without one where every is 0."""

    def __init__(self, folder: Path, steps: list[_Step], every: int, first: int, *, settles: bool) -> None:
        self.bench = bench = Bench(folder, _SPARSE)
        self.silences: dict[tuple[str, float], float] = {}
        turns = 0
        for sent, quality, ingest, tens in steps:
            if sent is not None and ingest == "lives":
                bench.appender.append([(bench.series[sent[0]], bench.now.utc_ms, sent[1], quality)])
            for _ in range(tens):
                if ingest != "dead":
                    bench.ingest_lives(ingest == "lives")
                if every and turns % every == first % every:
                    if settles:
                        bench.settle(120.0)
                    bench.restart()
                bench.turn(10.0)
                bench.send()
                self._note_silences()
                turns += 1
        self.steps_of: dict[str, list[tuple[object, ...]]] = {}
        for row in transitions(bench.store):
            step = (row.event, row.from_state, row.to_state, row.value, row.note)
            self.steps_of.setdefault(row.key, []).append(step)
        self.subjects = sorted(bench.subjects())
        bench.store.close()

    def _note_silences(self) -> None:
        for key, record in self.bench.turner._state.records.items():
            if isinstance(record.track, SilenceTrack):
                self.silences[key, record.track.seen_mono] = self.bench.now.mono - record.track.seen_mono

    def is_near_a_limit(self) -> bool:
        """Whether a silence lasted only just longer than allowed: between two pulses a restart loses its last 10 s."""
        limits = watched_limits(self.bench.cellar)
        return any(0 < silent_s - limits[key].setpoint <= 30 for (key, _), silent_s in self.silences.items())


_SILENT_BEFORE_ITS_BROKER_DIED: list[_Step] = [
    (None, 0, "lives", 50),
    (None, 0, "no broker", 50),
    (None, 0, "lives", 50),
]


@example(steps=_SILENT_BEFORE_ITS_BROKER_DIED, every=2, first=0, settles=False)
@given(st.lists(_STEP, min_size=2, max_size=6), st.integers(2, 40), st.integers(0, 40), st.booleans())
def test_restarts_anywhere_change_no_transition_and_no_message(
    steps: list[_Step], every: int, first: int, settles: bool
) -> None:
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as other:
        plain = _Run(Path(folder), steps, 0, 0, settles=False)
        assume(not plain.is_near_a_limit())
        restarted = _Run(Path(other), steps, every, first, settles=settles)
    assert restarted.subjects == plain.subjects
    assert restarted.steps_of == plain.steps_of


@given(
    st.lists(st.tuples(st.sampled_from([0.3, 0.7, 0.8, 0.9, 12.0]), st.integers(1, 15), st.booleans()), max_size=20),
    st.sampled_from([0.3, 12.0]),
)
def test_wherever_it_was_restarted_it_ends_where_the_readings_say(
    course: list[tuple[float, int, bool]], last: float
) -> None:
    """An on-delay starts again at a restart, so an alarm may be late by that much but is never lost."""
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder))
        with bench.store:
            for psi, gap_s, restart in course:
                if restart:
                    bench.restart()
                bench.reading(psi)
                bench.turn(gap_s)
            bench.reading(last)
            for _ in range(12):
                bench.turn()
            states = {row.key: row.state for row in alarm_rows(bench.store)}
    stands = states.get("K1/pressure/low", "normal") in ("unacknowledged", "acknowledged")
    assert stands == (last == 0.3)


def test_the_pulse_follows_that_of_ingest_and_does_not_wait_for_a_dead_one(bench: Bench) -> None:
    def pulse_ms() -> int:
        pulse = pulses(bench.store).alerts
        assert pulse is not None
        return pulse.at_ms

    bench.turn()
    began_ms = pulse_ms()
    bench.ingest_lives()
    bench.turn()
    assert pulse_ms() == began_ms  # too soon after the last one
    bench.turn(PULSE_S - 1)
    assert pulse_ms() == began_ms
    bench.ingest_lives()
    bench.turn(0.2)
    followed_ms = pulse_ms()
    assert followed_ms - began_ms == 1000 * PULSE_S + 200
    bench.turn(PULSE_S + 1)
    assert pulse_ms() == followed_ms
    bench.turn()
    assert pulse_ms() - followed_ms == 1000 * (PULSE_S + 2)


def test_place_and_pulse_are_not_kept_at_every_turn(bench: Bench) -> None:
    bench.turn()
    first = pulses(bench.store).alerts
    assert first is not None
    bench.reading(12.0)
    bench.turn()
    assert pulses(bench.store).alerts == first
    bench.turn(17.0)
    later = pulses(bench.store).alerts
    assert later is not None
    assert later.at_ms > first.at_ms
    assert cursor(bench.store, "turn") == 1


@pytest.mark.parametrize(("boot", "off_s"), [("boot-1", 1e8), ("boot-2", -1e8)])
def test_a_shelving_outlives_a_restart_and_a_wrong_clock(bench: Bench, boot: str, off_s: float) -> None:
    bench.reading(0.2)
    bench.turn()
    for _ in range(12):
        bench.turn()
    assert [row.state for row in alarm_rows(bench.store) if row.key == "K1/pressure/low"] == ["unacknowledged"]
    asked = OperatorRequest(OperatorEventKind.SHELVE, "K1/pressure/low", "lid off", 3600.0)
    append_events(bench.store, [asked], "Ana", bench.now.utc_ms)
    bench.turn()
    shelved_s = bench.second
    with bench.store.write() as connection:
        set_cursor(connection, KNOWN, bench.now.utc_ms)
    bench.boot, bench.clock_is_off_s = boot, off_s
    bench.restart()
    while bench.second < shelved_s + 3540.0:
        bench.turn(60.0)

    def steps() -> list[tuple[str, str, str, str]]:
        rows = [row for row in transitions(bench.store) if row.key == "K1/pressure/low"][1:]
        return [(row.event, row.to_state, row.who, row.note.partition(": ")[2]) for row in rows]

    shelved = ("shelved", "shelved", "Ana", "lid off")
    assert steps() == [shelved]
    bench.turn(60.0)
    assert steps() == [shelved, ("shelving ended", "unacknowledged", "", "lid off")]


def test_occurrence_ids_are_short_and_never_repeat() -> None:
    ids = [occurrence_id(number) for number in range(1, 5000)]
    assert len(set(ids)) == len(ids)
    assert all(len(each) == 3 for each in ids)
    assert not set("".join(ids)) & set("01ilo")
    assert len(occurrence_id(31**3)) == 4


_KEG_WITH_THERMOMETER = (
    CELLAR
    + temperature(mounted="wall", topic="cellar/K1/temperature")
    + limit(
        at="K1", quantity="temperature", high="20 °C", on_delay="0 s", off_delay="0 s", consequence="The wine warms."
    )
)


class EmptiedKeg(Bench):
    """K1, and a hand that writes in the journal what its state is."""

    def state(self, state: str) -> None:
        body = parse_body("vessel-status", {"status": state})
        write_entry(
            self.store, Draft("vessel-status", self.now.utc_ms, "Ana", body, "K1"), self.cellar, self.now.utc_ms
        )

    def fill(self) -> None:
        said = parse_body("lot", {"name": "Malvasia", "style": "white"})
        fill = parse_body("first-filling", {"volume_l": 18.0})
        for draft in (
            Draft("lot", self.now.utc_ms, "Ana", said, None, "A"),
            Draft("first-filling", self.now.utc_ms, "Ana", fill, "K1", "A"),
        ):
            write_entry(self.store, draft, self.cellar, self.now.utc_ms)

    def begin_racking(self) -> int:
        body = parse_body("racking", {"sources": [{"vessel": "K1"}], "stage": "begun"})
        draft = Draft("racking", self.now.utc_ms, "Ana", body)
        return write_entry(self.store, draft, self.cellar, self.now.utc_ms).id

    def warm(self, celsius: float) -> None:
        self.appender.append([(self.series["k1-temperature"], self.now.utc_ms, celsius, 0)])

    def states(self) -> dict[str, str]:
        return {row.key: row.state for row in alarm_rows(self.store) if row.key.startswith("K1/")}


@pytest.fixture
def emptied_keg(tmp_path: Path) -> EmptiedKeg:
    return EmptiedKeg(tmp_path, _KEG_WITH_THERMOMETER)


def test_a_mail_names_the_wine_in_the_vessel(emptied_keg: EmptiedKeg) -> None:
    keg = emptied_keg
    keg.warm(15.0)
    keg.turn()
    keg.fill()
    keg.turn()
    keg.warm(25.0)
    keg.turn()
    row = recent_messages(keg.store)[0]
    assert row.subject == "MEDIUM PRIORITY: K1 temperature 25.0 °C, above 20 °C"
    assert "\nWine:        A\nPriority:    medium\n" in row.body


def test_an_emptied_vessel_is_silent_about_wine_and_loud_about_all_else(emptied_keg: EmptiedKeg) -> None:
    keg = emptied_keg
    keg.reading(12.0)
    keg.turn()
    keg.state("emptied")
    keg.reading(0.0)
    keg.warm(35.0)
    for _ in range(15):
        keg.turn()
    states = keg.states()
    assert {key for key, state in states.items() if state == "suppressed"} >= {
        "K1/pressure/low",
        "K1/temperature/high",
    }
    assert keg.subjects() == []
    noted = {step.key: step.note for step in transitions(keg.store)}
    assert noted["K1/pressure/low"] == "the vessel is empty"
    # Overpressure (200 kPa are stamped on it), and then silence.
    keg.reading(40.0)
    for _ in range(15):
        keg.turn()
    assert any("HIGH PRIORITY: K1 pressure" in subject and "above" in subject for subject in keg.subjects())
    for _ in range(40):
        with keg.store.write() as connection:
            write_pulse(connection, IngestPulse(mqtt=BrokerPulse(connected=True)), keg.now.utc_ms, EPOCH_MS)
        keg.turn(10.0)
    assert keg.states()["K1/pressure/no-data"] == "unacknowledged"
    assert any("no data" in subject for subject in keg.subjects())


def test_a_filled_vessel_is_watched_again(emptied_keg: EmptiedKeg) -> None:
    keg = emptied_keg
    keg.state("emptied")
    keg.reading(0.5)
    for _ in range(12):
        keg.turn()
    assert keg.states()["K1/pressure/low"] == "suppressed"
    assert keg.subjects() == []
    keg.restart()
    keg.turn()
    assert keg.subjects() == []
    keg.fill()
    # The limit's on-delay is 10 s, and has its whole time from here on.
    for _ in range(10):
        keg.reading(0.5)
        keg.turn()
        assert keg.states()["K1/pressure/low"] == "normal"
    keg.reading(0.5)
    keg.turn()
    assert keg.states()["K1/pressure/low"] == "unacknowledged"
    assert len(keg.subjects()) == 2


def test_a_racking_quiets_low_pressure_and_a_forgotten_one_does_not_for_ever(emptied_keg: EmptiedKeg) -> None:
    keg = emptied_keg
    keg.fill()
    keg.reading(12.0)
    keg.turn()
    keg.begin_racking()
    for _ in range(30):
        keg.reading(0.0)
        keg.warm(35.0)
        keg.turn(5.0)
    assert keg.states()["K1/pressure/low"] == "suppressed"
    assert keg.states()["K1/temperature/high"] == "unacknowledged", "warmth is no part of racking"
    noted = {step.key: step.note for step in transitions(keg.store)}
    assert noted["K1/pressure/low"] == "a racking is under way"
    keg.reading(40.0)
    keg.turn(15.0)
    keg.reading(40.0)
    keg.turn(15.0)
    assert any("HIGH PRIORITY: K1 pressure" in subject and "above" in subject for subject in keg.subjects())
    keg.restart()
    keg.second = LONGEST_RACKING_MS / 1000 + 1.0
    keg.reading(0.0)
    keg.turn()
    assert keg.states()["K1/pressure/low"] == "normal"
    for _ in range(3):
        keg.reading(0.0)
        keg.turn(5.0)
    assert keg.states()["K1/pressure/low"] == "unacknowledged"


def test_a_racking_that_is_finished_or_struck_is_no_longer_under_way(emptied_keg: EmptiedKeg) -> None:
    keg = emptied_keg
    keg.fill()
    begun = keg.begin_racking()
    keg.reading(0.0)
    keg.turn()
    assert keg.states()["K1/pressure/low"] == "suppressed"
    strike(keg.store, begun, "Ana", "it is still under way", keg.now.utc_ms)
    for _ in range(12):
        keg.reading(0.0)
        keg.turn()
    assert keg.states()["K1/pressure/low"] == "unacknowledged"


def test_an_open_alarm_on_wine_waits_while_the_vessel_is_empty(emptied_keg: EmptiedKeg) -> None:
    keg = emptied_keg
    keg.warm(25.0)
    keg.turn()
    assert keg.states()["K1/temperature/high"] == "unacknowledged"
    keg.state("emptied")
    keg.turn()
    assert keg.states()["K1/temperature/high"] == "suppressed"
    keg.warm(12.0)
    keg.turn()
    before = keg.subjects()
    keg.fill()
    keg.turn()
    assert keg.states()["K1/temperature/high"] == "normal"
    assert len(keg.subjects()) > len(before)


def test_that_a_wrong_future_was_forgotten_is_reported_once(bench: Bench) -> None:
    bench.reading(12.0)
    bench.turn()
    with bench.store.write() as connection:
        set_cursor(connection, KNOWN, 4_102_444_800_000)
    forget_future(bench.store, bench.now.utc_ms, "boot-1")
    for _ in range(3):
        bench.turn()
        bench.restart()
    assert _notes(bench) == [f"{who}: NOTE: the machine's clock was ahead and is right again" for who in ("ana", "ben")]
    assert "up to 2100-01-01" in recent_messages(bench.store)[0].body


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
