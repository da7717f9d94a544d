"""Whether the supply is open at a vessel, by the entries of valves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from cellar_text import SITE, carboy, cellar, cylinder, gas_line, keg
from hypothesis import given
from hypothesis import strategies as st

from ingest.journal.entry import Draft, Entry, Strike
from ingest.journal.kinds.gas import GAS, GasBody
from ingest.journal.kinds.kind import NamedVessels
from ingest.journal.supply import Supply, supply_history
from ingest.store import create_or_open
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.amending import amend_entry
from ingest.store.journal.entries import strike, write_entry
from ingest.store.journal.supply_entries import supplies_inside

_CELLAR = cellar(SITE, keg("K1"), keg("K2"), keg("K3"), cylinder("N2"), gas_line(vessels=["K1", "K2"]))
_LINES = _CELLAR.gas_line


def _entry(place: str, act: str, at_ms: int, struck: Strike | None = None) -> Entry:
    pressure = 55.0 if act == "charged" else None
    body = GasBody.model_validate({"act": act, "pressure_kpa": pressure})
    return Entry(at_ms, "gas", at_ms, at_ms, "Ana", place, None, body, struck)


def _opened(place: str, at_ms: int) -> Entry:
    return _entry(place, "supply opened", at_ms)


def _shut(place: str, at_ms: int) -> Entry:
    return _entry(place, "supply shut", at_ms)


_SHUT_ON_LINE = Supply(False, None, "never said", "N2-line", "N2")


def _newest(history: Sequence[Supply], at_ms: int) -> Supply:
    return [each for each in history if (each.since_ms or 0) <= at_ms][-1]


@pytest.mark.parametrize(
    ("vessel", "entries", "expected"),
    [
        pytest.param("K1", [], _SHUT_ON_LINE, id="never said"),
        pytest.param("K3", [], Supply(False, None, "no line"), id="no line"),
        pytest.param("K3", [_opened("K3", 5)], Supply(True, 5, "said at the vessel"), id="no line, yet opened"),
        pytest.param("K1", [_entry("K1", "charged", 5)], _SHUT_ON_LINE, id="charging says nothing"),
        pytest.param(
            "K1", [_opened("K1", 5)], Supply(True, 5, "said at the vessel", "N2-line", "N2"), id="vessel opened"
        ),
        pytest.param(
            "K1", [_opened("N2", 5)], Supply(True, 5, "said at the cylinder", "N2-line", "N2"), id="cylinder opened"
        ),
        pytest.param("K1", [_opened("K2", 5)], _SHUT_ON_LINE, id="another vessel"),
        pytest.param(
            "K1",
            [_opened("K1", 5), _shut("N2", 6)],
            Supply(False, 6, "said at the cylinder", "N2-line", "N2"),
            id="cylinder shut",
        ),
        pytest.param(
            "K1",
            [_opened("K1", 5), _shut("N2", 6), _opened("N2", 7)],
            Supply(True, 7, "said at the cylinder", "N2-line", "N2"),
            id="cylinder shut and opened again",
        ),
        pytest.param(
            "K1",
            [_shut("K1", 5), _opened("N2", 6)],
            Supply(False, 5, "said at the vessel", "N2-line", "N2"),
            id="a vessel's shut valve stays shut",
        ),
        pytest.param(
            "K1",
            [_shut("N2", 5), _opened("K1", 6)],
            Supply(True, 6, "said at the vessel", "N2-line", "N2"),
            id="opened at the vessel after the cylinder was shut",
        ),
        pytest.param(
            "K1",
            [_opened("K1", 5), _entry("K1", "supply shut", 6, Strike(7, "Ana", "wrong keg"))],
            Supply(True, 5, "said at the vessel", "N2-line", "N2"),
            id="struck",
        ),
        pytest.param(
            "K1",
            [_opened("K1", 5), _opened("K1", 8)],
            Supply(True, 5, "said at the vessel", "N2-line", "N2"),
            id="said twice: since the first",
        ),
    ],
)
def test_what_the_entries_make_of_it(vessel: str, entries: list[Entry], expected: Supply) -> None:
    assert _newest(supply_history(vessel, entries, _LINES), 10) == expected


def test_an_entry_counts_from_its_very_time_on() -> None:
    entries = [_opened("K1", 5), _shut("K1", 8)]
    history = supply_history("K1", entries, _LINES)
    assert [_newest(history, at_ms).is_open for at_ms in (4, 5, 7, 8)] == [False, True, True, False]


_ENTRIES = st.lists(
    st.tuples(st.sampled_from(["K1", "K2", "N2"]), st.sampled_from(["supply opened", "supply shut", "vented"])),
    max_size=8,
)


@given(_ENTRIES)
def test_both_valves_open_is_open_and_any_newest_shut_is_shut(acts: list[tuple[str, str]]) -> None:
    entries = [_entry(place, act, number) for number, (place, act) in enumerate(acts, start=1)]
    history = supply_history("K1", entries, _LINES)
    # Each change differs from what was before, in the order of time.
    for before, after in pairwise(history):
        assert before.is_open != after.is_open or before.since_ms is None
        assert (before.since_ms or 0) < (after.since_ms or 0)
    valves = [(place, act) for place, act in acts if place in ("K1", "N2") and act != "vented"]
    if not valves or valves[-1][1] == "supply shut":
        assert not history[-1].is_open
    elif valves[-1][0] == "K1":
        assert history[-1].is_open
    else:
        at_vessel = [act for place, act in valves if place == "K1"]
        assert history[-1].is_open == (not at_vessel or at_vessel[-1] == "supply opened")


def test_the_stored_journal_says_it_of_every_vessel(tmp_path: Path) -> None:
    store = create_or_open(tmp_path / "cellar.db", 1)

    def write(place: str, act: str, at_ms: int) -> Entry:
        return write_entry(store, Draft("gas", at_ms, "Ana", GasBody.model_validate({"act": act}), place), _CELLAR, 100)

    write("N2", "supply opened", 10)
    wrong = write("K2", "supply shut", 20)
    with store.read() as connection:
        supplies = supplies_inside(connection, _CELLAR, 50)
        before = supplies_inside(connection, _CELLAR, 9)
    assert {id: (supply.is_open, supply.since_ms) for id, supply in supplies.items()} == {
        "K1": (True, 10),
        "K2": (False, 20),
        "K3": (False, None),
    }
    assert not any(supply.is_open for supply in before.values())
    strike(store, wrong.id, "Ana", "wrong keg", 101)
    with store.read() as connection:
        assert supplies_inside(connection, _CELLAR, 50)["K2"].is_open
    store.close()


def test_an_amended_valve_keeps_its_place_among_those_of_the_same_minute(tmp_path: Path) -> None:
    store = create_or_open(tmp_path / "cellar.db", 1)
    opened, shut = (Draft("gas", 10, "Ana", GasBody(act=act), "K1") for act in ("supply opened", "supply shut"))
    first, _ = (write_entry(store, draft, _CELLAR, 100) for draft in (opened, shut))
    with store.write() as connection:
        amend_entry(connection, first.id, replace(opened, who="Ben"), _CELLAR, Strike(101, "Ben", ""))
    with store.read() as connection:
        assert not supplies_inside(connection, _CELLAR, 50)["K1"].is_open
    store.close()


def test_a_cylinder_and_a_vessel_keep_their_valves_when_they_are_renamed(tmp_path: Path) -> None:
    store = create_or_open(tmp_path / "cellar.db", 1)
    for place in ("N2", "K1"):
        draft = Draft("gas", 10, "Ana", GasBody(act="supply opened"), place)
        write_entry(store, draft, _CELLAR, 100)
    keep_cellar_file(store, _CELLAR.text, 1)
    renamed = cellar(
        SITE, keg("L1", was="K1"), keg("K2"), cylinder("N9", was="N2"), gas_line(cylinder="N9", vessels=["L1", "K2"])
    )
    with store.read() as connection:
        supplies = supplies_inside(connection, renamed, 200)
    assert supplies["L1"] == Supply(True, 10, "said at the cylinder", "N2-line", "N9")
    assert supplies["K2"].is_open
    store.close()


def test_a_supply_opened_at_glass_is_warned_of() -> None:
    glass = cellar(SITE, carboy("C1"), keg("K1")).vessel
    warnings = GAS.warnings(GasBody(act="supply opened"), NamedVessels(glass))
    assert len(warnings) == 1
    assert "C1 is of glass, and glass bursts under pressure: shut the gas" in warnings[0]
    assert GAS.warnings(GasBody(act="supply shut"), NamedVessels(glass)) == ()
