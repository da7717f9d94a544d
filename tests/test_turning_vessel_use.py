"""A turn and the journal: an emptied vessel, and a racking that is under way."""

from __future__ import annotations

from pathlib import Path

import pytest
from cellar_text import limit, temperature
from turning_bench import CELLAR, EPOCH_MS, Bench

from ingest.journal.entry import Draft
from ingest.journal.kinds import parse_body
from ingest.journal.open_rackings import LONGEST_RACKING_MS
from ingest.pulse import BrokerPulse, IngestPulse
from ingest.store.alarms.alarm_record import alarm_rows, transitions
from ingest.store.alarms.messages import recent_messages
from ingest.store.journal.entries import strike, write_entry
from ingest.store.pulse_rows import write_pulse

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
    assert keg.states()["K1/temperature/high"] == "unacknowledged", "racking does not warm a keg"
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
