"""Who would hear of an alarm, and when nobody would: the same as what really goes out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import pytest
from cellar_text import KEG, MQTT, cellar, mail, probe, site, table
from hypothesis import given
from hypothesis import strategies as st
from test_cellar_people import person
from turning_bench import LOW, Bench

from alerts.absence.safe_steps import CALL_STEP, GAUGE_STEP, KEEP_OUT_STEP
from alerts.message.hearing import Hearing, hearings
from alerts.message.reach import unreached
from alerts.watch.own_limits import watched_limits
from ingest.cellar import Cellar
from ingest.store.alarms.absences import Absence, begin_absence
from ingest.store.alarms.messages import recent_messages

# 2026-11-28 00:00 UTC
MIDNIGHT: Final = 1_795_824_000_000
MINUTE_MS: Final = 60_000
HOUR_MS: Final = 60 * MINUTE_MS
DAY_MS: Final = 24 * HOUR_MS
PUSH: Final = table("[[channel]]", id="push", kind="apprise", url_env="PUSH")
WATCHED: Final = site(timezone="UTC", waking="07:00-22:00") + MQTT + KEG + probe(topic="cellar/K1/pressure", unit="psi")


def away(helper: str) -> Absence:
    return Absence(1, MIDNIGHT - DAY_MS, MIDNIGHT + 90 * DAY_MS, helper, "Ana", None)


def said(listed: Sequence[Hearing], raised_ms: int) -> set[tuple[str, object, str, float, bool]]:
    return {
        (
            each.recipient.name,
            None if each.at_ms is None else round((each.at_ms - raised_ms) / HOUR_MS, 2),
            each.hold,
            each.after_s,
            each.helped,
        )
        for each in listed
    }


def test_a_second_person_and_one_who_sleeps_hear_of_it_later() -> None:
    people = (
        person("ana", '{ mail = "ana@x.example" }'),
        person("bo", '{ push = "bo" }', after="30 min"),
        person("cy", '{ mail = "cy@x.example" }', woken_by=[]),
        person("di", '{ mail = "di@x.example" }', priorities=["medium"]),
    )
    file = cellar(WATCHED, mail(to=None), PUSH, *people)
    air = watched_limits(file)["K1/pressure/air"]
    listed = hearings(file, air, None, GAUGE_STEP, MIDNIGHT)
    assert said(listed, MIDNIGHT) == {
        ("ana@x.example", 0.0, "", 0.0, False),
        ("bo by push", 0.5, "", 1800.0, False),
        ("cy@x.example", 7.0, "waking", 0.0, False),
        ("di@x.example", None, "", 0.0, False),
    }
    assert [each.why for each in listed if each.why] == ["they get no alarms of high priority"]


@pytest.mark.parametrize(
    ("step", "expected"),
    [
        (GAUGE_STEP, {("bo by push", 0.0, "", 0.0, True), ("ana@x.example", 1.0, "", 3600.0, False)}),
        (KEEP_OUT_STEP, {("bo by push", 0.0, "", 0.0, True), ("ana@x.example", 0.0, "", 0.0, False)}),
        (CALL_STEP, {("bo by push", 0.0, "", 0.0, True), ("ana@x.example", 0.0, "", 0.0, False)}),
        ("", {("bo by push", None, "", 0.0, False), ("ana@x.example", 0.0, "", 0.0, False)}),
    ],
)
def test_while_the_owner_is_away_it_depends_on_what_a_helper_can_do(step: str, expected: set[Any]) -> None:
    people = (person("ana", '{ mail = "ana@x.example" }'), person("bo", '{ push = "bo" }', priorities=[]))
    file = cellar(WATCHED, mail(to=None), PUSH, *people)
    listed = hearings(file, watched_limits(file)["K1/pressure/air"], away("bo"), step, MIDNIGHT)
    assert {each for each in said(listed, MIDNIGHT) if each[2] != "away"} == expected


@pytest.mark.parametrize("is_away", [False, True])
@pytest.mark.parametrize("hour", [0, 12])
def test_what_is_foretold_is_what_the_turn_writes(tmp_path: Path, is_away: bool, hour: int) -> None:
    people = (
        person("ana", '{ mail = "ana@x.example", push = "" }'),
        person("bo", '{ mail = "bo@x.example" }', priorities=[]),
        person("cy", '{ mail = "cy@x.example" }', woken_by=[], waking="09:00-10:00"),
        person("di", '{ push = "di" }', after="30 min"),
    )
    bench = Bench(tmp_path, WATCHED + LOW + mail(to=None) + PUSH + "".join(people))
    bench.second = (MIDNIGHT + hour * HOUR_MS - bench.now.utc_ms) / 1000
    bench.restart()
    if is_away:
        begin_absence(bench.store, "bo", "Ana", bench.now.utc_ms, bench.now.utc_ms + 20 * DAY_MS)
    raised: dict[str, tuple[int, str]] = {}
    passed_on: set[str] = set()
    for step in range(75):
        bench.reading(0.2)
        bench.turn(20.0 if not step else 60.0)
        for row in recent_messages(bench.store, 100):
            if "K1 pressure" in row.subject and row.occasion == "raised":
                raised.setdefault(row.recipient, (row.not_before_ms, row.hold))
            elif "K1 pressure" in row.subject and row.occasion == "passed on":
                passed_on.add(row.recipient)
    raised_ms = recent_messages(bench.store, 100)[-1].created_ms
    bench.store.close()
    absence = Absence(1, raised_ms - 1, raised_ms, "bo", "Ana", None) if is_away else None
    if absence is not None:
        absence = absence._replace(until_ms=next(at for at, hold in raised.values() if hold == "away"))
    limit = bench.cellar.possible_limits
    low = next(each for each in limit if each.key == "K1/pressure/low")
    listed = hearings(bench.cellar, low, absence, GAUGE_STEP, raised_ms)
    first = {each.recipient.name: (each.at_ms, each.hold) for each in listed if each.at_ms and not each.after_s}
    assert raised == first
    assert passed_on == {each.recipient.name for each in listed if each.after_s}


WAKING: Final = st.lists(st.integers(0, 23), min_size=2, max_size=2, unique=True).map(
    lambda hours: f"{hours[0]:02}:00-{hours[1]:02}:00"
)
PRIORITIES: Final = st.lists(st.sampled_from(["high", "medium", "low"]), unique=True)


@st.composite
def cellars(draw: st.DrawFn) -> Cellar:
    people = [
        person(
            id,
            f'{{ push = "{id}" }}',
            waking=draw(WAKING),
            woken_by=draw(PRIORITIES),
            priorities=draw(PRIORITIES),
            **draw(st.sampled_from([{}, {"after": "30 min"}])),
        )
        for id in ("bo", "cy")
    ]
    return cellar(WATCHED, mail(), PUSH, *people)


@given(cellars(), st.sampled_from(["bo", "cy"]))
def test_the_hours_in_which_nobody_is_reached_are_those_in_which_no_message_would_go_out(
    file: Cellar, helper: str
) -> None:
    air = watched_limits(file)["K1/pressure/air"]
    gaps = unreached(file, [air], {"K1": "keg"}, away(helper))
    for minute in range(0, 24 * 60, 30):
        raised_ms = MIDNIGHT + minute * MINUTE_MS
        listed = hearings(file, air, away(helper), GAUGE_STEP, raised_ms)
        at_once = any(each.at_ms is not None and not each.hold and not each.after_s for each in listed)
        inside = [
            gap
            for gap in gaps
            if gap.from_min == gap.until_min or (minute - gap.from_min) % 1440 < (gap.until_min - gap.from_min) % 1440
        ]
        assert len(inside) == (not at_once)
        # The address of [mail] to is woken by whatever is passed on.
        assert all(gap.passed_on for gap in inside)


def test_hours_that_reach_nobody_at_all_come_first() -> None:
    """Ana sleeps, and bo, who would usually be woken, stands in and hears nothing of what a helper cannot do."""
    people = (
        person("ana", '{ mail = "ana@x.example" }', woken_by=[], waking="08:00-20:00"),
        person("bo", '{ mail = "bo@x.example" }'),
    )
    change = LOW.replace('low = "5 kPa"', 'rate = "5 kPa in 1 h"')
    file = cellar(WATCHED, change, mail(to=None), *people)
    gaps = unreached(file, watched_limits(file).values(), {"K1": "keg"}, away("bo"))
    (never,) = [gap for gap in gaps if not gap.passed_on]
    assert (never.keys, never.from_min, never.until_min) == (("K1/pressure/rate",), 20 * 60, 8 * 60)
