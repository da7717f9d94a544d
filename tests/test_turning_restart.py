"""A turn after a restart: it neither repeats nor forgets."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from cellar_text import KEG, MQTT, limit, site, temperature
from hypothesis import assume, example, given
from hypothesis import strategies as st
from turning_bench import CELLAR, MAIL, Bench

from alerts.watch.no_data import SilenceTrack
from alerts.watch.own_limits import watched_limits
from ingest.operator_event import OperatorEventKind, OperatorRequest
from ingest.reading import Quality, Reason, quality_code
from ingest.store.alarms.alarm_record import alarm_rows, transitions
from ingest.store.alarms.operator_events import append_event, append_events
from ingest.store.change_feed import set_cursor
from ingest.store.readings.undated import KNOWN


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


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
