"""A made-up kind of entry: its model, its ``EntryKind`` and its place in the table are all that it needs."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import pytest
from a_form import EntryBench, form_fields
from journal_entries import journal_cellar

from alerts.view.entries.journal_lines import entry_lines
from ingest.cellar import Dimension
from ingest.entering import enter, prepare
from ingest.errors import EntryRefused
from ingest.exchange.entry_lines import entry_line, read_entry_lines
from ingest.journal.answers import AnswersWrong, Measure, Wrong
from ingest.journal.body import Body, Positive, Result, TypedAmount, Words
from ingest.journal.entry import Entry
from ingest.journal.entry_context import EntryContext
from ingest.journal.equipment import Equipment
from ingest.journal.kinds import KINDS, body_words
from ingest.journal.kinds.kind import BodyData, EntryKind, LedgerStep, NamedVessels, StateOf, place_of
from ingest.journal.question import REMARK, VESSEL, Given, Question, always
from ingest.journal.vessel_state import drawing_objections, left, liters
from ingest.store import Store, create_or_open
from ingest.store.journal.entries import entries, strike
from ingest.store.journal.hand_results import hand_results
from ingest.store.journal.stored_ledger import contents

# 2026-11-25 10:40 in Ljubljana
NOW_MS: Final = 1_795_599_600_000
CELLAR: Final = journal_cellar()


# ---- what would stand in ingest/journal/kinds/evaporation.py --------------------------------------------------------


class EvaporationBody(Body):
    """Wine went into the air. days: in how many."""

    volume_l: Positive
    days: Positive = 1.0
    remark: Words | None = None

    @property
    def results(self) -> tuple[Result, ...]:
        return (Result("evaporation", self.volume_l / self.days, None, "L/d"),)


def _complete(given: Given, data: BodyData, _: EntryContext, __: int) -> tuple[str, ...]:
    if "time" in given:
        data["days"] = given["time"] / 86_400.0
        return ()
    return ("nothing says how long that took: a day is assumed",)


def _ledger_step(entry: Entry, body: EvaporationBody, state_of: StateOf, _: Equipment) -> LedgerStep:
    place = place_of(entry)
    before = state_of(place)
    objections = drawing_objections(place, before, body.volume_l, "evaporated")
    return LedgerStep({place: left(before, body.volume_l, entry.at_ms)}, objections, [place])


def _caution(_: EvaporationBody, vessels: NamedVessels) -> str:
    return "smell before you look" if not vessels.of_glass else ""


def _warnings(body: EvaporationBody, vessels: NamedVessels) -> tuple[str, ...]:
    assert vessels.before is not None
    return (f"{vessels.before.vessel} is left with {liters(vessels.after[0].volume_l or 0.0)}",)


EVAPORATION: Final = EntryKind(
    name="evaporation",
    body=EvaporationBody,
    says="Wine goes into the air.",
    example="--vessel C1 --volume '0.2 L'",
    questions=(
        VESSEL,
        Question(
            "volume", "How much?", "How much.", Measure(Dimension.VOLUME, "L", "0.2 L"), "volume_l", needed=always
        ),
        Question("time", "In what time?", "In what time.", Measure(Dimension.TIME, "s", "30 d")),
        REMARK,
    ),
    complete=_complete,
    answered_by={"days": "time"},
    words=lambda body, _: f"{liters(body.volume_l)} gone in {body.days:g} days",
    result_units={"evaporation": "L/d"},
    caution=_caution,
    warnings=_warnings,
    ledger_step=_ledger_step,
)


# ---- all the rest asks the table ------------------------------------------------------------------------------------


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    """A store with 16 L of wine in K1, once the kind is in the table."""
    monkeypatch.setitem(KINDS, EVAPORATION.name, EVAPORATION)
    with create_or_open(tmp_path / "cellar.db", NOW_MS) as store:
        lot = {"lot": "ries", "name": "Riesling", "style": "white"}
        enter(store, CELLAR, "lot", lot, who="Ana", now_ms=NOW_MS, at="2026-01-02")
        wine = {"vessel": "K1", "lot": "ries", "volume": "16 L"}
        enter(store, CELLAR, "first-filling", wine, who="Ana", now_ms=NOW_MS, at="2026-01-02")
        yield store


def test_answers_become_a_draft_with_words_caution_and_warnings(store: Store) -> None:
    answers = {"vessel": "K1", "volume": "200 mL"}
    prepared = prepare(store, CELLAR, "evaporation", answers, who="Ana", now_ms=NOW_MS)
    warnings = ("nothing says how long that took: a day is assumed", "K1 is left with 15.8 L")
    typed = (TypedAmount(question="volume", text="200 mL"),)
    assert prepared.draft.body == EvaporationBody(volume_l=0.2, warnings=warnings, typed=typed)
    assert prepared.words == "200 mL gone in 1 days"
    assert prepared.caution == "smell before you look"
    assert prepared.warnings == warnings
    assert [after.vessel for after in prepared.after] == ["K1"]


def test_what_is_wrong_is_found_by_its_question(store: Store) -> None:
    def wrong(**answers: str) -> tuple[Wrong, ...]:
        with pytest.raises(AnswersWrong) as caught:
            prepare(store, CELLAR, "evaporation", answers, who="Ana", now_ms=NOW_MS)
        return caught.value.wrong

    assert wrong(vessel="K1") == (Wrong("volume", "is missing: How much."),)
    assert [each.field for each in wrong(vessel="K1", volume="1 L", time="0 s")] == ["time"]
    assert [each.field for each in wrong(vessel="K9", volume="1 L")] == ["vessel"]
    assert "it says: vessel, volume, time, remark" in wrong(vessel="K1", volume="1 L", colour="red")[0].why
    with pytest.raises(EntryRefused, match=r"17 L evaporated from K1, which holds 16 L: 1 L too much"):
        prepare(store, CELLAR, "evaporation", {"vessel": "K1", "volume": "17 L"}, who="Ana", now_ms=NOW_MS)


def test_it_is_written_counted_read_back_and_struck(store: Store) -> None:
    answers = {"vessel": "K1", "volume": "1 L", "time": "10 d", "remark": "dry air"}
    with pytest.raises(EntryRefused, match="K1 is left with 15 L"):
        enter(store, CELLAR, "evaporation", answers, who="Ana", now_ms=NOW_MS)
    entry = enter(store, CELLAR, "evaporation", answers, who="Ana", now_ms=NOW_MS, despite_warnings=True)
    assert entries(store, kinds=["evaporation"]) == [entry]
    assert entries(store, vessel="K1")[-1] == entry
    assert contents(store, NOW_MS)["K1"].volume_l == pytest.approx(15.0)
    (result,) = hand_results(store, "evaporation")
    assert (result.value, result.unit, result.vessel) == (0.1, "L/d", "K1")
    strike(store, entry.id, "Ana", "it was a leak", NOW_MS + 1)
    assert contents(store, NOW_MS + 1)["K1"].volume_l == pytest.approx(16.0)


def test_it_is_shown_and_goes_out_and_comes_in_as_a_line(store: Store) -> None:
    answers = {"vessel": "K1", "volume": "1 L", "time": "10 d", "remark": "dry air"}
    entry = enter(store, CELLAR, "evaporation", answers, who="Ana", now_ms=NOW_MS, despite_warnings=True)
    assert body_words(entry.body) == "1 L gone in 10 days"
    shown, warning = entry_lines(entry, ZoneInfo("Europe/Ljubljana"), NOW_MS)
    assert shown.endswith("evaporation K1: 1 L gone in 10 days (dry air), Ana")
    assert warning.strip() == "warning: K1 is left with 15 L"
    read = read_entry_lines(io.BytesIO(entry_line(entry).encode()), ZoneInfo("UTC"), NOW_MS)
    assert (read.mistakes, [line.entry for line in read.entries]) == ([], [entry])


def test_the_page_has_its_form(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(KINDS, EVAPORATION.name, EVAPORATION)
    bench = EntryBench(tmp_path)
    with bench.store:
        assert "Wine goes into the air." in bench.browser.get("/enter?vessel=K1")
        form = form_fields(bench.browser.get("/enter/evaporation?vessel=K1"))
        assert (form["vessel"], form["volume.unit"], form["time.unit"]) == (["K1"], ["L"], ["d"])
        answers = {"vessel": "K1", "volume": "0,2", "volume.unit": "L", "?time": "10", "time.unit": "d", "who": "Ana"}
        looked_at = bench.look("evaporation", answers)
        assert "200 mL gone in 10 days" in looked_at or "0.2 L gone in 10 days" in looked_at
        assert "smell before you look" in looked_at
        entry = bench.saved("evaporation", looked_at, warned="yes")
        assert entry.body == EvaporationBody(volume_l=0.2, days=10.0, warnings=("K1 is left with 16.8 L",))
        assert "gone in 10 days" in bench.browser.get("/journal")
