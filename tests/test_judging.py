"""Judges at work beside the turn: when they answer, and that one that fails or hangs stops nothing else."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from threading import Event

import pytest
from a_store import NOW
from cellar_text import KEG, SITE, mqtt, probe, table, write_cellar
from eventually import eventually

from alerts.judging import threads
from alerts.judging.judge import Need
from alerts.judging.judges import judges
from alerts.judging.threads import AGAIN_S, BOUND_S, IDLE_S, READINGS_S, Judging, SeenChanges, is_due
from alerts.turning.turner import Turner
from alerts.view.judge_lines import judge_line
from alerts.watch import Now, own_limits
from alerts.watch.turn import JUDGEMENT_FRESH_S
from ingest.cellar import Cellar, load_cellar
from ingest.judgement import Judgement
from ingest.pulse import JudgePulse
from ingest.store import Store, create_or_open
from ingest.store.alarms.alarm_record import alarm_rows
from ingest.store.judgements import keep_judgements, newest_judgements
from ingest.store.readings.fresh import Appender

LEAK = Judgement("K1", "leak_rate", NOW, 0.4, 0.2, 0.7, "slow leak")


class MadeUp:
    """A judge whose answer the test gives, as a value or as what makes it."""

    def __init__(self, name: str, answer: Callable[[], Sequence[Judgement]], *needs: Need) -> None:
        self.name = name
        self.needs: frozenset[Need] = frozenset(needs)
        self.answers = 0
        self._answer = answer

    def judge(self, cellar: Cellar, store: Store, now_ms: int) -> Sequence[Judgement]:
        assert cellar.vessel[0].id == "K1"
        answer = self._answer()
        self.answers += 1
        return [judgement._replace(at_ms=now_ms) for judgement in answer]


@pytest.fixture
def on_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Cellar, Store]]:
    monkeypatch.setattr(threads, "LOOK_S", 0.01)
    cellar = load_cellar(write_cellar(tmp_path, SITE, table("[store]", path="cellar.db"), mqtt(), KEG, probe()))
    with create_or_open(cellar.store_path, NOW) as store:
        yield cellar, store


@contextmanager
def working(cellar: Cellar, *judges: MadeUp) -> Iterator[Judging]:
    at_work = Judging(cellar, judges, lambda: NOW)
    at_work.start()
    try:
        yield at_work
    finally:
        at_work.stop()


def test_an_answer_is_kept_and_read_by_the_turn(on_disk: tuple[Cellar, Store]) -> None:
    cellar, store = on_disk
    with working(cellar, MadeUp("gas", lambda: [LEAK])) as at_work:
        eventually(lambda: newest_judgements(store) == [LEAK])
        eventually(lambda: at_work.pulse()["gas"].last_ms == NOW)
        assert at_work.pulse()["gas"].last_error is None


def test_a_judge_that_raises_is_shown_and_stops_no_other(
    on_disk: tuple[Cellar, Store], caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(threads, "AGAIN_S", 0.0)
    cellar, store = on_disk
    calls = []

    def fail() -> Sequence[Judgement]:
        calls.append(1)
        raise ZeroDivisionError("no wine")

    with caplog.at_level(logging.WARNING), working(cellar, MadeUp("wine", fail), MadeUp("gas", lambda: [LEAK])) as desk:
        eventually(lambda: len(calls) > 3)
        eventually(lambda: newest_judgements(store) == [LEAK])
        assert desk.pulse()["wine"].last_error == "ZeroDivisionError: no wine"
        assert desk.pulse()["wine"].last_ms is None
    told = [record.message for record in caplog.records if "judge wine" in record.message]
    assert told == ["the judge wine failed, it is asked again in a minute: ZeroDivisionError: no wine"]


def test_an_answer_with_a_wrong_number_is_a_failure_and_the_last_one_stands(on_disk: tuple[Cellar, Store]) -> None:
    cellar, store = on_disk
    with store.write() as connection:
        keep_judgements(connection, "gas", [LEAK])
    with working(cellar, MadeUp("gas", lambda: [LEAK._replace(value=float("nan"))])) as desk:
        eventually(lambda: desk.pulse()["gas"].last_error)
        assert "must be a finite number" in (desk.pulse()["gas"].last_error or "")
    assert newest_judgements(store) == [LEAK]


def test_a_judge_that_hangs_is_shown_and_holds_up_neither_turn_nor_end(
    on_disk: tuple[Cellar, Store], caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(threads, "BOUND_S", 0.0)
    cellar, store = on_disk
    begun, go_on = Event(), Event()

    def hang() -> Sequence[Judgement]:
        begun.set()
        go_on.wait()
        return [LEAK]

    turner = Turner(cellar, store, Now(NOW, 0.0))
    try:
        with working(cellar, MadeUp("wine", hang), MadeUp("gas", lambda: [LEAK])) as desk:
            assert begun.wait(10)
            eventually(lambda: newest_judgements(store) == [LEAK])
            # The turn and the other judge go on while this one has not answered.
            turner.turn(Now(NOW, 1.0))
            assert not go_on.is_set()
            with caplog.at_level(logging.WARNING):
                desk.look_after()
                desk.look_after()
            assert desk.pulse()["wine"].overdue_s >= 0.0
            assert sum("the judge wine has been working for" in record.message for record in caplog.records) == 1
        assert any(thread.name == "judge wine" for thread in threading.enumerate())
    finally:
        go_on.set()
    eventually(lambda: not any(thread.name == "judge wine" for thread in threading.enumerate()))


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_thread_that_ended_is_started_again(on_disk: tuple[Cellar, Store]) -> None:
    cellar, store = on_disk

    def end() -> Sequence[Judgement]:
        raise SystemExit

    judge = MadeUp("gas", end)
    with working(cellar, judge) as desk:
        eventually(lambda: not any(thread.name == "judge gas" for thread in threading.enumerate()))
        judge._answer = lambda: [LEAK]
        desk.look_after()
        eventually(lambda: newest_judgements(store) == [LEAK])


def test_news_of_what_a_judge_needs_make_it_answer_again(
    on_disk: tuple[Cellar, Store], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(threads, "READINGS_S", 0.0)
    cellar, store = on_disk
    gas, wine = MadeUp("gas", lambda: [LEAK], "readings"), MadeUp("wine", list, "journal")
    with working(cellar, gas, wine):
        eventually(lambda: gas.answers == 1 and wine.answers == 1)
        Appender(store).append([(1, NOW, 12.0, 0)])
        eventually(lambda: gas.answers == 2)
        with store.write() as connection:
            connection.execute("INSERT INTO cellar_file (from_ms, digest, text) VALUES (?, '', '')", (NOW,))
        eventually(lambda: wine.answers == 2)
        assert gas.answers == 2


@pytest.mark.parametrize(
    ("needs", "after", "passed_s", "failed", "due"),
    [
        ({"journal"}, SeenChanges(5, (1, 0, 1)), 0.0, False, True),
        ({"journal"}, SeenChanges(5, (1, 0, 1)), 0.0, True, True),
        ({"readings"}, SeenChanges(5, (1, 0, 1)), IDLE_S - 1, False, False),
        ({"readings"}, SeenChanges(5, (1, 0, 1)), IDLE_S, False, True),
        ({"readings"}, SeenChanges(6, (0, 0, 1)), READINGS_S - 1, False, False),
        ({"readings"}, SeenChanges(6, (0, 0, 1)), READINGS_S, False, True),
        ({"journal"}, SeenChanges(6, (0, 0, 1)), READINGS_S, False, False),
        ({"readings"}, SeenChanges(6, (0, 0, 1)), AGAIN_S - 1, True, False),
        ({"journal"}, SeenChanges(5, (0, 0, 1)), AGAIN_S, True, True),
        (set(), SeenChanges(9, (9, 9, 9)), IDLE_S - 1, False, False),
        (set(), SeenChanges(5, (0, 0, 1)), float("inf"), False, True),
    ],
)
def test_when_a_judge_is_due(needs: set[Need], after: SeenChanges, passed_s: float, failed: bool, due: bool) -> None:
    assert is_due(frozenset(needs), SeenChanges(5, (0, 0, 1)), after, passed_s, failed=failed) is due


def test_judgements_come_again_before_they_are_too_old() -> None:
    assert IDLE_S + BOUND_S < JUDGEMENT_FRESH_S


def test_the_limits_on_judges_are_those_of_the_judges_that_work() -> None:
    assert [judge.name for judge in judges()] == [*own_limits.JUDGES]


def test_a_judge_that_fails_for_half_an_hour_is_an_alarm(
    on_disk: tuple[Cellar, Store], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(own_limits, "JUDGES", ("gas",))
    cellar, store = on_disk
    pulse = JudgePulse(last_ms=NOW)
    turner = Turner(cellar, store, Now(NOW, 0.0), judges=lambda: {"gas": pulse})

    def state(second: float) -> str:
        turner.turn(Now(NOW + round(1000 * second), second))
        return next(row.state for row in alarm_rows(store) if row.key == "leeside/judge gas")

    assert state(10.0) == "normal"
    pulse = JudgePulse(last_ms=NOW, last_error="ValueError: no wine")
    assert state(20.0) == "normal"
    assert state(own_limits.JUDGE_SILENCE_S) == "normal"
    assert state(own_limits.JUDGE_SILENCE_S + 20.0) == "unacknowledged"
    pulse = JudgePulse(last_ms=NOW)
    assert state(own_limits.JUDGE_SILENCE_S + 30.0) == "returned"


@pytest.mark.parametrize(
    ("pulse", "line"),
    [
        (JudgePulse(last_ms=NOW), ""),
        (JudgePulse(), ""),
        (
            JudgePulse(last_ms=NOW - 600_000, last_error="ValueError: no wine"),
            "judge gas: failed: ValueError: no wine (last answer: 10 min ago)",
        ),
        (JudgePulse(overdue_s=95.0), "judge gas: has been working for 1 min 35 s (last answer: never)"),
    ],
)
def test_what_is_wrong_with_a_judge_is_a_line(pulse: JudgePulse, line: str) -> None:
    assert judge_line("gas", pulse, NOW) == line
