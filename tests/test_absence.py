"""What falls short while the owner is away, and what a helper may do about an alarm."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from a_cellar_on_disk import NOW, CellarOnDisk
from a_store import new_store
from cellar_text import cylinder, room
from hypothesis import given
from hypothesis import strategies as st

from alerts.absence.forecast import of_cylinder, of_gas, ordered
from alerts.absence.foresee import foresee
from alerts.absence.safe_steps import AIRLOCK_STEP, GAUGE_STEP, KEEP_OUT_STEP, safe_step
from alerts.absence.shortfall import Shortfall, ShortfallKind
from alerts.blanket.details import BlanketShown
from alerts.cylinders.details import CylinderShown
from alerts.limits.limits_now import limits_now
from alerts.watch.own_limits import watched_limits
from ingest.entering import enter
from ingest.errors import TextRefused
from ingest.store.alarms.absences import (
    LONGEST_ABSENCE_MS,
    Absence,
    absence_at,
    begin_absence,
    end_absence,
    last_absence,
)

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
TWO_WEEKS_MS = NOW + 14 * DAY_MS


def _shown(**changes: object) -> BlanketShown:
    return replace(BlanketShown(at_ms=NOW, finding="sound", gas="nitrogen"), **changes)  # type: ignore[arg-type]


def test_a_leak_that_reaches_the_floor_in_the_absence_is_foreseen_with_its_range() -> None:
    leak = _shown(finding="slow leak", hours_low=72.0, hours_high=120.0, leak_certain=True)
    (shortfall,) = of_gas("K1", leak, NOW, TWO_WEEKS_MS)
    assert shortfall.kind is ShortfallKind.GAS
    assert (shortfall.earliest_ms, shortfall.latest_ms) == (NOW + 3 * DAY_MS, NOW + 5 * DAY_MS)
    assert shortfall.helper == GAUGE_STEP
    assert of_gas("K1", leak, NOW, NOW + 2 * DAY_MS) == []


def test_gas_that_only_gets_cold_is_foreseen_without_the_word_leak() -> None:
    (shortfall,) = of_gas("K1", _shown(hours_cold=30.0), NOW, TWO_WEEKS_MS)
    assert "loses no gas" in shortfall.words
    assert shortfall.earliest_ms == NOW + 30 * HOUR_MS


@pytest.mark.parametrize("finding", ["cannot tell yet", "no judgement", "supply open", "settling"])
def test_gas_that_cannot_be_judged_is_said_to_be_unknown(finding: str) -> None:
    (shortfall,) = of_gas("K1", _shown(finding=finding, missing="temperature"), NOW, TWO_WEEKS_MS)
    assert shortfall.kind is ShortfallKind.UNKNOWN
    assert finding in shortfall.words
    assert "temperature is missing" in shortfall.words
    assert shortfall.helper == ""


def test_sound_gas_and_a_vessel_without_a_blanket_fall_short_of_nothing() -> None:
    assert of_gas("K1", _shown(), NOW, TWO_WEEKS_MS) == []
    assert of_gas("C1", _shown(without_blanket=True, finding="no judgement"), NOW, TWO_WEEKS_MS) == []


@given(st.floats(0, 2000), st.floats(0, 2000), st.integers(0, 400))
def test_what_is_foreseen_begins_within_the_absence_and_never_before_now(low: float, more: float, days: int) -> None:
    until_ms = NOW + days * DAY_MS
    for shortfall in of_gas("K1", _shown(hours_low=low, hours_high=low + more), NOW, until_ms):
        assert shortfall.earliest_ms is not None
        assert NOW <= shortfall.earliest_ms <= until_ms
        assert shortfall.latest_ms is None or shortfall.latest_ms >= shortfall.earliest_ms


def test_a_cylinder_is_foreseen_from_the_reading_that_its_days_rest_on() -> None:
    shown = CylinderShown(gas="nitrogen", content_l=200.0, days_low=10.0, days_high=20.0, basis_ms=NOW - 4 * DAY_MS)
    (shortfall,) = of_cylinder("N2", shown, NOW, TWO_WEEKS_MS)
    assert (shortfall.earliest_ms, shortfall.latest_ms) == (NOW + 6 * DAY_MS, NOW + 16 * DAY_MS)
    assert shortfall.helper == "", "a helper changes no cylinder"
    assert of_cylinder("N2", replace(shown, days_low=30.0), NOW, TWO_WEEKS_MS) == []
    (unknown,) = of_cylinder("N2", CylinderShown(gas="nitrogen"), NOW, TWO_WEEKS_MS)
    assert unknown.kind is ShortfallKind.UNKNOWN


def test_what_may_come_first_comes_first_and_the_unknown_last() -> None:
    shortfalls = [
        Shortfall(kind=ShortfallKind.UNKNOWN, place="K0", words="", earliest_ms=None, latest_ms=None, before=""),
        Shortfall(kind=ShortfallKind.GAS, place="K2", words="", earliest_ms=NOW + 5, latest_ms=None, before=""),
        Shortfall(kind=ShortfallKind.GAS, place="K1", words="", earliest_ms=NOW + 1, latest_ms=None, before=""),
    ]
    assert [each.place for each in ordered(shortfalls)] == ["K1", "K2", "K0"]


def test_work_and_so2_are_foreseen_from_the_journal(on_disk: CellarOnDisk) -> None:
    answers: list[tuple[str, dict[str, str | bool | list[str]]]] = [
        ("lot", {"lot": "A1", "name": "A1", "style": "white"}),
        ("first-filling", {"vessel": "C1", "lot": "A1", "volume": "20 L"}),
        ("titration", {"vessel": "C1", "quantity": "free", "method": "elsewhere", "result": "20 mg/L"}),
        ("measurement", {"vessel": "C1", "quantity": "pH", "value": "3.4"}),
    ]
    for kind, told in answers:
        enter(on_disk.store, on_disk.cellar, kind, told, who="Ana", now_ms=NOW, at="2026-11-20")
    with on_disk.store.read():
        shortfalls = foresee(on_disk.cellar, on_disk.store, NOW, TWO_WEEKS_MS)
    words = {each.words: each for each in shortfalls}
    so2 = next(each for each in shortfalls if each.kind is ShortfallKind.SO2)
    assert so2.lot == "A1"
    assert so2.helper == "", "whatever goes into wine waits for the owner"
    airlock = words["airlock check of C1 falls due"]
    assert airlock.helper == AIRLOCK_STEP
    assert not any("titration" in each.words and each.helper for each in shortfalls)


def test_a_helper_looks_and_keeps_away_and_opens_nothing(tmp_path: Path) -> None:
    on_disk = CellarOnDisk(tmp_path, more=room() + cylinder(room="cellar"))
    enter(on_disk.store, on_disk.cellar, "lot", {"lot": "A1", "name": "A1", "style": "white"}, who="Ana", now_ms=NOW)
    fill: dict[str, str | bool | list[str]] = {"vessel": "C1", "lot": "A1", "volume": "20 L"}
    enter(on_disk.store, on_disk.cellar, "first-filling", fill, who="Ana", now_ms=NOW)
    with on_disk.store.read():
        limits = {**watched_limits(on_disk.cellar), **limits_now(on_disk.cellar, on_disk.store, NOW)}
    kinds = {place.id: on_disk.cellar.place_kind(place.id) for place in on_disk.cellar.places}
    steps = {key: safe_step(limit, kinds) for key, limit in limits.items()}
    for key, limit in limits.items():
        if limit.quantity == "pressure" and limit.kind == "high":
            assert steps[key] == KEEP_OUT_STEP
        if limit.quantity in ("molecular_so2", "free_so2", "total_so2"):
            assert steps[key] == ""
    assert steps["C1/airlock"] == AIRLOCK_STEP
    assert steps["A1/titration"] == ""
    assert steps["leeside/disk"] == ""
    assert "power" in steps["leeside/broker"]
    assert any(step == GAUGE_STEP for step in steps.values())
    on_disk.store.close()


def test_an_absence_ends_at_its_time_or_when_it_is_ended(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        assert absence_at(store.connection, NOW) is None
        begin_absence(store, "bo", "Ana", NOW, NOW + DAY_MS)
        assert absence_at(store.connection, NOW) == Absence(1, NOW, NOW + DAY_MS, "bo", "Ana", None)
        assert absence_at(store.connection, NOW - 1) is None
        assert absence_at(store.connection, NOW + DAY_MS) is None
        ended = end_absence(store, NOW + HOUR_MS)
        assert ended is not None
        assert absence_at(store.connection, NOW + HOUR_MS) is None
        assert end_absence(store, NOW + 2 * HOUR_MS) is None
        last = last_absence(store.connection)
        assert last is not None
        assert last.over_ms == NOW + HOUR_MS


def test_a_new_absence_takes_the_place_of_the_one_before(tmp_path: Path) -> None:
    with new_store(tmp_path) as store:
        begin_absence(store, "bo", "Ana", NOW, NOW + 9 * DAY_MS)
        begin_absence(store, "cy", "Ana", NOW + DAY_MS, NOW + 2 * DAY_MS)
        current = absence_at(store.connection, NOW + DAY_MS)
        assert current is not None
        assert current.helper == "cy"
        assert absence_at(store.connection, NOW + 3 * DAY_MS) is None


@pytest.mark.parametrize("until_ms", [NOW, NOW - 1, NOW + LONGEST_ABSENCE_MS + 1])
def test_an_absence_without_an_end_that_makes_sense_is_refused(tmp_path: Path, until_ms: int) -> None:
    with new_store(tmp_path) as store, pytest.raises(ValueError, match="ends after it begins"):
        begin_absence(store, "bo", "Ana", NOW, until_ms)


def test_an_absence_with_text_that_a_terminal_would_obey_is_refused(tmp_path: Path) -> None:
    with new_store(tmp_path) as store, pytest.raises(TextRefused, match="helper"):
        begin_absence(store, "bo\x1b[2J", "Ana", NOW, NOW + DAY_MS)
