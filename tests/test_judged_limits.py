"""A judgement on its way: from a judge at work to an alarm, a mail with its finding, and back to normal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from cellar_text import KEG, MQTT, SITE, keg, limit, mail, probe
from eventually import eventually

from alerts.judging import threads
from alerts.judging.judge import Need
from alerts.judging.threads import Judging
from alerts.turning.judgement_feed import MOST_PLACES
from alerts.turning.turner import Turner
from alerts.view.alarms.alarm_lines import alarm_line
from alerts.view.status import cellar_status
from alerts.watch.turn import JUDGEMENT_FRESH_S
from alerts.watch.turn_inputs import Now
from ingest.cellar import Cellar, parse_cellar
from ingest.journal.entry import Draft
from ingest.journal.kinds import parse_body
from ingest.judgement import Judgement
from ingest.store import Store, create_or_open
from ingest.store.alarms.alarm_record import alarm_rows, transitions
from ingest.store.alarms.messages import due_messages, mark_sent, recent_messages
from ingest.store.journal.entries import write_entry
from ingest.store.judgements import keep_judgements, newest_judgements

BEGIN = 1_790_000_000_000
LEAK = limit(at="K1", quantity="leak_rate", high="0.5 mL/min", deadband="0.1 mL/min", priority="high")
KEY = "K1/leak_rate/high"


def leak(value: float | None, finding: str = "slow leak") -> Judgement:
    return Judgement("K1", "leak_rate", BEGIN, value, None, None, finding)


class Bench:
    """A cellar, by default a keg with a limit on its leak rate, and a turner; a judgement is of the present second."""

    def __init__(self, folder: Path, *tables: str) -> None:
        text = "\n".join((SITE, MQTT, probe(), mail(), *(tables or (KEG, LEAK))))
        self.cellar: Cellar = parse_cellar(text, file="cellar.toml", base=folder)
        self.store: Store = create_or_open(self.cellar.store_path, BEGIN)
        self.second = 0.0
        self.turner = Turner(self.cellar, self.store, self.now)

    @property
    def now(self) -> Now:
        return Now(BEGIN + round(self.second * 1000), 1000.0 + self.second, "boot")

    def judged(self, *judgements: Judgement) -> None:
        with self.store.write() as connection:
            keep_judgements(connection, "gas", [each._replace(at_ms=self.now.utc_ms) for each in judgements])

    def write(self, kind: str, place: str | None, lot: str | None, **said: Any) -> None:
        draft = Draft(kind, self.now.utc_ms, "Ana", parse_body(kind, said), place, lot)
        write_entry(self.store, draft, self.cellar, self.now.utc_ms)

    def turn(self, after_s: float = 1.0) -> None:
        self.second += after_s
        self.turner.turn(self.now)

    def state(self) -> str:
        return next(row.state for row in alarm_rows(self.store) if row.key == KEY)

    def send(self) -> list[tuple[str, str]]:
        """What waits goes out: subject and text of each mail about the leak."""
        rows = [row for row in due_messages(self.store, self.now.utc_ms) if "leak rate" in row.subject]
        for row in rows:
            mark_sent(self.store, row.id, self.now.utc_ms)
        return [(row.subject, row.body) for row in rows]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path)
    yield made
    made.store.close()


def test_a_number_that_nobody_measures_raises_an_alarm_with_its_finding(bench: Bench) -> None:
    bench.judged(leak(0.2, "sound"))
    bench.turn()
    assert bench.send() == []
    bench.judged(leak(0.8))
    bench.turn()
    ((subject, body),) = bench.send()
    assert subject == "HIGH PRIORITY: K1 leak rate 0.80 mL/min, above 0.5 mL/min"
    assert "slow leak" in body
    with bench.store.read():
        alarm = next(
            each for each in cellar_status(bench.cellar, bench.store, bench.now.utc_ms).alarms if each.key == KEY
        )
    assert (alarm.finding, alarm.value) == ("slow leak", 0.8)
    assert ", slow leak (not acknowledged)" in alarm_line(alarm, bench.cellar.site.zone, "metric", bench.now.utc_ms)
    # Within the deadband it stands; the finding that explains it now is shown.
    bench.judged(leak(0.45, "fast leak"))
    bench.turn()
    assert bench.state() == "unacknowledged"
    with bench.store.read():
        alarms = cellar_status(bench.cellar, bench.store, bench.now.utc_ms).alarms
    assert [each.finding for each in alarms if each.key == KEY] == ["fast leak"]
    bench.judged(leak(0.1, "sound"))
    bench.turn()
    ((subject, _),) = bench.send()
    assert subject.startswith("BACK TO NORMAL")
    steps = [(row.event, row.finding) for row in transitions(bench.store) if row.key == KEY]
    assert steps == [("condition began", "slow leak"), ("condition ended", "sound")]


@pytest.mark.parametrize(
    "nothing", [leak(None, "no judgement"), leak(0.0, "cannot tell yet"), leak(0.0, "no judgement")]
)
def test_what_decides_nothing_ends_no_alarm_and_begins_none(bench: Bench, nothing: Judgement) -> None:
    bench.judged(leak(0.8))
    bench.turn()
    assert bench.state() == "unacknowledged"
    bench.judged(nothing)
    bench.turn()
    assert bench.state() == "unacknowledged"
    bench.judged()
    for _ in range(3):
        bench.turn(JUDGEMENT_FRESH_S)
    assert bench.state() == "unacknowledged", "nor does silence"
    bench.judged(leak(0.0, "sound"))
    bench.turn()
    assert bench.state() == "returned"
    bench.judged(nothing._replace(value=None if nothing.value is None else 9.0))
    bench.turn()
    assert bench.state() == "returned"


def test_a_restart_neither_repeats_nor_forgets(bench: Bench) -> None:
    bench.judged(leak(0.8))
    bench.turn()
    assert len(bench.send()) == 1
    bench.turner = Turner(bench.cellar, bench.store, bench.now)
    bench.turn()
    assert (bench.state(), bench.send()) == ("unacknowledged", [])
    bench.judged(leak(0.1, "sound"))
    bench.turner = Turner(bench.cellar, bench.store, bench.now)
    bench.turn()
    assert bench.state() == "returned"


def test_after_a_long_stop_an_old_judgement_says_nothing(bench: Bench) -> None:
    bench.judged(leak(0.8))
    bench.second += JUDGEMENT_FRESH_S + 60
    bench.turner = Turner(bench.cellar, bench.store, bench.now)
    bench.turn()
    assert bench.state() == "normal"


class MadeUp:
    """A judge of gas that finds what the test says."""

    name = "gas"
    needs: frozenset[Need] = frozenset({"readings"})

    def __init__(self, answer: Judgement) -> None:
        self.answer = answer

    def judge(self, cellar: Cellar, store: Store, now_ms: int) -> Sequence[Judgement]:
        return [self.answer._replace(at_ms=now_ms)]


def test_a_judge_at_work_reaches_the_mail(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threads, "LOOK_S", 0.01)
    at_work = Judging(bench.cellar, [MadeUp(leak(0.8))], lambda: bench.now.utc_ms)
    at_work.start()
    try:
        eventually(lambda: newest_judgements(bench.store))
        bench.turn()
    finally:
        at_work.stop()
    (mail_row,) = recent_messages(bench.store, 5)
    assert mail_row.subject == "HIGH PRIORITY: K1 leak rate 0.80 mL/min, above 0.5 mL/min"


def test_a_limit_on_wine_is_judged_where_the_wine_lies(tmp_path: Path) -> None:
    molecular = limit(lot="any", quantity="molecular_so2", low="0.5 mg/L", priority="medium")
    bench = Bench(tmp_path, KEG, keg("K2"), molecular)
    for kind, place, said in (
        ("lot", None, {"name": "A1", "style": "white"}),
        ("first-filling", "K1", {"volume_l": 10.0}),
    ):
        bench.write(kind, place, "A1", **said)
    bench.judged(Judgement("K1", "molecular_so2", BEGIN, 0.3, 0.2, 0.4, lot="A1"))
    bench.turn()
    bench.write("racking", None, None, sources=[{"vessel": "K1"}], targets=[{"vessel": "K2"}])
    bench.judged(Judgement("K2", "molecular_so2", BEGIN, 0.28, 0.2, 0.4, lot="A1"))
    bench.turn()
    raised = [row.key for row in transitions(bench.store) if row.to_state == "unacknowledged"]
    key = "lot any/molecular_so2/low"
    assert raised == [f"{key}/K1", f"{key}/K2"]
    assert [row.key for row in alarm_rows(bench.store) if row.key.startswith(key)] == [f"{key}/K2"]
    bench.store.close()


def test_many_that_are_judged_at_once_take_several_turns_and_none_is_left_out(tmp_path: Path) -> None:
    kegs = [f"K{number}" for number in range(1, MOST_PLACES + 20)]
    leaks = [keg(id) + limit(at=id, quantity="leak_rate", high="0.5 mL/min", priority="high") for id in kegs]
    bench = Bench(tmp_path, *leaks)
    last = max(kegs)
    bench.judged(*(leak(0.8 if id == last else 0.2)._replace(place=id) for id in kegs))
    bench.turn()
    assert [row.key for row in transitions(bench.store)] == [f"{last}/leak_rate/high"], "what is beyond its limit first"
    assert bench.turner.has_news()
    bench.turn()
    assert not bench.turner.has_news()
    bench.judged(*(leak(0.8)._replace(place=id) for id in kegs))
    bench.turn()
    assert bench.turner.has_news()
    bench.turn()
    assert not bench.turner.has_news()
    raised = [row.key for row in transitions(bench.store) if row.to_state == "unacknowledged"]
    assert sorted(raised) == sorted(f"{id}/leak_rate/high" for id in kegs)
    bench.store.close()
