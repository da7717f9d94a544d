"""Limits on the gas over a wine at work: cold raises no alarm of its own, and a leak raises one, the worst."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cellar_text import KEG, MQTT, SITE, mail, probe, temperature
from test_view_blanket import a_leak

from alerts.blanket.details import blanket_details
from alerts.turning.turner import Turner
from alerts.watch.journal_suppression import COMPENSATED_NOTE
from alerts.watch.turn_inputs import Now
from ingest.cellar import NOT_FORESEEN_H, Cellar, parse_cellar
from ingest.judgement import Judgement
from ingest.probes.binding import declarations
from ingest.store import Store, create_or_open
from ingest.store.alarms.alarm_record import alarm_rows, transitions
from ingest.store.alarms.messages import due_messages, mark_sent
from ingest.store.judgements import keep_judgements
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

# 7 September 2026, noon in Ljubljana.
BEGIN = 1_788_775_200_000


class Cellarhand:
    """A keg with probes of pressure and temperature, judged as the test says; time goes on by the minute."""

    def __init__(self, folder: Path) -> None:
        text = "\n".join((SITE, MQTT, KEG, probe(), temperature(), mail()))
        self.cellar: Cellar = parse_cellar(text, file="cellar.toml", base=folder)
        self.store: Store = create_or_open(self.cellar.store_path, BEGIN)
        self.minute = 0
        self.turner = Turner(self.cellar, self.store, self.now)
        self.series = declare(self.store, declarations(self.cellar), BEGIN)["k1-pressure"]

    @property
    def now(self) -> Now:
        return Now(BEGIN + self.minute * 60_000, 1000.0 + 60.0 * self.minute, "boot")

    def minutes(self, count: int, gauge_kpa: float, **judged: Any) -> list[str]:
        """Let time go on with this gauge and this judgement; give the subjects of the mails about the keg's gas."""
        for _ in range(count):
            self.minute += 1
            Appender(self.store).append([(self.series, self.now.utc_ms - 1000, gauge_kpa, 0)])
            if judged:
                with self.store.write() as connection:
                    keep_judgements(connection, "gas", self._rows(gauge_kpa, **judged))
            self.turner.turn(self.now)
        rows = due_messages(self.store, self.now.utc_ms)
        for row in rows:
            mark_sent(self.store, row.id, self.now.utc_ms)
        return [row.subject for row in rows if "K1" in row.subject and "temperature" not in row.subject]

    def _rows(
        self,
        gauge_kpa: float,
        finding: str = "sound",
        compensated_kpa: float | None = 30.0,
        leak_ml_min: float | None = 0.0,
        hours: float = NOT_FORESEEN_H,
        cold_hours: float = NOT_FORESEEN_H,
    ) -> list[Judgement]:
        at_ms = self.now.utc_ms - 1000
        is_leak = finding in ("slow leak", "fast leak")
        shown = a_leak(
            at_ms=at_ms,
            finding=finding,
            raw_kpa=gauge_kpa,
            compensated_kpa=compensated_kpa,
            leak_certain=is_leak,
            hours_low=hours,
            hours_high=hours,
        )
        details = blanket_details(shown)
        return [
            Judgement("K1", "compensated_pressure", at_ms, compensated_kpa, finding=finding, details=details),
            Judgement("K1", "leak_rate", at_ms, leak_ml_min, finding=finding),
            Judgement("K1", "hours_to_air_floor", at_ms, hours, finding=finding),
            Judgement("K1", "hours_to_air_floor_by_cold", at_ms, cold_hours, finding=finding),
        ]

    def state(self, key: str) -> str:
        return next(row.state for row in alarm_rows(self.store) if row.key == f"K1/{key}")


@pytest.fixture
def hand(tmp_path: Path) -> Iterator[Cellarhand]:
    cellarhand = Cellarhand(tmp_path)
    yield cellarhand
    cellarhand.store.close()


def test_a_cold_night_raises_no_alarm(hand: Cellarhand) -> None:
    assert hand.minutes(30, 26.0, finding="sound") == []
    assert hand.minutes(60, 14.0, finding="cooling") == []
    assert hand.state("pressure/care") == "suppressed"
    steps = [row for row in transitions(hand.store) if row.key == "K1/pressure/care"]
    assert [step.note for step in steps] == [COMPENSATED_NOTE]
    assert hand.minutes(30, 26.0, finding="warming") == []


def test_without_a_judgement_the_gauge_is_watched_as_before(hand: Cellarhand) -> None:
    assert hand.minutes(15, 14.0) == ["MEDIUM PRIORITY: K1 pressure 14.0 kPa, below 20 kPa"]


def test_a_judgement_that_grows_old_leaves_the_gauge_to_speak(hand: Cellarhand) -> None:
    assert hand.minutes(5, 14.0, finding="cooling") == []
    assert hand.minutes(50, 14.0) == ["MEDIUM PRIORITY: K1 pressure 14.0 kPa, below 20 kPa"]
    assert hand.minutes(30, 14.0, finding="no judgement", compensated_kpa=None) == []


def test_a_night_that_brings_the_gauge_under_the_floor_is_one_alarm(hand: Cellarhand) -> None:
    assert hand.minutes(20, 8.0, finding="cooling", cold_hours=5.0) == [
        "MEDIUM PRIORITY: K1 falls below the air floor by cold in 5 hours"
    ]
    assert hand.minutes(20, 4.0, finding="cooling", cold_hours=1.0) == [
        "HIGH PRIORITY: K1 pressure 4.0 kPa, below 5 kPa"
    ]
    assert hand.state("hours_to_air_floor_by_cold/low") == "suppressed"
    (back,) = hand.minutes(5, 9.0, finding="warming", cold_hours=20.0)
    assert back.startswith("IMPROVED at 9.0 kPa after: K1 pressure 4.0 kPa")


def test_a_leak_is_one_alarm_that_gets_worse(hand: Cellarhand) -> None:
    slow = {"finding": "slow leak", "compensated_kpa": 15.0, "leak_ml_min": 0.4}
    assert hand.minutes(20, 15.0, **slow, hours=30.0) == ["MEDIUM PRIORITY: K1 loses gas, at least 0.40 mL a minute"]
    for key in ("hours_to_air_floor/low", "compensated_pressure/care", "pressure/care"):
        assert hand.state(key) == "suppressed", key
    assert hand.minutes(20, 12.0, **slow, hours=8.0) == ["HIGH PRIORITY: K1 loses its blanket, at least 8 hours left"]
    assert hand.minutes(5, 4.0, **slow, hours=0.0) == ["HIGH PRIORITY: K1 pressure 4.0 kPa, below 5 kPa"]
    # Charged again: nothing is known until the gas was found sound.
    told = hand.minutes(5, 30.0, finding="cannot tell yet", compensated_kpa=None, leak_ml_min=None)
    assert [subject.split(" at ")[0] for subject in told] == ["IMPROVED"]
    told = hand.minutes(20, 30.0, finding="sound")
    assert [subject.split(":")[0] for subject in told] == ["BACK TO NORMAL after", "BACK TO NORMAL after"]
    assert {hand.state(key) for key in ("hours_to_air_floor/soon", "pressure/air")} == {"returned"}
    assert hand.state("leak_rate/high") == "normal", "it was suppressed when it ended"
