"""Rackings begun and not finished: which they are, what finishes one, and when one counts as forgotten."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from journal_entries import a_body, an_entry

from ingest.journal.entry import Draft, Entry, Strike
from ingest.journal.open_rackings import LONGEST_RACKING_MS, OpenRacking, finished_by
from ingest.journal.unfinished_rackings import open_racking_notes, unfinished

_HOUR = 3_600_000
_ZONE = ZoneInfo("Europe/Ljubljana")


def _same(name: str, _: int) -> str:
    return name


def _begun(id: int, at_ms: int, *sources: str, to: str | None = None) -> Entry:
    targets = [] if to is None else [{"vessel": to}]
    named = [{"vessel": source} for source in sources]
    return an_entry(id, "racking", at_ms, sources=named, targets=targets, stage="begun")


def _done(id: int, at_ms: int, source: str, to: str, begun: int | None = None) -> Entry:
    return an_entry(id, "racking", at_ms, sources=[{"vessel": source}], targets=[{"vessel": to}], begun=begun)


def test_what_was_begun_stands_until_an_entry_finishes_it() -> None:
    first, second = _begun(1, 0, "K1", "C1", to="K3"), _begun(2, _HOUR, "K4")
    assert unfinished([first, second], _same) == [
        OpenRacking(2, _HOUR, "Ana", ("K4",), ("K4",)),
        OpenRacking(1, 0, "Ana", ("K1", "C1"), ("K1", "C1", "K3")),
    ]
    finishing = _done(3, 2 * _HOUR, "K1", "K3", begun=1)
    assert [one.entry for one in unfinished([first, second, finishing], _same)] == [2]
    struck = replace(finishing, struck=Strike(3 * _HOUR, "Ana", "not so"))
    assert [one.entry for one in unfinished([first, second, struck], _same)] == [2, 1]
    assert unfinished([replace(first, struck=struck.struck)], _same) == []
    assert unfinished([_done(4, 0, "K1", "K3")], _same) == []


def test_vessels_are_called_as_they_are_now() -> None:
    (found,) = unfinished([_begun(1, 5, "K1", to="K3")], lambda name, at_ms: f"{name}-{at_ms}")
    assert (found.sources, found.vessels) == (("K1-5",), ("K1-5", "K3-5"))


@given(st.integers(-_HOUR, 24 * _HOUR))
def test_one_lasts_some_hours_and_is_forgotten_then(since_ms: int) -> None:
    begun = OpenRacking(1, 50 * _HOUR, "Ana", ("K1",), ("K1",))
    assert begun.lasts(begun.at_ms + since_ms) == (0 <= since_ms < LONGEST_RACKING_MS)


@pytest.mark.parametrize(
    ("sources", "at_ms", "finished"),
    [
        (["K1", "C1"], 3 * _HOUR, 1),
        (["C1", "K1"], 3 * _HOUR, 1),
        (["K1"], 3 * _HOUR, 2),
        (["C1"], 3 * _HOUR, 1),
        (["K1", "C1", "K4"], 3 * _HOUR, 2),
        (["K4"], 3 * _HOUR, None),
        (["K1"], _HOUR, 1),
        (["C1"], -1, None),
        (["C1"], 7 * 24 * _HOUR, 1),
        (["C1"], 7 * 24 * _HOUR + 1, None),
    ],
)
def test_the_one_that_a_racking_finishes(sources: list[str], at_ms: int, finished: int | None) -> None:
    begun = unfinished([_begun(1, 0, "K1", "C1"), _begun(2, 2 * _HOUR, "K1", "K5")], _same)
    found = finished_by(begun, sources, at_ms)
    assert (None if found is None else found.entry) == finished


def test_what_is_written_of_its_vessels_meanwhile_is_told_of_it() -> None:
    begun = unfinished([_begun(19, 10 * _HOUR, "K1", "C1", to="K3")], _same)

    def told(place: str | None, at_ms: int, kind: str = "inspection", **said: object) -> tuple[str, ...]:
        body = a_body(kind, **(said or {"film": False}))
        return open_racking_notes(Draft("inspection", at_ms, "Ana", body, place), begun, _ZONE)

    assert told("C1", 11 * _HOUR) == (
        "racking no. 19 from K1 and C1, begun 1970-01-01 11:00, is not finished: write down what came of it, or strike "
        "no. 19 if nothing did",
    )
    assert told("K3", 11 * _HOUR)
    assert told("K4", 11 * _HOUR) == ()
    assert told("K1", 9 * _HOUR) == ()
    racked = {"sources": [{"vessel": "K1"}], "targets": [{"vessel": "K4"}]}
    assert told(None, 11 * _HOUR, "racking", **racked)
    assert told(None, 11 * _HOUR, "racking", **racked, begun=19) == ()
