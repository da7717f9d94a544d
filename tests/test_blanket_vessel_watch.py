"""The watch over one vessel: what cannot be worked out is said of that vessel, and silences no other."""

from __future__ import annotations

import logging
from pathlib import Path

import pytest
from a_gas_cellar import BEGIN_MS, HOUR, GasCellar, Recorder
from cellar_text import keg, probe, temperature

from alerts.blanket.details import blanket_shown
from alerts.blanket.judge import GasJudge
from alerts.errors import OutOfRange
from alerts.gas.blanket_facts import BlanketFacts, BlanketJudgement, BlanketPoint
from alerts.gas.blanket_watch import BlanketWatch
from alerts.view.gas.blanket_lines import blanket_of

SECOND = (
    keg("K2"),
    probe("k2-pressure", "K2", topic="k2/p"),
    temperature("k2-temperature", "K2", topic="k2/t", mounted="wine"),
)


class Strange(Recorder):
    """A detector that cannot work out a pressure above 60 kPa, nor judge one above 58 kPa."""

    def add(self, point: BlanketPoint) -> None:
        if point.pressure_kpa > 60.0:
            raise ZeroDivisionError("float division by zero")
        super().add(point)

    def judge(self, at_ms: int) -> BlanketJudgement:
        if self.points and self.points[-1].pressure_kpa > 58.0:
            raise OutOfRange("pressure", "59 kPa is too much")
        return super().judge(at_ms)


@pytest.mark.parametrize(("kpa", "why"), [(61.0, "float division by zero"), (59.0, "59 kPa is too much")])
def test_what_cannot_be_worked_out_is_said_of_its_vessel_alone(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, kpa: float, why: str
) -> None:
    cellar = GasCellar(tmp_path, *SECOND)
    cellar.write(0, "first-filling", "K2", "ries", volume_l=18.0)
    judge = GasJudge(Strange)
    for hour, k1_kpa in enumerate((55.0, kpa, 55.0)):
        cellar.run(hour * HOUR, (hour + 1) * HOUR, kpa=k1_kpa)
        for name in ("k2-pressure", "k2-temperature"):
            cellar.read(name, *((hour * HOUR + minute * 60_000, 20.0) for minute in range(60)))
        with caplog.at_level(logging.WARNING):
            rows = cellar.rows((hour + 1) * HOUR + 10_000, judge)
        shown = {place: blanket_shown(rows[place, "compensated_pressure"]) for place in ("K1", "K2")}
        assert shown["K1"] is not None
        assert shown["K2"] is not None
        assert shown["K2"].finding == "sound"
        assert shown["K1"].finding == ("no judgement" if hour == 1 else "sound")
        assert (why in shown["K1"].warnings) is (hour == 1)
    assert [record.message for record in caplog.records] == [f"the gas in K1 cannot be worked out: {why}"]


def test_facts_that_no_detector_takes_are_said_too(tmp_path: Path) -> None:
    def refuse(facts: BlanketFacts, *, later_ms: int, silent_ms: int) -> Recorder:
        raise OutOfRange("wine", "18 L do not go in")

    cellar = GasCellar(tmp_path)
    cellar.run(0, HOUR)
    rows = cellar.rows(HOUR + 10_000, GasJudge(refuse))
    shown = blanket_shown(rows["K1", "compensated_pressure"])
    assert shown is not None
    assert (shown.finding, shown.warnings) == ("no judgement", ("18 L do not go in",))


def test_probes_that_read_every_hour_have_their_gas_judged_between_two_readings(tmp_path: Path) -> None:
    slow = (
        keg("K1"),
        probe("k1-pressure", "K1", every="1 h"),
        temperature("k1-temperature", "K1", mounted="wine", every="1 h"),
    )
    cellar = GasCellar(tmp_path, usual=slow)
    cellar.run(0, 5 * HOUR, every=HOUR)
    found = {}
    for after in (50, 175, 190):
        at = 4 * HOUR + after * 60_000
        shown = blanket_of(cellar.rows(at, GasJudge(BlanketWatch)).values(), round(BEGIN_MS + at))
        assert shown is not None
        found[after] = shown.finding
    assert found == {50: "cannot tell yet", 175: "cannot tell yet", 190: "no judgement"}
