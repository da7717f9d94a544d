"""When the low limit on SO2 is reached, in words."""

from __future__ import annotations

from datetime import UTC
from pathlib import Path

import pytest
from a_probed_cellar import BEGIN_MS, DAY_MS, ProbedCellar

from alerts.view.so2.so2_lines import so2_lines
from alerts.wine.so2_below import WhenBelow


def days(*ahead: float | None) -> WhenBelow:
    median, low, high, titrate = (None if day is None else BEGIN_MS + round(day * DAY_MS) for day in ahead)
    return WhenBelow(median, low, high, titrate)


@pytest.mark.parametrize(
    ("below", "words"),
    [
        (days(None, None, None, None), "it is not reached within a year"),
        (days(None, None, None, 300), "it is hardly reached within a year; titrate by 5 Aug 2026"),
        (
            days(None, 330, None, 300),
            "reached from 4 Sep 2026 on, more likely not within a year; titrate by 5 Aug 2026",
        ),
        (days(60, 40, 90, 30), "reached about 8 Dec (18 Nov to 7 Jan 2026); titrate by 8 Nov"),
        (days(60, 2, None, 2), "reached about 8 Dec (now to more than a year from then); titrate now"),
        (days(2, 2, 90, 2), "the wine is probably below it; titrate now"),
        (days(2, 2, 2, 2), "the wine is below it"),
    ],
)
def test_when_the_limit_is_reached(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, below: WhenBelow, words: str
) -> None:
    cellar = ProbedCellar(tmp_path)
    cellar.write(1, "measurement", "K1", quantity="pH", value=3.3)
    monkeypatch.setattr("alerts.wine.so2_estimate.when_below", lambda *_: below)
    lines = so2_lines(cellar.so2("K1", 2), UTC)
    assert next(line for line in lines if line.startswith("the low limit is 0.5 mg/L molecular (simple): ")).endswith(
        words
    )
    cellar.store.close()
