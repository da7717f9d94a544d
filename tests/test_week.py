"""A week of the simulated cellar, and every message that it sends: at most eight besides digests, each right.

``PYTHONPATH=tests python tests/test_week.py`` prints them whole.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Final, NamedTuple

import pytest
from week_cellar import Letter, WeekCellar, at

from alerts.message.digest import DIGEST
from ingest.simulation.cellar import LidLifts, Recharge, Reseat, SlowLeak, Tap
from ingest.store.alarms.alarm_record import alarm_rows

DAY_S = 86_400.0


def planned_week(folder: Path) -> WeekCellar:
    """What happens from Monday to Sunday."""
    week = WeekCellar(folder)
    _before(week)
    _samples(week)
    _looks_at_airlocks(week)
    _slow_leak(week)
    _loose_contact(week)
    _racking(week)
    _broker_outage(week)
    _fast_leak(week)
    _power_cut(week)
    return week


def _before(week: WeekCellar) -> None:
    """The journal of the weeks before, and the hours at which Ana reads her mail."""
    filled = 28 * DAY_S
    for lot, style in (("M25", "white"), ("R25", "red")):
        week.enter("lot", lot=lot, ago_s=filled, name=lot, style=style, vintage=2025, alcohol_percent_vol=12.5)
        week.enter("measurement", None, lot, ago_s=14 * DAY_S, quantity="pH", value=3.4)
    for vessel, lot, volume_l in (
        ("K1", "M25", 19.0),
        ("K2", "M25", 17.5),
        ("K3", "R25", 9.5),
        ("C1", "M25", 22.7),
        ("C2", "R25", 22.7),
    ):
        week.enter("first-filling", vessel, lot, ago_s=filled, volume_l=volume_l)
    week.enter("vessel-status", "K4", ago_s=filled, status="emptied")
    for carboy in ("C1", "C2"):
        week.enter("topping", carboy, ago_s=10 * DAY_S, volume_l=0.1, lot="M25" if carboy == "C1" else "R25")
        week.enter("vessel-status", carboy, ago_s=2.5 * DAY_S, airlock_liquid_seen=True)
    for day in range(1, 8):
        week.plan(at(day, "07:30"), week.acknowledge_all)
        week.plan(at(day, "20:00"), week.acknowledge_all)


def _samples(week: WeekCellar) -> None:
    """60 mL from each keg; its little headspace lets the pressure of K1 fall by 17 kPa. K3 is never titrated."""
    for vessel, day in (("K1", 1), ("K2", 1), ("K3", 2)):
        when = at(day, "10:15")
        week.plan_deed(when, Tap(vessel, 0.06))
        week.plan(when + 300.0, partial(week.enter, "sample", vessel, volume_l=0.06, purpose="titration"))
        if vessel != "K3":
            result = partial(week.enter, "titration", vessel, quantity="free", method="elsewhere", so2_mg_l=28.0)
            week.plan(when + 3600.0, result)


def _looks_at_airlocks(week: WeekCellar) -> None:
    """The weekly look at both airlocks is due on Friday noon and done on Saturday."""
    for carboy in ("C1", "C2"):
        week.plan(at(6, "11:00"), partial(week.enter, "vessel-status", carboy, airlock_liquid_seen=True))


def _slow_leak(week: WeekCellar) -> None:
    """A seal of K2 that was not greased. It is found in an hour or so, and mended two days later."""
    week.plan_deed(at(1, "12:00"), SlowLeak("K2", to_kpa=22.0, within_s=1.4 * DAY_S))
    week.plan_deed(at(3, "08:30"), Reseat("K2"), Recharge("K2", "N2", purges=1))
    week.plan(at(3, "08:40"), partial(week.enter, "gas", "K2", act="charged", pressure_kpa=55.0, cylinder="N2"))


def _loose_contact(week: WeekCellar) -> None:
    """The cylinder is just above its limit, which has no delay, and one night its gauge has a loose contact."""
    n2 = week.physics.cylinders["N2"]

    def used() -> None:
        n2.take(n2.moles * (1.0 - (2_060.0 + n2.station_kpa) / (n2.pressure_kpa + n2.station_kpa)))

    def changed() -> None:
        n2.moles *= 7.0

    week.plan(at(1, "20:00"), used)
    week.plan(at(2, "02:00"), partial(week.loose.update, {"n2-pressure": 0.8}))
    week.plan(at(2, "03:30"), week.loose.clear)
    week.plan(at(2, "09:00"), changed)


def _racking(week: WeekCellar) -> None:
    """K3 is racked to K4: opened, drained, the other brought to pressure; the entry follows."""
    begun: list[int] = []
    k3, k4 = week.physics.vessels["K3"], week.physics.vessels["K4"]

    def opened() -> None:
        k3.charge(k3.moles_to_reach(0.0))

    def drained() -> None:
        litres = k3.wine_20c_l - 0.2
        k3.draw(litres)
        k4.wine_20c_l += litres
        for vessel in (k3, k4):
            vessel.charge(vessel.moles_to_reach(0.0))

    def begin() -> None:
        begun.append(week.enter("racking", sources=[{"vessel": "K3"}], targets=[{"vessel": "K4"}], stage="begun"))

    def finish() -> None:
        week.enter(
            "racking",
            sources=[{"vessel": "K3", "emptied": True}],
            targets=[{"vessel": "K4", "volume_l": 9.2}],
            lees_l=0.2,
            begun=begun[0],
        )

    week.plan(at(3, "10:00"), begin)
    week.plan(at(3, "10:10"), opened)
    week.plan(at(3, "10:40"), drained)
    week.plan_deed(at(3, "11:10"), Recharge("K4", "N2", purges=3))
    week.plan(at(3, "11:40"), finish)
    week.watch_closely(at(3, "09:50"), at(3, "12:00"))


def _broker_outage(week: WeekCellar) -> None:
    """The broker is away for three hours of the night; what the probes sent comes at once afterwards."""

    def goes() -> None:
        week.broker_up = False

    def comes() -> None:
        week.broker_up = True

    week.plan(at(4, "01:00"), goes)
    week.plan(at(4, "04:00"), comes)
    week.watch_closely(at(4, "00:55"), at(4, "01:10"))
    week.watch_closely(at(4, "03:55"), at(4, "04:20"))


def _fast_leak(week: WeekCellar) -> None:
    """The lid of K4 sits badly since the racking and comes off at night."""
    week.plan_deed(at(6, "02:30"), LidLifts("K4", within_s=300.0))
    week.plan(at(6, "02:50"), week.acknowledge_all)
    week.plan_deed(at(6, "03:15"), Reseat("K4"), Recharge("K4", "N2", purges=3))
    week.plan(at(6, "09:00"), partial(week.enter, "gas", "K4", act="charged", pressure_kpa=55.0, cylinder="N2"))
    week.watch_closely(at(6, "02:25"), at(6, "03:30"))


def _power_cut(week: WeekCellar) -> None:
    """A fuse of the barn."""

    def goes() -> None:
        week.barn_powered = False

    def comes() -> None:
        week.barn_powered = True

    week.plan(at(7, "13:00"), goes)
    week.plan(at(7, "13:40"), comes)
    week.watch_closely(at(7, "12:58"), at(7, "13:50"))


class Expected(NamedTuple):
    """A message that must come. subject: how it begins; words: what its text must have."""

    subject: str
    from_s: float
    to_s: float
    words: str

    def is_met_by(self, letter: Letter) -> bool:
        """Whether this is that message."""
        return (
            letter.subject.startswith(self.subject)
            and self.from_s <= letter.at_s <= self.to_s
            and self.words in letter.body
        )


EXPECTED: Final = (
    Expected("CAME AND WENT: N2 pressure, again and again", at(2, "07:00"), at(2, "07:01"), "has been calm for 30 min"),
    Expected("MEDIUM PRIORITY: K2 loses gas, at least 0.", at(1, "12:20"), at(1, "18:00"), "Finding:     slow leak"),
    Expected("BACK TO NORMAL after: K2 loses gas", at(3, "08:40"), at(4, "07:01"), "K2: no gas is lost any more."),
    Expected("CAME AND WENT: leeside broker", at(4, "07:00"), at(4, "07:01"), "the broker responds again"),
    Expected("HIGH PRIORITY: K4 pressure", at(6, "02:34"), at(6, "02:38"), "air can reach the wine"),
    Expected("BACK TO NORMAL at 55.0 kPa after: K4 pressure", at(6, "03:15"), at(6, "03:17"), "K4: pressure has"),
    Expected("MEDIUM PRIORITY: leeside room barn", at(7, "13:02"), at(7, "13:04"), "c1-temperature, c1-pressure, c2-"),
    Expected("BACK TO NORMAL after: leeside room barn", at(7, "13:40"), at(7, "13:42"), "room barn is heard again"),
)
"""Every message of the week, besides the digests."""

DIGESTS: Final = (
    Expected(
        "DIGEST of Mill Lane cellar, 2 things", at(4, "07:00"), at(4, "07:01"), "titration of lot R25 (K4) is due"
    ),
    Expected("DIGEST of Mill Lane cellar, 2 things", at(6, "07:00"), at(6, "07:01"), "airlock check of C2 is due"),
    Expected("DIGEST of Mill Lane cellar, 2 over", at(7, "07:00"), at(7, "07:01"), "Airlock check of C1: last looked"),
)

RAISED: Final = {
    "N2/pressure/low": (at(2, "02:00"), at(2, "03:31")),
    "K2/leak_rate/high": (at(1, "12:20"), at(1, "18:00")),
    "leeside/broker": (at(4, "01:01"), at(4, "01:03")),
    "K4/pressure/air": (at(6, "02:34"), at(6, "02:38")),
    "M25/titration": (at(4, "00:00"), at(4, "00:01")),
    "R25/titration": (at(4, "00:00"), at(4, "00:01")),
    "C1/airlock": (at(5, "12:00"), at(5, "12:01")),
    "C2/airlock": (at(5, "12:00"), at(5, "12:01")),
    "leeside/room barn": (at(7, "13:02"), at(7, "13:04")),
}
"""Every limit that raised an alarm, and when it may."""


def report(letters: Sequence[Letter]) -> str:
    """The messages of the week, a line for each."""
    return "\n".join(f"{letter.when}  {letter.subject}" for letter in letters)


@pytest.mark.whole
def test_a_week_sends_few_messages_and_each_is_right(tmp_path: Path) -> None:
    week = planned_week(tmp_path)
    week.run(7 * DAY_S)
    shown = report(week.letters)
    print(shown)
    every = (*EXPECTED, *DIGESTS)
    for expected in every:
        assert sum(map(expected.is_met_by, week.letters)) == 1, f"{expected}\n\n{shown}"
    surprises = [letter for letter in week.letters if not any(expected.is_met_by(letter) for expected in every)]
    assert not surprises, f"{surprises[0].body}\n\n{shown}"
    assert sum(letter.occasion != DIGEST for letter in week.letters) <= 8
    for at_s, key in week.raised():
        begin_s, end_s = RAISED.get(key, (0.0, 0.0))
        assert begin_s <= at_s <= end_s, f"{key} at {at_s} s\n\n{shown}"
    _really_happened(week)


def _really_happened(week: WeekCellar) -> None:
    """What gave no message was there all the same."""
    low_c, high_c = week.extremes["cellar-temperature"]
    assert high_c - low_c > 6.0
    low_kpa, high_kpa = week.extremes["k1-pressure"]
    assert 20.0 < low_kpa < 45.0, "the sample and cold nights move the gauge of K1, and it passes no floor"
    assert high_kpa > 54.0
    assert week.extremes["k3-pressure"][0] < 0.1, "K3 was opened for the racking, and no alarm came"
    assert week.stored() == week.sent, "what the broker had kept is all there"
    standing = {row.key for row in alarm_rows(week.store) if row.state not in ("normal", "suppressed")}
    assert standing == {"M25/titration", "R25/titration"}, "at the end all is well, but nobody has titrated yet"


def main() -> None:
    """Print the messages of the week."""
    with tempfile.TemporaryDirectory(dir="/dev/shm") as folder:
        week = planned_week(Path(folder))
        week.run(7 * DAY_S)
        for letter in week.letters:
            print(f"{'=' * 100}\n{letter.when}  {letter.subject}\n\n{letter.body}")
        print(report(week.letters))


if __name__ == "__main__":
    main()
