"""Limits on wine while leeside runs: they go with the wine when the journal says so."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cellar_text import KEG, MQTT, keg, limit, mail, site, temperature
from turning_bench import EPOCH_MS, Bench

from alerts.limits.limits_now import limits_now
from alerts.watch.applied_limits import LEFT_NOTE, REPLACED_NOTE
from ingest.journal.entry import Draft
from ingest.journal.kinds import parse_body
from ingest.store.alarms.alarm_record import alarm_rows, transitions
from ingest.store.alarms.messages import recent_messages
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entries import write_entry

WARM = limit(
    lot="A1",
    quantity="temperature",
    high="18 °C",
    deadband="0.5 °C",
    on_delay="20 s",
    off_delay="0 s",
    consequence="It ages.",
    action="Cool it.",
)
FILE = "\n".join(
    (
        site(waking="00:00-23:59"),
        MQTT,
        KEG,
        keg("K2"),
        temperature(every="10 s"),
        temperature("k2-temperature", at="K2", topic="k2/t", every="10 s"),
        WARM,
        mail(),
    )
)
AT_K1, AT_K2 = "lot A1/temperature/high/K1", "lot A1/temperature/high/K2"


class LotBench(Bench):
    """Kegs K1 and K2 with a temperature probe each, a limit on lot A1, and a journal."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder, FILE)
        keep_cellar_file(self.store, self.cellar.text, EPOCH_MS)

    def write(self, kind: str, place: str | None = None, lot: str | None = None, **said: Any) -> None:
        draft = Draft(kind, self.now.utc_ms, "Ana", parse_body(kind, said), place, lot)
        write_entry(self.store, draft, self.cellar, self.now.utc_ms)

    def rack(self) -> None:
        self.write("racking", sources=[{"vessel": "K1"}], targets=[{"vessel": "K2"}])

    def run(self, seconds: int, k1: float, k2: float) -> None:
        """Read both kegs every ten seconds."""
        for _ in range(seconds // 10):
            for probe, value in (("k1-temperature", k1), ("k2-temperature", k2)):
                self.appender.append([(self.series[probe], self.now.utc_ms, value, 0)])
            self.ingest_lives()
            self.turn(10.0)

    def states(self) -> dict[str, str]:
        return {row.key: row.state for row in alarm_rows(self.store) if row.key.startswith("lot ")}

    def mails(self) -> list[str]:
        return [row.subject for row in reversed(recent_messages(self.store, 100))]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[LotBench]:
    made = LotBench(tmp_path)
    yield made
    made.store.close()


def _fill(bench: LotBench, vessel: str = "K1") -> None:
    bench.write("lot", None, "A1", name="Merlot", style="red")
    bench.write("first-filling", vessel, "A1", volume_l=18.0)


def test_before_the_wine_is_written_down_its_limit_is_nowhere(bench: LotBench) -> None:
    bench.run(60, 20.0, 20.0)
    assert bench.states() == {}
    _fill(bench)
    bench.run(60, 20.0, 20.0)
    assert bench.states() == {AT_K1: "unacknowledged"}
    assert bench.mails() == ["MEDIUM PRIORITY: K1 temperature 20.0 °C, above 18 °C"]


def test_a_racking_takes_the_limit_along_without_a_mail(bench: LotBench) -> None:
    _fill(bench)
    bench.run(60, 15.0, 20.0)
    bench.rack()
    bench.run(10, 15.0, 20.0)
    assert bench.states() == {AT_K2: "normal"}
    assert bench.mails() == []
    # The on-delay has its whole time where the wine lies now.
    bench.run(30, 15.0, 20.0)
    assert bench.states() == {AT_K2: "unacknowledged"}
    assert bench.mails() == ["MEDIUM PRIORITY: K2 temperature 20.0 °C, above 18 °C"]


def test_an_open_alarm_closes_with_one_mail_when_the_wine_leaves(bench: LotBench) -> None:
    _fill(bench)
    bench.run(60, 20.0, 15.0)
    bench.send()
    bench.rack()
    bench.run(60, 20.0, 15.0)
    assert bench.states() == {AT_K2: "normal"}
    assert bench.mails() == [
        "MEDIUM PRIORITY: K1 temperature 20.0 °C, above 18 °C",
        "WINE HAS LEFT after: K1 temperature 20.0 °C, above 18 °C",
    ]
    body = recent_messages(bench.store, 1)[0].body
    assert body.startswith(f"K1: the wine that the limit {AT_K1} is on has left.\nIts alarm ")
    assert "Where the wine lies now, the limit is judged by the probes there" in body
    last = [row for row in transitions(bench.store) if row.key == AT_K1][-1]
    assert (last.event, last.to_state, last.note) == ("limit removed", "normal", LEFT_NOTE)


def test_a_racking_while_leeside_is_off_is_no_limit_removed(bench: LotBench) -> None:
    _fill(bench)
    bench.run(60, 20.0, 15.0)
    bench.send()
    bench.rack()
    bench.restart()
    bench.run(30, 20.0, 15.0)
    assert bench.mails()[1:] == ["WINE HAS LEFT after: K1 temperature 20.0 °C, above 18 °C"]
    assert bench.states() == {AT_K2: "normal"}


def test_a_limit_that_left_the_file_is_called_so(bench: LotBench) -> None:
    _fill(bench)
    bench.run(60, 20.0, 15.0)
    bench.send()
    bench.restart(FILE.replace(WARM, ""))
    bench.run(10, 20.0, 15.0)
    assert bench.mails()[1:] == ["LIMIT REMOVED: K1 temperature 20.0 °C, above 18 °C"]


def test_a_default_limit_whose_alarm_is_open_gives_way_to_the_wines_own(bench: LotBench) -> None:
    bench.run(3700, 15.0, 25.0)
    assert bench.mails() == ["MEDIUM PRIORITY: K2 temperature 25.0 °C, above 24 °C"]
    bench.send()
    bench.restart(FILE.replace('high = "18 °C"', 'high = "28 °C"'))
    _fill(bench, "K2")
    bench.run(30, 15.0, 25.0)
    assert bench.mails()[1:] == ["LIMIT REMOVED: K2 temperature 25.0 °C, above 24 °C"]
    last = [row for row in transitions(bench.store) if row.key == "K2/temperature/heat"][-1]
    assert last.note == REPLACED_NOTE


def test_commands_list_the_limits_where_the_wine_lies(bench: LotBench) -> None:
    _fill(bench)
    with bench.store.read():
        limits = limits_now(bench.cellar, bench.store, bench.now.utc_ms)
    assert AT_K1 in limits
    assert AT_K2 not in limits
    bench.second += 1
    bench.rack()
    with bench.store.read():
        limits = limits_now(bench.cellar, bench.store, bench.now.utc_ms)
    assert AT_K2 in limits
    assert AT_K1 not in limits
