"""Default limits on SO2: which there are for which wine, what replaces them, and how they go with the wine."""

from __future__ import annotations

import typing
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from cellar_text import KEG, MQTT, SITE, cellar, keg, limit, mail, probe, site
from running import leeside

from alerts.limits.limits_now import limits_now
from alerts.so2.limits import so2_limits
from alerts.turning.turner import Turner
from alerts.view.alarms.limit_lines import limit_statuses
from alerts.watch.turn_inputs import Now
from alerts.wine.legal import RULE_SETS
from ingest.cellar import Cellar, EffectiveLimit, parse_cellar
from ingest.cellar.equipment import LegalRules
from ingest.journal.entry import Draft
from ingest.journal.kinds import parse_body
from ingest.journal.said_of_wine import SaidOfWine
from ingest.judgement import Judgement
from ingest.store import Store, create_or_open
from ingest.store.alarms.alarm_record import alarm_rows, last_raised_ms, last_steps
from ingest.store.alarms.messages import due_messages, mark_sent, recent_messages
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entries import write_entry
from ingest.store.judgements import keep_judgements

LOW, HIGH = "K1/molecular_so2/low", "K1/molecular_so2/high"
FREE, TOTAL = "K1/free_so2/high", "K1/total_so2/high"
# 3 October, noon, in Ljubljana.
BEGIN = 1_791_021_600_000


def made(*pieces: str, said: Mapping[str, SaidOfWine] | None = None, head: str = SITE) -> dict[str, EffectiveLimit]:
    parsed = cellar(head, MQTT, KEG, probe(), *pieces)
    wine = {"K1": SaidOfWine()} if said is None else said
    return so2_limits(parsed, wine, parsed.limits)


@pytest.mark.parametrize(
    ("style", "low", "free", "total"),
    [
        ("white", 0.5, 50.0, 200.0),
        ("rosé", 0.5, 50.0, 200.0),
        ("red", 0.4, 50.0, 150.0),
        ("sweet", 0.8, 100.0, 200.0),
        (None, 0.5, 50.0, 150.0),
    ],
)
def test_the_style_gives_the_numbers(style: str | None, low: float, free: float, total: float) -> None:
    limits = made(said={"K1": SaidOfWine("A1", style)})
    assert [limits[key].setpoint for key in (LOW, HIGH, FREE, TOTAL)] == [low, 2.0, free, total]
    assert list(limits) == [LOW, HIGH, FREE, TOTAL]


def test_none_of_them_wakes_anybody() -> None:
    assert {(limit.priority, limit.hours) for limit in made().values()} == {("medium", "waking"), ("low", "digest")}
    assert all(limit.origin == "default" and limit.consequence and limit.action for limit in made().values())


def test_the_law_is_that_of_the_site() -> None:
    sweet = {"K1": SaidOfWine("A1", "white", 40.0)}
    assert made(said=sweet)[TOTAL].setpoint == 250.0
    assert made(said=sweet, head=site(legal="eu-organic"))[TOTAL].setpoint == 220.0
    assert made(head=site(legal="us"))[TOTAL].setpoint == 350.0
    assert made(head=site(units="us"))[TOTAL].setpoint == 350.0
    assert TOTAL not in made(head=site(legal="none"))
    consequence = made()[TOTAL].consequence
    assert "European Union" in consequence
    assert "the colour is not known: the lowest limit counts" in consequence
    # A sugar that no wine has is a slip of the pen; the lowest limit counts, and nothing stops.
    assert made(said={"K1": SaidOfWine("A1", "white", 4000.0)})[TOTAL].setpoint == 200.0


def test_every_rule_set_can_be_named_in_the_cellar_file() -> None:
    assert set(typing.get_args(LegalRules)) == {*RULE_SETS, "none"}


def test_a_limit_of_the_file_replaces_the_default_one_on_the_same_quantity() -> None:
    own = limit(at="K1", quantity="molecular_so2", low="0.3 mg/L")
    assert list(made(own)) == [HIGH, FREE, TOTAL]
    on_free = limit(at="K1", quantity="free_so2", low="25 mg/L")
    assert list(made(on_free)) == [HIGH, FREE, TOTAL], "who limits free SO2 has said what the wine should keep"
    high = limit(at="K1", quantity="free_so2", high="35 mg/L")
    assert list(made(high)) == [LOW, HIGH, TOTAL]


class SulfiteBench:
    """Kegs K1 and K2, a journal, and a turner that is given judgements."""

    def __init__(self, folder: Path, *more: str) -> None:
        text = "\n".join((site(waking="00:00-23:59"), MQTT, KEG, keg("K2"), probe(), *more, mail()))
        self.cellar: Cellar = parse_cellar(text, file="cellar.toml", base=folder)
        self.store: Store = create_or_open(self.cellar.store_path, BEGIN)
        keep_cellar_file(self.store, self.cellar.text, BEGIN)
        self.second = 0.0
        self.turner = Turner(self.cellar, self.store, self.now)

    @property
    def now(self) -> Now:
        return Now(BEGIN + round(self.second * 1000), 1000.0 + self.second, "boot")

    def write(self, kind: str, place: str | None = None, lot: str | None = None, **said: Any) -> None:
        draft = Draft(kind, self.now.utc_ms, "Ana", parse_body(kind, said), place, lot)
        write_entry(self.store, draft, self.cellar, self.now.utc_ms)

    def lot(self, **said: Any) -> None:
        self.write("lot", None, "A1", name="A1", **{"style": "white", **said})

    def judged(self, **values: float) -> None:
        """Judge K1: quantity=value in mg/L."""
        rows = [Judgement("K1", name, self.now.utc_ms, value) for name, value in values.items()]
        with self.store.write() as connection:
            keep_judgements(connection, "so2", rows)

    def turn(self, after_s: float = 1.0) -> list[str]:
        """Run a turn; the subjects of the mails about SO2 that then go out."""
        self.second += after_s
        self.turner.turn(self.now)
        rows = due_messages(self.store, self.now.utc_ms)
        for row in rows:
            mark_sent(self.store, row.id, self.now.utc_ms)
        return [row.subject for row in rows if "SO2" in row.subject]

    def watched(self) -> set[str]:
        with self.store.read():
            limits = limits_now(self.cellar, self.store, self.now.utc_ms)
        return {key for key in limits if "_so2/" in key}

    def state(self, key: str) -> str:
        return next(row.state for row in alarm_rows(self.store) if row.key == key)

    def why_muted(self, key: str) -> str:
        with self.store.read():
            limits = limits_now(self.cellar, self.store, self.now.utc_ms)
            statuses = limit_statuses(
                limits.values(), alarm_rows(self.store), last_steps(self.store), last_raised_ms(self.store)
            )
        return next(status.muted for status in statuses if status.limit.key == key)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[SulfiteBench]:
    bench = SulfiteBench(tmp_path)
    yield bench
    bench.store.close()


def test_without_a_journal_there_is_nothing_to_limit(bench: SulfiteBench) -> None:
    bench.turn()
    assert bench.watched() == set()


def test_low_so2_is_one_mail_and_a_dose_ends_it(bench: SulfiteBench) -> None:
    bench.lot()
    bench.write("first-filling", "K1", "A1", volume_l=18.0)
    assert bench.turn() == []
    assert bench.watched() == {LOW, HIGH, FREE, TOTAL}
    bench.judged(molecular_so2=0.55, free_so2=30.0)
    assert bench.turn() == []
    bench.judged(molecular_so2=0.42, free_so2=22.0)
    assert bench.turn() == ["MEDIUM PRIORITY: K1 molecular SO2 (simple) 0.42 mg/L, below 0.5 mg/L"]
    body = recent_messages(bench.store, 1)[0].body
    assert "leeside dose FILE K1" in body
    bench.judged(molecular_so2=0.7, free_so2=40.0)
    assert bench.turn() == ["BACK TO NORMAL after: K1 molecular SO2 (simple) 0.42 mg/L, below 0.5 mg/L"]


def test_a_total_near_the_law_says_that_it_cannot_be_told_apart(bench: SulfiteBench) -> None:
    bench.lot(sugar_g_l=2.0)
    bench.write("first-filling", "K1", "A1", volume_l=18.0)
    bench.turn()
    near = "cannot be told apart from the legal limit"
    with bench.store.write() as connection:
        at_limit = Judgement("K1", "total_so2", bench.now.utc_ms, 200.0, finding=near)
        keep_judgements(connection, "total", [at_limit])
    bench.turn()
    assert bench.state(TOTAL) == "normal", "exactly the limit is allowed"
    with bench.store.write() as connection:
        keep_judgements(connection, "total", [at_limit._replace(value=206.0, at_ms=bench.now.utc_ms + 1)])
    bench.turn()
    message = recent_messages(bench.store, 1)[0]
    assert message.subject == "LOW PRIORITY: K1 total SO2 206 mg/L, above 200 mg/L"
    assert message.hold == "digest"
    assert f"Finding: {near}." in message.body
    assert "European Union allows 200 mg/L for still rosé or white wine" in message.body
    assert "no legal advice" in message.body


def test_while_malolactic_is_awaited_low_so2_is_as_it_should_be(bench: SulfiteBench) -> None:
    bench.lot(malolactic="wanted")
    bench.write("first-filling", "K1", "A1", volume_l=18.0)
    bench.turn()
    bench.judged(molecular_so2=0.05, free_so2=3.0)
    assert bench.turn() == []
    assert bench.state(LOW) == "suppressed"
    assert bench.why_muted(LOW).startswith("malolactic fermentation is wanted or under way")
    bench.lot(malolactic="under way")
    bench.judged(molecular_so2=0.05, free_so2=120.0)
    assert bench.turn() == [], "the high one is not suppressed, and waits for the digest"
    assert bench.state(FREE) == "unacknowledged"
    bench.lot(malolactic="complete")
    bench.turn()
    bench.judged(molecular_so2=0.05, free_so2=3.0)
    assert "MEDIUM PRIORITY: K1 molecular SO2 (simple) 0.05 mg/L, below 0.5 mg/L" in bench.turn()


def test_a_limit_of_the_file_is_suppressed_by_malolactic_too(tmp_path: Path) -> None:
    own = limit(lot="A1", quantity="free_so2", low="20 mg/L")
    bench = SulfiteBench(tmp_path, own)
    key = "lot A1/free_so2/low/K1"
    bench.lot(malolactic="wanted")
    bench.write("first-filling", "K1", "A1", volume_l=18.0)
    bench.turn()
    bench.judged(free_so2=3.0)
    assert bench.turn() == []
    assert bench.state(key) == "suppressed"
    assert LOW not in bench.watched()
    bench.store.close()


def test_the_limits_go_with_the_wine(bench: SulfiteBench) -> None:
    bench.lot()
    bench.write("first-filling", "K1", "A1", volume_l=18.0)
    bench.turn()
    bench.judged(molecular_so2=0.3)
    bench.turn()
    bench.write("racking", sources=[{"vessel": "K1"}], targets=[{"vessel": "K2"}])
    (gone,) = bench.turn()
    assert "K1 molecular SO2 (simple)" in gone
    assert "the wine that the limit K1/molecular_so2/low is on has left" in recent_messages(bench.store, 1)[0].body
    assert bench.watched() == {key.replace("K1", "K2") for key in (LOW, HIGH, FREE, TOTAL)}
    # Other wine that comes in later begins again, whatever was judged of the one before.
    bench.write("first-filling", "K1", "A1", volume_l=18.0)
    assert bench.turn() == []


def test_a_default_limit_gives_way_to_one_of_the_file_on_the_lot_that_comes_in(tmp_path: Path) -> None:
    bench = SulfiteBench(tmp_path, limit(lot="B2", quantity="molecular_so2", low="0.2 mg/L"))
    bench.lot()
    bench.write("lot", None, "B2", name="B2", style="white")
    bench.write("first-filling", "K1", "A1", volume_l=9.0)
    bench.write("first-filling", "K2", "B2", volume_l=9.0)
    bench.turn()
    bench.judged(molecular_so2=0.3)
    bench.turn()
    bench.write("racking", sources=[{"vessel": "K2"}], targets=[{"vessel": "K1", "blend": True}])
    (gone,) = bench.turn()
    assert "K1 molecular SO2 (simple)" in gone
    body = recent_messages(bench.store, 1)[0].body
    assert f"a limit on the wine that lies there now has taken the place of {LOW}" in body
    assert "lot B2/molecular_so2/low/K1" in bench.watched()
    assert LOW not in bench.watched()
    bench.store.close()


def test_a_limit_shows_on_trial_what_it_would_send(tmp_path: Path) -> None:
    file = tmp_path / "cellar.toml"
    bench = SulfiteBench(tmp_path)
    file.write_text(bench.cellar.text, encoding="utf-8")
    bench.lot()
    bench.write("first-filling", "K1", "A1", volume_l=18.0)
    bench.store.close()
    done = leeside("limits", file, "--try", LOW, "--value", "0.3 mg/L")
    assert done.returncode == 0, done.stderr
    assert "MEDIUM PRIORITY: K1 molecular SO2 (simple) 0.30 mg/L, below 0.5 mg/L" in done.stdout
    listed = leeside("limits", file, "so2").stdout
    assert "above 200 mg/L" in listed.replace("200.0", "200")


def test_a_new_style_is_judged_by_its_own_numbers(bench: SulfiteBench) -> None:
    bench.lot(style="red")
    bench.write("first-filling", "K1", "A1", volume_l=18.0)
    bench.turn()
    bench.judged(molecular_so2=0.45)
    assert bench.turn() == []
    bench.lot(style="sweet")
    bench.turn()
    bench.judged(molecular_so2=0.45)
    assert bench.turn() == ["MEDIUM PRIORITY: K1 molecular SO2 (simple) 0.45 mg/L, below 0.8 mg/L"]
