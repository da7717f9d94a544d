"""A racking that is begun and not finished is reminded of, by the turns of a real store."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from cellar_text import KEG, MQTT, PROBE, keg, mail, site

from alerts.turning.turner import Turner
from alerts.watch import Now
from ingest.cellar import Cellar, parse_cellar
from ingest.journal.entry import Draft
from ingest.journal.kinds import parse_body
from ingest.store import Store, create_or_open
from ingest.store.alarms.messages import MessageRow, recent_messages
from ingest.store.journal.entries import strike, write_entry

# 2026-09-21 16:13 in Ljubljana.
BEGUN_MS = 1_790_000_000_000
HOUR = 3600.0
TEXT = "\n".join((site(), MQTT, mail(to=["ana@x.example", "ben@x.example"]), KEG, keg(id="K2"), PROBE))


class Bench:
    """Turns over a store in which K1 has begun to be racked into K2 at second 0."""

    def __init__(self, folder: Path, text: str = TEXT) -> None:
        self.cellar: Cellar = parse_cellar(text, file="cellar.toml", base=folder)
        self.store: Store = create_or_open(folder / "cellar.db", BEGUN_MS)
        self.turner = Turner(self.cellar, self.store, Now(BEGUN_MS, 0.0, "boot"))
        self.racking = self.write({"sources": [{"vessel": "K1"}], "targets": [{"vessel": "K2"}], "stage": "begun"}, 0.0)

    def write(self, body: dict[str, object], second: float) -> int:
        at_ms = BEGUN_MS + round(second * 1000)
        draft = Draft("racking", at_ms, "Ana", parse_body("racking", body))
        return write_entry(self.store, draft, self.cellar, at_ms).id

    def at(self, second: float) -> list[MessageRow]:
        """The reminders in the outbox after a turn at that second, oldest first."""
        self.turner.turn(Now(BEGUN_MS + round(second * 1000), second, "boot"))
        return [row for row in reversed(recent_messages(self.store, 50)) if "racking" in row.subject]

    def restart(self, second: float) -> None:
        self.turner = Turner(self.cellar, self.store, Now(BEGUN_MS + round(second * 1000), second, "boot"))


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    bench = Bench(tmp_path)
    with bench.store:
        yield bench


def test_it_is_reminded_of_after_four_hours_and_a_day_once_each(bench: Bench) -> None:
    assert bench.at(4 * HOUR - 1) == []
    first = bench.at(4 * HOUR)
    assert [(row.recipient, row.subject, row.occurrence) for row in first] == [
        (f"{who}@x.example", f"NOTE: racking no. {bench.racking} from K1 is not finished", None)
        for who in ("ana", "ben")
    ]
    body = first[0].body
    for words in (
        "by Ana, 4 h ago, is not finished",
        "low pressure and leaks of K1 and K2 raise no alarm, at most until 2026-09-21 22:13",
        "High pressure is an alarm at any time.",
        "leeside enter racking cellar.toml --from K1 --to ...",
        f"leeside strike cellar.toml {bench.racking} --reason",
    ):
        assert words in " ".join(body.split())
    bench.restart(5 * HOUR)
    for second in (5 * HOUR, 7 * HOUR, 24 * HOUR - 1):
        assert len(bench.at(second)) == 2
    second_day = bench.at(24 * HOUR)
    assert len(second_day) == 4
    assert "Low pressure and leaks of K1 and K2 are watched again since" in " ".join(second_day[2].body.split())
    bench.restart(30 * HOUR)
    assert len(bench.at(6 * 24 * HOUR)) == 4


def test_it_names_the_forms_too_where_people_can_reach_the_page(tmp_path: Path, bench: Bench) -> None:
    assert "On the page" not in bench.at(4 * HOUR)[0].body
    page = '[page]\nurl = "https://cellar.example"\npassword_hash_file = "hash"\n'
    (tmp_path / "more").mkdir()
    with (reachable := Bench(tmp_path / "more", f"{TEXT}\n{page}")).store:
        body = reachable.at(4 * HOUR)[0].body
    assert "leeside enter racking" in body
    assert "https://cellar.example/enter/racking?from=K1\n" in body
    assert f"https://cellar.example/journal/{reachable.racking}/strike\n" in body


def test_it_waits_for_waking_hours(bench: Bench) -> None:
    # 20:13 is in waking hours. Of a racking that begins at 21:13 the four hours end at night.
    at_once = bench.at(4 * HOUR)[0]
    assert at_once.not_before_ms == at_once.created_ms
    late = bench.write({"sources": [{"vessel": "K2"}], "stage": "begun"}, 5 * HOUR)
    at_night = [row for row in bench.at(9 * HOUR) if f"no. {late} " in row.subject]
    assert at_night[0].not_before_ms > at_night[0].created_ms


def test_what_is_finished_or_struck_is_not_reminded_of(bench: Bench, tmp_path: Path) -> None:
    strike(bench.store, bench.racking, "Ana", "rain", BEGUN_MS + 1000)
    assert bench.at(4 * HOUR) == []


def test_after_a_long_stop_only_the_last_one_that_is_due_is_sent(bench: Bench) -> None:
    bench.restart(26 * HOUR)
    assert len(bench.at(26 * HOUR)) == 2
    assert len(bench.at(27 * HOUR)) == 2


def test_one_of_more_than_a_week_ago_is_left_in_peace(bench: Bench) -> None:
    bench.restart(7 * 24 * HOUR)
    assert bench.at(7 * 24 * HOUR) == []


def test_without_mail_nobody_is_reminded(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "\n".join((site(), MQTT, KEG, keg(id="K2"), PROBE)))
    with bench.store:
        assert bench.at(4 * HOUR) == []
