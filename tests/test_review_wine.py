"""What a review says of the wine itself: how it rested, whether it cleared, whether its temperature was steady."""

from __future__ import annotations

from datetime import UTC
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.review.clarity import clarity_section
from alerts.review.rest import rest_section
from alerts.review.section import ReviewSection
from alerts.review.steadiness import steadiness_section, steady_week
from alerts.review.vessel_facts import HourMeans, VesselFacts, WineSeen
from alerts.watch.due import due_limits
from ingest.cellar import due_rules
from ingest.journal.awaited_work import AwaitedWork
from ingest.journal.contents import Contents
from ingest.journal.open_rackings import OpenRacking

HOUR = 3_600_000
DAY = 24 * HOUR
NOW = 1_795_856_400_000


def wine(*, racked: float | None = 187.0, since: float | None = 187.0, **changes: Any) -> VesselFacts:
    """Make facts of K1; racked, since: days ago."""
    contents = Contents(
        "K1",
        known=True,
        volume_l=18.0,
        capacity_l=19.5,
        headspace_l=1.5,
        style="white",
        since_ms=None if since is None else NOW - round(since * DAY),
        last_racking_ms=None if racked is None else NOW - round(racked * DAY),
    )
    return VesselFacts(**{"vessel": "K1", "kind": "keg", "at_ms": NOW, "zone": UTC, "contents": contents, **changes})


def due(work: str, days_ago: float, *, is_done: bool = True) -> Any:
    awaited = AwaitedWork(work, "K1", "keg", NOW - round(days_ago * DAY), is_done, lot="R26")
    return next(iter(due_limits(due_rules(()), [awaited]).values()))


# ---- since the last racking -----------------------------------------------------------------------------------------


def test_a_racking_that_is_due() -> None:
    """The default is 183 days, four to six months in Bordeaux practice."""
    found = rest_section(wine(due=(due("racking", 187.0),)), bottling=False)
    assert found.verdict == "in order"
    assert found.reason == (
        "The wine was racked into K1 on 25 May, 187 days ago. Racking is due since 24 Nov, 183 d after it."
    )
    assert (found.numbers["days"], found.numbers["racking_due"]) == (187, "2026-11-24T09:00:00.000Z")


def test_a_racking_that_is_not_due_yet() -> None:
    found = rest_section(wine(racked=100.0, due=(due("racking", 100.0),)), bottling=False)
    assert (found.verdict, "Racking falls due on 19 Feb" in found.reason) == ("in order", True)


def test_a_second_racking_soon_after_the_first_asks_for_a_reason() -> None:
    soon = wine(racked=12.0)
    assert rest_section(soon, bottling=False).verdict == "take care"
    assert "1 to 5 mg/L of oxygen" in rest_section(soon, bottling=False).reason
    # A bottling soon after a racking is usual.
    assert rest_section(soon, bottling=True).verdict == "in order"


def test_wine_that_was_filled_and_never_racked() -> None:
    found = rest_section(wine(racked=None, since=12.0), bottling=False)
    assert (found.verdict, found.reason) == ("in order", "The wine was filled into K1 on 16 Nov, 12 days ago.")


def test_what_else_is_due_and_what_was_begun() -> None:
    begun = OpenRacking(7, NOW - 2 * DAY, "Ana", ("K1",), ("K1", "K2"))
    works = (due("titration", 35.0), due("pH", 110.0), due("racking", 100.0))
    found = rest_section(wine(due=works, begun=(begun,)), bottling=False)
    assert found.verdict == "take care"
    assert found.lines[0].startswith("racking no. 7 from K1, begun 2 d ago by Ana, is not finished")
    assert found.lines[1] == "titration of lot R26 (K1) due since 24 Nov: last titrated 24 Oct"
    assert found.lines[2] == "pH falls due on 8 Dec"


def test_a_filling_that_nobody_wrote_down() -> None:
    found = rest_section(wine(racked=None, since=None), bottling=False)
    assert (found.verdict, found.numbers["days"]) == ("not known", None)
    assert "leeside enter first-filling" in found.reason


# ---- clarity and lees -----------------------------------------------------------------------------------------------


def looked(*seen: WineSeen, bottling: bool = False, style: str = "white") -> ReviewSection:
    facts = wine(seen=seen)
    contents = Contents("K1", known=True, volume_l=18.0, style=style)
    return clarity_section(VesselFacts(**{**_fields(facts), "contents": contents}), bottling=bottling)


def _fields(facts: VesselFacts) -> dict[str, Any]:
    return {name: getattr(facts, name) for name in VesselFacts.__dataclass_fields__}


def test_wine_that_cleared() -> None:
    found = looked(
        WineSeen(NOW - 47 * DAY, "hazy", None, 4.0, "", False),
        WineSeen(NOW - 6 * DAY, "clear", None, 6.0, "bread", False),
    )
    assert found.verdict == "in order"
    assert found.reason == (
        "On 22 Nov: clear, 6 mm of lees, no film, smells of bread. Since 12 Oct: cleared, from hazy to clear, lees "
        "from 4 to 6 mm."
    )
    assert "On 12 Oct: hazy, 4 mm of lees, no film" in found.lines
    assert any(line.startswith("Leave the 6 mm of lees behind") for line in found.lines)
    assert found.numbers["changes"] == ["cleared, from hazy to clear", "lees from 4 to 6 mm"]


@pytest.mark.parametrize(
    ("seen", "racking", "bottling"),
    [
        (WineSeen(NOW - DAY, "bright"), "in order", "in order"),
        (WineSeen(NOW - DAY, "clear"), "in order", "in order"),
        (WineSeen(NOW - DAY, "hazy"), "take care", "take care"),
        (WineSeen(NOW - DAY, "cloudy"), "take care", "do not"),
        (WineSeen(NOW - DAY, "clear", film=True), "take care", "do not"),
        (WineSeen(NOW - DAY, "bright", lees_mm=4.0), "in order", "take care"),
        (WineSeen(NOW - DAY, "bright", lees_mm=0.0), "in order", "in order"),
        (WineSeen(NOW - DAY, lees_mm=3.0), "not known", "take care"),
        (WineSeen(NOW - 40 * DAY, "bright"), "not known", "not known"),
    ],
)
def test_what_was_seen_last_decides(seen: WineSeen, racking: str, bottling: str) -> None:
    assert looked(seen).verdict == racking
    assert looked(seen, bottling=True).verdict == bottling


@pytest.mark.parametrize(
    ("ntu", "style", "look"),
    [
        (1.0, "white", "bright"),
        (1.5, "white", "clear"),
        (5.0, "white", "cloudy"),
        (1.5, "red", "bright"),
        (5.0, "red", "clear"),
    ],
)
def test_turbidity_stands_in_for_a_word(ntu: float, style: str, look: str) -> None:
    """Handbook of Enology: white is bright to 1.1 NTU and cloudy above 4.4, red 2.0 and 8.0 (from memory)."""
    assert looked(WineSeen(NOW - DAY, turbidity_ntu=ntu), style=style).numbers["look"] == look


def test_nobody_looked() -> None:
    found = looked()
    assert (found.verdict, "leeside enter inspection FILE --vessel K1" in found.reason) == ("not known", True)


# ---- temperature ----------------------------------------------------------------------------------------------------


def hours(values: Any, *, mounted: str = "wall") -> HourMeans:
    """Make the hours that end at NOW."""
    mean = np.asarray(values, np.float64)
    from_ms = NOW // HOUR * HOUR - HOUR * np.arange(len(mean), 0, -1, dtype=np.int64)
    return HourMeans("k1-temperature", mounted, from_ms, mean)


def swinging(swing_k: float, *, days: int = 28) -> Any:
    return 12.0 + swing_k / 2.0 * np.sin(2.0 * np.pi * np.arange(24 * days) / 24.0)


@pytest.mark.parametrize(
    ("values", "mounted", "verdict"),
    [
        (swinging(0.6), "wall", "in order"),
        (swinging(1.9), "wine", "in order"),
        (swinging(2.1), "wall", "take care"),
        (swinging(4.0), "air", "not known"),
        (12.0 + np.linspace(0.0, 8.0, 24 * 28), "wine", "in order"),
        (12.0 + np.linspace(0.0, 16.0, 24 * 28), "wine", "take care"),
        (swinging(0.6, days=3), "wall", "not known"),
    ],
)
def test_steady_is_two_degrees_a_day_and_from_day_to_day(values: Any, mounted: str, verdict: str) -> None:
    found = steadiness_section(wine(temperature=hours(values, mounted=mounted)))
    assert found.verdict == verdict, found.reason
    assert any("common practice, no source" in line for line in found.lines)


def test_wine_that_was_stirred_lately() -> None:
    found = steadiness_section(wine(temperature=hours(swinging(0.6)), disturbed=("addition", NOW - 2 * DAY)))
    assert (found.verdict, "It was dosed on 26 Nov" in found.reason) == ("take care", True)
    rested = steadiness_section(wine(temperature=hours(swinging(0.6)), disturbed=("topping", NOW - 4 * DAY)))
    assert (rested.verdict, rested.lines[1]) == (
        "in order",
        "last topped up on 24 Nov: the wine has stood for 4 d since",
    )


def test_no_temperature() -> None:
    old = HourMeans("k1-temperature", "wall", np.array([NOW - 20 * DAY], np.int64), np.array([12.0]))
    for known in (None, old):
        found = steadiness_section(wine(temperature=known))
        assert (found.verdict, found.numbers["steady"]) == ("not known", None)
        assert "leeside enter measurement" in found.reason


def test_american_units() -> None:
    found = steadiness_section(wine(temperature=hours(swinging(1.0)), units="us"))
    assert "swung by at most 1.8 °F" in found.reason
    assert found.numbers["largest_swing_k"] == pytest.approx(1.0, abs=0.02)


@given(
    st.lists(st.floats(-5.0, 40.0) | st.just(float("nan")), min_size=1, max_size=400),
)
def test_a_week_is_never_colder_than_its_coldest_hour(values: list[float]) -> None:
    week = steady_week(hours(values), NOW)
    if week is None:
        return
    assert 1 <= week.days <= 7
    assert week.low_c - 1e-9 <= week.mean_c <= week.high_c + 1e-9
    assert 0.0 <= week.largest_swing_k <= week.high_c - week.low_c + 1e-9
    assert 0.0 <= week.drift_k <= week.high_c - week.low_c + 1e-9
