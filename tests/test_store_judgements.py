"""Judgements in the store: the newest of each, an hourly history, and what is refused."""

from __future__ import annotations

import math
import re
import sqlite3
from collections.abc import Callable
from typing import Any

import pytest
from a_store import NOW

from ingest.errors import StoreError
from ingest.judgement import Judgement
from ingest.store import Store
from ingest.store.judgements import (
    HOUR_MS,
    KEEP_HOURS_MS,
    MOST_DETAILS,
    drop_old_judgements,
    judgement_count,
    judgement_history,
    judgement_spans,
    keep_judgements,
    newest_judgements,
)

# The beginning of an hour.
HOUR = NOW - NOW % HOUR_MS


def leak(at_ms: int = NOW, **changes: Any) -> Judgement:
    return Judgement("K1", "leak_rate", at_ms, 0.4, 0.2, 0.7, "slow leak")._replace(**changes)


def molecular(at_ms: int = NOW, **changes: Any) -> Judgement:
    return Judgement("K1", "molecular_so2", at_ms, 0.6, 0.5, 0.8, lot="A1")._replace(**changes)


def keep(store: Store, judge: str, *judgements: Judgement) -> None:
    with store.write() as connection:
        keep_judgements(connection, judge, judgements)


def test_the_newest_of_each_is_read_as_it_was_kept(store: Store) -> None:
    whole = leak(details={"hours": [3, 5], "since": "25 Nov"})
    keep(store, "gas", leak(NOW - 1000), leak(NOW - 1000, place="K2"))
    keep(store, "gas", whole, leak(place="K2", value=None, low=None, high=None, finding="cannot tell yet"))
    keep(store, "wine", molecular())
    assert newest_judgements(store) == [
        whole,
        molecular(),
        leak(place="K2", value=None, low=None, high=None, finding="cannot tell yet"),
    ]


def test_a_reader_asks_for_what_came_after_the_last_answer_it_saw(store: Store) -> None:
    assert judgement_count(store) == 0
    keep(store, "gas", leak())
    seen = judgement_count(store)
    assert newest_judgements(store, after=seen) == []
    keep(store, "wine", molecular())
    assert judgement_count(store) > seen
    assert newest_judgements(store, after=seen) == [molecular()]


def test_what_a_judge_does_not_name_any_more_is_forgotten_but_not_its_history(store: Store) -> None:
    keep(store, "gas", leak(), leak(place="K2"))
    keep(store, "wine", molecular())
    keep(store, "gas", leak(NOW + 1))
    assert newest_judgements(store) == [leak(NOW + 1), molecular()]
    assert judgement_history(store, ["K2"], "leak_rate", 0, NOW) == [leak(place="K2")]


def test_an_hour_keeps_its_last_judgement(store: Store) -> None:
    times = [HOUR, HOUR + HOUR_MS - 1, HOUR + HOUR_MS, HOUR + 3 * HOUR_MS + 5]
    for number, at_ms in enumerate(times):
        keep(store, "gas", leak(at_ms, value=float(number), low=None, details={"n": number}))
    history = judgement_history(store, ["K1"], "leak_rate", HOUR, times[-1])
    assert [(row.at_ms, row.value) for row in history] == [(times[1], 1.0), (times[2], 2.0), (times[3], 3.0)]
    assert [row.at_ms for row in judgement_history(store, ["K1"], "leak_rate", times[2], times[2])] == [times[2]]


def test_a_judge_that_answers_each_minute_renews_its_hour_seldom_or_with_a_new_finding(store: Store) -> None:
    def kept() -> list[tuple[int, str]]:
        rows = judgement_history(store, ["K1"], "leak_rate", HOUR, HOUR + HOUR_MS)
        return [(row.at_ms - HOUR, row.finding) for row in rows]

    for minute in range(9):
        keep(store, "gas", leak(HOUR + minute * 60_000, finding="sound"))
    assert kept() == [(0, "sound")]
    keep(store, "gas", leak(HOUR + 9 * 60_000, finding="sound"))
    assert kept() == [(9 * 60_000, "sound")]
    keep(store, "gas", leak(HOUR + 10 * 60_000, finding="slow leak"))
    assert kept() == [(10 * 60_000, "slow leak")]


def test_a_place_is_found_under_its_former_name_and_lots_are_apart(store: Store) -> None:
    keep(store, "wine", molecular(HOUR, place="old"))
    keep(store, "wine", molecular(HOUR + HOUR_MS), molecular(HOUR + HOUR_MS, lot="B2", value=0.3))
    history = judgement_history(store, ["K1", "old"], "molecular_so2", 0, NOW + HOUR_MS, lot="A1")
    assert [(row.place, row.value) for row in history] == [("old", 0.6), ("K1", 0.6)]


@pytest.mark.parametrize(
    ("wrong", "why"),
    [
        (leak(value=math.nan), "the judgement leak_rate of K1 is nan: it must be a finite number, or none"),
        (molecular(high=math.inf), "the judgement molecular_so2 of A1 is inf: it must be a finite number, or none"),
        (leak(finding="leaking"), "the judgement leak_rate of K1 finds 'leaking'; there are: "),
        (leak(details={"x": "y" * MOST_DETAILS}), f"at most {MOST_DETAILS} are kept"),
    ],
)
def test_a_wrong_judgement_is_refused_with_the_whole_answer(store: Store, wrong: Judgement, why: str) -> None:
    keep(store, "gas", leak())
    with pytest.raises(StoreError, match=re.escape(why)):
        keep(store, "gas", leak(NOW + 1, place="K0"), wrong)
    assert newest_judgements(store) == [leak()]


def test_old_hours_are_dropped_and_young_ones_stay(store: Store) -> None:
    old = [HOUR - KEEP_HOURS_MS - number * HOUR_MS for number in range(1, 4)]
    for at_ms in (*old, HOUR):
        keep(store, "gas", leak(at_ms))
    while drop_old_judgements(store, HOUR):
        pass
    assert judgement_history(store, ["K1"], "leak_rate", 0, HOUR) == [leak(HOUR)]


def test_one_answer_is_one_transaction(store: Store) -> None:
    def fail(connection: sqlite3.Connection) -> None:
        keep_judgements(connection, "gas", [leak()])
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        _write(store, fail)
    assert (newest_judgements(store), judgement_count(store)) == ([], 0)


def _write(store: Store, work: Callable[[sqlite3.Connection], None]) -> None:
    with store.write() as connection:
        work(connection)


def test_longer_spans_have_the_mean_and_the_outermost_ends_of_what_decides(store: Store) -> None:
    day = 24 * HOUR_MS
    begin = HOUR - HOUR % day
    for hour, (value, low, high) in enumerate([(10.0, 9.0, 11.0), (20.0, 12.0, 21.0), (30.0, None, None)]):
        keep(store, "gas", leak(begin + hour * HOUR_MS, value=value, low=low, high=high))
    keep(store, "gas", leak(begin + 3 * HOUR_MS, value=99.0, low=1.0, high=100.0, finding="cannot tell yet"))
    keep(store, "gas", leak(begin + 4 * HOUR_MS, value=None, low=None, high=None))
    keep(store, "gas", leak(begin + day, value=5.0, low=4.0, high=6.0), molecular(begin))
    spans = judgement_spans(store, ["K1"], "leak_rate", begin + HOUR_MS, begin + day + 1, day)
    assert spans == [(begin, 20.0, 9.0, 30.0), (begin + day, 5.0, 4.0, 6.0)]
    assert judgement_spans(store, ["K2"], "leak_rate", begin, begin + day, day) == []
    assert judgement_spans(store, ["K1"], "molecular_so2", begin, begin + day, day) == [], "those are of a lot"
    assert [span.mean for span in judgement_spans(store, ["K1"], "leak_rate", begin, begin + day, HOUR_MS)] == [
        10,
        20,
        30,
    ]
