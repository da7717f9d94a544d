"""After a gap in the watch: one message says how long it was and what is found."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from cellar_text import limit, probe
from turning_bench import CELLAR, MAIL, WATCHED, Bench
from watch_limits import a_limit

from alerts.turning.gap import AWAY_S, LATEST_S, SETTLE_S, Gap
from alerts.watch.alarm_table import State
from alerts.watch.level import LevelTrack
from alerts.watch.turn_inputs import WatchReading
from alerts.watch.watch_state import LimitRecord, WatchState
from ingest.store.alarms.messages import MessageRow, due_messages, recent_messages

MEDIUM = limit(at="K1", quantity="pressure", high="100 kPa", deadband="2 kPa", on_delay="10 s", off_delay="0 s")


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def _work(bench: Bench, for_s: float, psi: float | None = None) -> None:
    """Turns every ten seconds, with ingest alive and a reading in each."""
    for _ in range(round(for_s / 10)):
        bench.ingest_lives()
        if psi is not None:
            bench.reading(psi)
        bench.turn(10.0)


def _stop(bench: Bench, for_s: float) -> None:
    bench.second += for_s
    bench.restart()


def _notes(bench: Bench) -> list[MessageRow]:
    return [row for row in reversed(recent_messages(bench.store, 100)) if row.subject.startswith("NOTE")]


def test_a_gap_is_reported_once_to_each_person_after_what_there_is_was_judged(bench: Bench) -> None:
    _work(bench, 30, 12.0)
    _stop(bench, 3600)
    _work(bench, SETTLE_S - 10, 12.0)
    assert _notes(bench) == [], "what there is is being judged"
    _work(bench, 10, 12.0)
    assert [(row.recipient, row.subject) for row in _notes(bench)] == [
        (who, "NOTE: no limit was judged for 1 h; no alarm stands now")
        for who in ("ana@cellar.example", "ben@cellar.example")
    ]
    body = _notes(bench)[0].body
    assert "No alarm was raised in that time. The readings of that time have been judged since, in their order." in body
    assert "Not heard" not in body
    _work(bench, 300, 12.0)
    bench.restart()
    _work(bench, 300, 12.0)
    assert len(_notes(bench)) == 2


@pytest.mark.parametrize("away_s", [50.0, 130.0, AWAY_S - 20])
def test_a_restart_or_an_update_is_no_gap(bench: Bench, away_s: float) -> None:
    _work(bench, 30, 12.0)
    _stop(bench, away_s)
    _work(bench, 200, 12.0)
    assert _notes(bench) == []


def test_a_gap_counts_on_the_even_clock_also_where_the_machine_slept(bench: Bench) -> None:
    _work(bench, 30, 12.0)
    bench.clock_is_off_s = -7200.0
    _stop(bench, 900)
    _work(bench, SETTLE_S + 10, 12.0)
    assert _notes(bench)[0].subject.startswith("NOTE: no limit was judged for 15 min;")
    bench.turn(1200.0)
    _work(bench, SETTLE_S + 10, 12.0)
    assert _notes(bench)[2].subject.startswith("NOTE: no limit was judged for 20 min;")


def test_what_is_raised_while_it_is_prepared_stands_in_it_and_in_no_other_mail(tmp_path: Path) -> None:
    bench = Bench(tmp_path, WATCHED + MEDIUM + MAIL)
    _work(bench, 30, 12.0)
    bench.second += 3000
    bench.reading(18.0)
    _stop(bench, 600)
    bench.reading(18.0)
    _work(bench, SETTLE_S + 10, 18.0)
    going_out = due_messages(bench.store, bench.now.utc_ms)
    assert [row.subject for row in going_out] == ["NOTE: no limit was judged for 1 h; 1 alarm stands now"] * 2
    body = going_out[0].body
    assert "1 alarm stands now:\n  medium: K1 pressure, above 100 kPa (now 124.1 kPa), since " in body
    assert "What to do:" in body, "in detail"
    bench.send()
    _work(bench, 30, 12.0)
    (back,) = {row.subject for row in due_messages(bench.store, bench.now.utc_ms)}
    assert back.startswith("BACK TO NORMAL at 82.7 kPa after: K1 pressure 124.1 kPa, above 100 kPa")
    _work(bench, LATEST_S + 60, 12.0)
    assert len(recent_messages(bench.store, 100)) == 2 + 2 + 2, "held back, report, all-clear"


def test_an_alarm_that_comes_and_goes_while_it_is_prepared_is_in_it_too(tmp_path: Path) -> None:
    bench = Bench(tmp_path, WATCHED + MEDIUM + MAIL)
    _work(bench, 30, 12.0)
    _stop(bench, 3600)
    _work(bench, 20, 18.0)
    _work(bench, SETTLE_S, 12.0)
    (row, _) = due_messages(bench.store, bench.now.utc_ms)
    assert row.subject == "NOTE: no limit was judged for 1 h; no alarm stands now"
    assert "In detail:\n  CAME AND WENT: K1 pressure 124.1 kPa, above 100 kPa" in row.body
    assert (
        "Went beyond a limit; no alarm about it stands now:\n  K1 pressure: highest 124.1 kPa, limit 100 kPa, now"
        in row.body
    )
    bench.send()
    _work(bench, LATEST_S + 60, 12.0)
    assert due_messages(bench.store, bench.now.utc_ms) == []


def test_an_alarm_of_high_priority_does_not_wait_for_it(bench: Bench) -> None:
    _work(bench, 30, 12.0)
    _stop(bench, 3600)
    bench.reading(0.5)
    _work(bench, 20, 0.5)
    assert {row.subject for row in due_messages(bench.store, bench.now.utc_ms)} == {
        "HIGH PRIORITY: K1 pressure 3.4 kPa, below 5 kPa"
    }
    bench.send()
    _work(bench, SETTLE_S, 0.5)
    (row, _) = due_messages(bench.store, bench.now.utc_ms)
    assert row.subject == "NOTE: no limit was judged for 1 h; 1 alarm stands now, 1 of HIGH PRIORITY"
    assert "high: K1 pressure, below 5 kPa (now 3.4 kPa), since" in row.body


def test_what_went_beyond_its_limit_and_came_back_is_named_and_so_is_who_is_not_heard(tmp_path: Path) -> None:
    second = probe(id="k1-second", topic="cellar/K1/second", unit="psi")
    low = limit(at="K1", quantity="pressure", probe="k1-pressure", low="40 kPa", on_delay="10 min", deadband="1 kPa")
    bench = Bench(tmp_path, WATCHED + second + low + MAIL)
    _work(bench, 30, 12.0)
    bench.second += 1000
    bench.reading(5.0)
    bench.second += 30
    bench.reading(12.0)
    _stop(bench, 1000)
    _work(bench, SETTLE_S + 10, 12.0)
    body = _notes(bench)[0].body
    assert "no alarm about it stands now:\n  K1 pressure: lowest 34.5 kPa, limit 40 kPa, now 82.7 kPa\n" in body
    assert "Not heard:\n  k1-second at K1: no reading so far" in body


def test_a_report_that_a_restart_interrupts_is_still_made(bench: Bench) -> None:
    _work(bench, 30, 12.0)
    _stop(bench, 3600)
    _work(bench, 20, 12.0)
    bench.restart()
    _work(bench, SETTLE_S + 10, 12.0)
    assert _notes(bench)[0].subject == "NOTE: no limit was judged for 1 h; no alarm stands now"


def test_readings_that_were_settled_unseen_are_reported(bench: Bench) -> None:
    bench.reading(12.0)
    bench.turn(10.0)
    for _ in range(3):
        bench.second += 3600.0
        bench.reading(0.5)
    bench.settle(600.0)
    bench.restart()
    _work(bench, SETTLE_S + 10)
    assert _notes(bench)[0].subject.startswith("NOTE: no limit was judged for 3 h; ")
    assert "have been settled meanwhile and were not judged" in _notes(bench)[0].body


def test_the_number_in_the_docs() -> None:
    text = (Path(__file__).parent.parent / "docs" / "operations.md").read_text(encoding="utf-8")
    assert f"longer than {AWAY_S / 60:.0f} min" in text
    assert CELLAR


def test_a_limit_that_has_gone_with_its_wine_is_left_out_and_what_is_muted_says_so(bench: Bench) -> None:
    limits = {each.key: each for each in (a_limit(), a_limit(key="lot any/temperature/low/K1", probe="t"))}
    gap = Gap(bench.cellar, bench.store, limits, bench.now)
    gap.notice(3600.0, 0, bench.now)
    gap.see([WatchReading(probe, bench.now.utc_ms, 1.0, 0) for probe in ("k1-pressure", "t")])
    kept = a_limit()
    gap.watch({kept.key: kept})
    record = LimitRecord.fresh(kept, 0.0)
    alarm = replace(record.alarm, state=State.SUPPRESSED, suppressed=True, suppressed_because="a racking is under way")
    track = LevelTrack(value=1.5)
    state = WatchState({kept.key: replace(record, alarm=alarm, track=track)}, {})
    with bench.store.write() as connection:
        gap.keep(connection, state, bench.now, report=True)
    assert _notes(bench)[0].body.endswith(
        "no alarm about it stands now:\n  K1 pressure: lowest 1.0 kPa, limit 5 kPa, now 1.5 kPa, "
        "muted: a racking is under way\n"
    )
