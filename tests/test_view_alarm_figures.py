"""Figures of alarms: each number from a record of which a person can see what it must be."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import pytest
from a_cellar_on_disk import LOW, NOW, CellarOnDisk
from hypothesis import given
from hypothesis import strategies as st
from running import leeside

from alerts.view.alarms.alarm_figures import AlarmFigures, alarm_figures
from alerts.view.alarms.figure_lines import TARGETS, figure_lines, figures_json
from alerts.watch.alarm_table import AlarmEvent, State
from ingest.process import wall_ms
from ingest.store.alarms.alarm_record import TransitionRow, add_transition
from ingest.store.cellar_files import keep_cellar_file

ZONE: Final = ZoneInfo("Europe/Ljubljana")
BEGIN: Final = 1_795_000_000_000
MINUTE: Final = 60_000
HOUR: Final = 60 * MINUTE
DAY: Final = 24 * HOUR
PRIORITIES: Final = {"K1/pressure/low": "high", "K2/temperature/high": "medium"}
KEY: Final = "K1/pressure/low"


def step(at_ms: int, event: str, before: State, after: State, key: str = KEY) -> TransitionRow:
    return TransitionRow(at_ms, key, "a2b", event, before, after, 1.0, "", "")


def raised(at_ms: int, key: str = KEY, before: State = State.NORMAL) -> TransitionRow:
    return step(at_ms, AlarmEvent.BEGAN, before, State.UNACKNOWLEDGED, key)


def returned(at_ms: int, key: str = KEY) -> TransitionRow:
    return step(at_ms, AlarmEvent.ENDED, State.UNACKNOWLEDGED, State.RETURNED, key)


def seen(at_ms: int, before: State = State.UNACKNOWLEDGED, key: str = KEY) -> TransitionRow:
    after = State.NORMAL if before is State.RETURNED else State.ACKNOWLEDGED
    return step(at_ms, AlarmEvent.ACKNOWLEDGE, before, after, key)


def over(at_ms: int, key: str = KEY) -> TransitionRow:
    return step(at_ms, AlarmEvent.ENDED, State.ACKNOWLEDGED, State.NORMAL, key)


def figures(*steps: TransitionRow, days: float = 10.0, from_ms: int = BEGIN) -> AlarmFigures:
    return alarm_figures(sorted(steps), PRIORITIES, from_ms, from_ms + round(days * DAY), ZONE)


def test_alarms_are_counted_by_day_limit_and_priority() -> None:
    warm = "K2/temperature/high"
    found = figures(
        *(each for hour in range(4) for each in (raised(BEGIN + hour * HOUR), returned(BEGIN + hour * HOUR + MINUTE))),
        raised(BEGIN + 3 * DAY, warm),
    )
    assert found.alarms == 5
    assert [(each.key, each.alarms) for each in found.limits] == [(KEY, 4), (warm, 1)]
    assert (found.most_in_a_day, found.days) == (4, 10.0)
    assert found.priorities == {"high": 4, "medium": 1}
    assert found.frequent_share == 1.0
    assert any("100 %" in line for line in figure_lines(found, ZONE))


def test_the_time_to_acknowledge_counts_from_the_raise_also_after_it_was_over() -> None:
    found = figures(
        raised(BEGIN),
        seen(BEGIN + 10 * MINUTE),
        over(BEGIN + HOUR),
        raised(BEGIN + DAY),
        returned(BEGIN + DAY + MINUTE),
        seen(BEGIN + DAY + 30 * MINUTE, State.RETURNED),
        raised(BEGIN + 2 * DAY),
        returned(BEGIN + 2 * DAY + MINUTE),
        raised(BEGIN + 3 * DAY, before=State.RETURNED),
    )
    (limit,) = found.limits
    assert limit.acknowledged_s == (600.0, 1800.0)
    assert found.median_acknowledged_s == 1200.0
    assert limit.unacknowledged == 2


def test_what_stands_for_more_than_a_day_is_counted_also_from_before() -> None:
    warm = "K2/temperature/high"
    found = figures(
        raised(BEGIN - 3 * DAY),
        seen(BEGIN - 2 * DAY),
        over(BEGIN + 2 * HOUR),
        raised(BEGIN + 5 * DAY),
        returned(BEGIN + 6 * DAY),
        raised(BEGIN - 2 * DAY, warm),
    )
    assert {each.key: each.standing for each in found.limits} == {KEY: 1, warm: 1}, "24 h are not more than 24 h"
    assert (found.most_standing, found.standing_now) == (2, 1)
    assert found.alarms == 1


def test_chatter_is_counted_once_until_half_an_hour_of_calm() -> None:
    burst = [raised(BEGIN + number * MINUTE) for number in range(9)]
    again = [raised(BEGIN + 2 * HOUR + number * MINUTE) for number in range(4)]
    slow = [raised(BEGIN + number * HOUR, "K2/temperature/high") for number in range(9)]
    between = [returned(each.at_ms + 1000, each.key) for each in (*burst, *again, *slow)]
    found = figures(*burst, *again, *slow, *between)
    assert {each.key: each.chattering for each in found.limits} == {KEY: 2, "K2/temperature/high": 0}


def test_a_flood_is_more_than_ten_in_ten_minutes() -> None:
    def many(count: int) -> AlarmFigures:
        keys = [f"K{number}/pressure/low" for number in range(count)]
        return figures(*(raised(BEGIN + number, key) for number, key in enumerate(keys)), days=1.0)

    assert many(10).flood_share == 0.0
    assert many(11).flood_share == pytest.approx(1 / 144)
    assert many(20).frequent_share == 0.5


EVENTS: Final = st.lists(
    st.tuples(
        st.integers(-3 * DAY, 12 * DAY), st.sampled_from(AlarmEvent), st.sampled_from(State), st.sampled_from(State)
    ),
    max_size=30,
)


@given(EVENTS)
def test_any_record_gives_figures_that_hold_together(events: list[tuple[int, AlarmEvent, State, State]]) -> None:
    """Records of earlier versions, and those around a clock that was set, may hold steps in any order."""
    rows = [step(BEGIN + at_ms, event, before, after) for at_ms, event, before, after in events]
    found = alarm_figures(rows, PRIORITIES, BEGIN, BEGIN + 10 * DAY, ZONE)
    assert sum(found.priorities.values()) == found.alarms
    assert 0 <= found.standing_now <= found.most_standing
    assert 0.0 <= found.flood_share <= 1.0
    assert all(seconds >= 0 for seconds in found.acknowledged_s)
    assert len(figures_json(found)["figures"]) == len(TARGETS)  # type: ignore[arg-type]  # a list
    assert figure_lines(found, ZONE)


def test_a_time_without_length_is_refused() -> None:
    with pytest.raises(ValueError, match="must end after it begins"):
        figures(days=0.0)


@pytest.fixture
def watched(tmp_path: Path) -> CellarOnDisk:
    """A store that leeside has watched for 40 days, with an alarm of a week ago."""
    made = CellarOnDisk(tmp_path)
    (tmp_path / "cellar.toml").write_text(made.cellar.text, encoding="utf-8")
    now_ms = wall_ms()
    keep_cellar_file(made.store, made.cellar.text, now_ms - 40 * DAY)
    with made.store.write() as connection:
        add_transition(connection, raised(now_ms - 7 * DAY, LOW))
        add_transition(connection, seen(now_ms - 7 * DAY + HOUR, key=LOW))
        add_transition(connection, over(now_ms - 6 * DAY + HOUR, LOW))
    made.store.close()
    assert now_ms > NOW - 400 * DAY
    return made


def test_the_command_shows_them_beside_the_targets_with_their_clause(watched: CellarOnDisk, tmp_path: Path) -> None:
    file = tmp_path / "cellar.toml"
    done = leeside("alarms", file, "--figures")
    assert done.returncode == 0, done.stderr
    assert "clause 16, from memory" in done.stdout
    assert "alarms a day, on average" in done.stdout
    assert "fewer than 5, each with a plan [1]" in done.stdout
    assert f"{LOW}" in done.stdout
    found = json.loads(leeside("alarms", file, "--figures", "--json").stdout)
    assert (found["alarms"], found["days"]) == (1, 30.0)
    values = {each["figure"]: each["value"] for each in found["figures"]}
    assert values["median_time_to_acknowledge_s"] == 3600
    assert values["most_standing_over_24_h"] == 1
    assert found["limits"][0]["longest_time_to_acknowledge_s"] == 3600


def test_the_command_refuses_a_time_before_leeside_watched(watched: CellarOnDisk, tmp_path: Path) -> None:
    file = tmp_path / "cellar.toml"
    assert json.loads(leeside("alarms", file, "--figures", "--json", "--from", "2020-01-01").stdout)["days"] > 39.9
    early = leeside("alarms", file, "--figures", "--from", "2020-01-01", "--to", "2020-02-01")
    assert (early.returncode, early.stdout) == (2, "")
    assert "leeside watches since" in early.stderr
    assert leeside("alarms", file, "--from", "2020-01-01").returncode == 2
    assert leeside("alarms", file, "--figures", "--history").returncode == 2
