"""An entry in the place of another one: every answer comes back, the order stays, and what follows is judged by it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from cellar_text import cellar, cylinder
from journal_entries import journal_cellar

from ingest.amending import former_answers, prepare_amendment, write_amendment
from ingest.cellar import Cellar
from ingest.entering import Answers, enter
from ingest.errors import EntryRefused
from ingest.journal.answers import AnswersWrong
from ingest.journal.drafting import given_of
from ingest.journal.entry import Draft, Entry
from ingest.journal.kinds import KINDS, parse_body
from ingest.store import Store, create_or_open
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.begun_rackings import begun_rackings
from ingest.store.journal.entries import entries, entry, strike, write_entry
from ingest.store.journal.lot_location_rows import stored_lot_locations
from ingest.store.journal.stored_ledger import contents, equipment_of

# 2026-11-25 10:40 in Ljubljana
NOW = 1_795_599_600_000
MINUTE_MS = 60_000
NOON = "2026-10-01"

_ENTERED: tuple[tuple[str, Mapping[str, Any]], ...] = (
    ("lot", {"lot": "sylv", "name": "Sylvaner", "style": "white", "vintage": "2026", "alcohol": "12.1 % vol"}),
    ("titrant", {"name": "iodine 4", "substance": "iodine", "strength": "0.0101 mol/L", "opened": "2026-11-01"}),
    ("first-filling", {"vessel": "C1", "lot": "ries", "volume": "8.3 L", "uncertainty": "50 mL"}),
    ("titration", {"vessel": "K1", "quantity": "free", "method": "iodometric", "titrant": "iodine 3",
                   "sample": "25 mL", "blank": "0.1 mL", "titre": ["1.25 mL", "1.3 mL"], "end_point": "12 s"}),
    ("titration", {"lot": "ries", "quantity": "total", "method": "iodometric", "strength": "0.02 N", "factor": "0.98",
                   "substance": "iodide-iodate", "sample": "25 mL", "start": ["0 mL"], "end": ["1.7 mL"]}),
    ("titration", {"vessel": "K1", "quantity": "free", "method": "elsewhere", "result": "31 mg/L",
                   "uncertainty": "3 mg/L"}),
    ("measurement", {"vessel": "K1", "quantity": "weight", "value": "19.7 kg", "tare": "4.2 kg",
                     "density": "0.99 g/mL"}),
    ("measurement", {"vessel": "K1", "quantity": "temperature", "value": "54 °F", "uncertainty": "0.5 K"}),
    ("measurement", {"cylinder": "CO2", "quantity": "weight", "value": "10.7 kg", "tare": "8.1 kg"}),
    ("measurement", {"room": "cellar", "quantity": "humidity", "value": "81 %"}),
    ("addition", {"vessel": "K1", "form": "tablets", "number": "2", "label": "0.25 g"}),
    ("addition", {"vessel": "K1", "form": "stock solution", "salt": "sodium", "volume": "7.3 mL",
                  "stock": "5 g/100 mL"}),
    ("racking", {"from": ["K1=15.7 L"], "to": ["K3"], "lees": "0.3 L", "emptied": ["K1"], "air": "closed"}),
    ("topping", {"vessel": "K1", "bottles": "2 x 0.75 L", "name": "Silvaner", "ph": "3.3", "free": "30 mg/L",
                 "total": "90 mg/L", "sugar": "2 g/L", "alcohol": "12.3 % vol"}),
    ("topping", {"vessel": "K1", "lot": "ries", "volume": "0.31 L"}),
    ("sample", {"vessel": "K1", "volume": "60 mL", "purpose": "titration"}),
    ("gas", {"vessel": "K1", "act": "charged", "pressure": "8 psi", "cylinder": "CO2"}),
    ("gas", {"cylinder": "CO2", "act": "supply shut"}),
    ("inspection", {"vessel": "K1", "clarity": "clear", "film": "no", "lees": "0.02 ft"}),
    ("bottling", {"vessel": "K1", "bottles": ["12 x 0.75 L", "4 x 1.5 L"], "closure": "cork", "remainder": "1 L"}),
    ("vessel-status", {"vessel": "C1", "status": "cleaned", "remark": "steam"}),
)  # fmt: skip


class _Desk:
    """A cellar with 16 L of Riesling in K1 since noon, and a bottle of iodine."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.cellar: Cellar = journal_cellar(more=cylinder("CO2", gas="carbon dioxide") + '\n[[room]]\nid = "cellar"\n')
        self.enter("lot", {"lot": "ries", "name": "Riesling", "style": "white"})
        self.enter("first-filling", {"vessel": "K1", "lot": "ries", "volume": "16 L"})
        self.enter("titrant", {"name": "iodine 3", "substance": "iodine", "strength": "0.02 N"})

    def enter(self, kind: str, answers: Answers, at: str = NOON) -> Entry:
        return enter(self.store, self.cellar, kind, answers, who="Ana", now_ms=NOW, at=at, despite_warnings=True)

    def amend(self, id: int, answers: Answers | None = None, **more: Any) -> Entry:
        told: dict[str, Any] = {"who": "Ben", "now_ms": NOW + MINUTE_MS} | more
        amendment = prepare_amendment(self.store, self.cellar, id, answers or {}, **told)
        later = bool(told.get("with_later"))
        return write_amendment(self.store, self.cellar, amendment, now_ms=NOW + MINUTE_MS, with_later=later)

    def volume(self, vessel: str) -> float | None:
        return contents(self.store, NOW, self.cellar)[vessel].volume_l


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[_Desk]:
    with create_or_open(tmp_path / "cellar.db", NOW) as store:
        yield _Desk(store)


@pytest.mark.parametrize(("kind", "answers"), _ENTERED, ids=[kind for kind, _ in _ENTERED])
def test_all_that_was_said_stays_and_the_remark_alone_changes(
    desk: _Desk, kind: str, answers: Mapping[str, Any]
) -> None:
    old = desk.enter(kind, answers)
    new = desk.amend(old.id, {"remark": "by the new cork"})
    assert new.body == old.body.model_copy(update={"remark": "by the new cork"})
    assert (new.at_ms, new.who, new.place, new.lot, new.key) == (old.at_ms, "Ana", old.place, old.lot, old.key)
    was = entry(desk.store, old.id)
    assert was is not None and was.struck is not None
    assert (was.struck.who, was.struck.reason, was.struck.together_with) == ("Ben", f"amended by {new.id}", new.id)
    assert was.body == old.body


def test_an_answer_that_is_more_than_a_copy_is_in_one_of_these_entries() -> None:
    """Otherwise it could be lost by an amendment, and no test would notice."""
    said = {(kind, name) for kind, answers in _ENTERED for name in answers}
    said |= {("racking", "begin"), ("racking", "blend")}  # below
    named = {"vessel", "lot", "cylinder", "room"}
    recalled = {
        (kind.name, each.name) for kind in KINDS.values() for each in kind.questions if each.recall or not each.key
    }
    assert {(kind, name) for kind, name in recalled - said if name not in named} == set()


def test_flags_come_back_only_where_they_were_set() -> None:
    def given(**body: Any) -> dict[str, Any]:
        entry = Entry(
            1, "racking", 0, 0, "Ana", None, None, parse_body("racking", {"sources": [{"vessel": "K1"}], **body})
        )
        return given_of(KINDS["racking"], entry, "vessel")

    assert given(stage="begun") == {"from": [{"vessel": "K1"}], "begin": True}
    blended = {"from": [{"vessel": "K1"}], "to": [{"vessel": "K3"}], "blend": True}
    assert given(targets=[{"vessel": "K3", "blend": True}]) == blended


def test_a_wrong_first_filling_is_put_right_in_one_step_and_all_that_followed_stays(desk: _Desk) -> None:
    desk.enter("sample", {"vessel": "K1", "volume": "100 mL"})
    desk.enter("racking", {"from": ["K1=10 L"], "to": ["K3"]})
    new = desk.amend(2, {"volume": "18.4 L"})
    assert desk.volume("K1") == pytest.approx(8.3)
    assert desk.volume("K3") == pytest.approx(10.0)
    # It stands where the old one stood: all of this was at noon.
    assert [each.id for each in entries(desk.store, struck=False)] == [1, new.id, 3, 4, 5]
    assert (new.id, new.in_place_of) == (6, 2)
    newest = desk.amend(6, {"volume": "17 L"})
    assert (newest.id, newest.in_place_of) == (7, 2)
    assert desk.volume("K1") == pytest.approx(6.9)
    with desk.store.read() as connection:
        stays = stored_lot_locations(connection, equipment_of(connection), "ries")
    assert [(stay.vessel, stay.from_entry) for stay in stays] == [("K1", 2), ("K3", 5)]


def test_what_could_then_no_longer_be_is_named_and_struck_only_on_request(desk: _Desk) -> None:
    desk.enter("racking", {"from": ["K1=10 L"], "to": ["K3"]})
    desk.enter("sample", {"vessel": "K3", "volume": "1 L"})
    with pytest.raises(
        EntryRefused, match=r"racking no\. 4 \(K1, K3\) could then not be: 10 L racked from K1, which"
    ) as caught:
        desk.amend(2, {"volume": "8 L"})
    assert caught.value.later == (4, 5)
    assert all(each.struck is None for each in entries(desk.store))
    new = desk.amend(2, {"volume": "8 L"}, with_later=True)
    assert [each.id for each in entries(desk.store, struck=False)] == [1, new.id, 3]


def test_an_amendment_that_cannot_be_changes_nothing(desk: _Desk) -> None:
    before = entries(desk.store)
    with pytest.raises(EntryRefused, match=r"K1 holds 19 L at most|19 L"):
        desk.amend(2, {"volume": "25 L"})
    with pytest.raises(EntryRefused, match=r"nothing would change: first.filling no\. 2"):
        desk.amend(2, {"volume": "16 L"})
    with pytest.raises(AnswersWrong, match=r"is not in any cellar file of this store; did you mean K1\?"):
        desk.amend(2, {"vessel": "K11"})
    with pytest.raises(EntryRefused, match="there is no entry of that number"):
        desk.amend(9)
    with pytest.raises(AnswersWrong, match="the entry does not say blend; it says: vessel, lot, volume"):
        desk.amend(2, without=["blend"])
    with pytest.raises(AnswersWrong, match="a first filling does not say this"):
        desk.amend(2, {"titre": ["1 mL"]})
    strike(desk.store, 2, "Ben", "wrong keg", NOW)
    with pytest.raises(EntryRefused, match="was struck already by Ben: wrong keg"):
        desk.amend(2, {"volume": "18 L"})
    assert [each.id for each in entries(desk.store)] == [each.id for each in before]


def test_at_another_time_it_takes_its_own_place(desk: _Desk) -> None:
    desk.enter("sample", {"vessel": "K1", "volume": "1 L"})
    new = desk.amend(2, at="2026-09-30", reason="it was the day before")
    assert (new.in_place_of, [each.id for each in entries(desk.store, struck=False)]) == (None, [new.id, 1, 3, 4])
    was = entry(desk.store, 2)
    assert was is not None and was.struck is not None
    assert was.struck.reason == "amended by 5: it was the day before"
    with pytest.raises(EntryRefused, match=r"sample no\. 4"):
        desk.amend(5, at="2026-10-02")


def test_a_new_answer_takes_the_place_of_what_it_stands_for(desk: _Desk) -> None:
    bench = {"vessel": "K1", "quantity": "free", "method": "iodometric", "sample": "25 mL"}
    burette = desk.enter("titration", {**bench, "titrant": "iodine 3", "start": ["0 mL"], "end": ["1.2 mL"]})
    said: Any = desk.amend(burette.id, {"titre": ["1.25 mL"], "strength": "0.01 N"}).body
    assert (said.flasks[0].titre_ml, said.flasks[0].end_ml, said.titrant) == (1.25, None, None)
    assert said.so2_mg_l == pytest.approx(1.25 * 0.01 * 32030 / 25)


def test_a_racking_that_was_begun_stays_finished_when_either_part_is_amended(desk: _Desk) -> None:
    begun = desk.enter("racking", {"from": ["K1"], "begin": True}, at="2026-11-01 10:00")
    done = desk.enter("racking", {"from": ["K1"], "to": ["K3"]}, at="2026-11-01 11:00")
    new: Any = desk.amend(done.id, {"lees": "0.2 L"})
    assert new.body.begun == begun.id
    desk.amend(begun.id, {"remark": "by hand pump"})
    assert begun_rackings(desk.store.connection) == []


def test_what_no_option_can_say_is_not_lost_silently(desk: _Desk) -> None:
    body = parse_body(
        "racking", {"sources": [{"vessel": "K1", "volume_l": 9, "lees_l": 0.5}], "targets": [{"vessel": "K3"}]}
    )
    written = write_entry(desk.store, Draft("racking", NOW, "Ana", body), desk.cellar, NOW)
    with pytest.raises(EntryRefused, match="no option can say its sources"):
        desk.amend(written.id, {"air": "open"})


def test_a_strike_is_never_dated_before_its_entry(desk: _Desk) -> None:
    desk.amend(2, {"volume": "18 L"}, now_ms=NOW - 10 * MINUTE_MS)
    was = entry(desk.store, 2)
    assert was is not None and was.struck is not None
    assert was.struck.at_ms >= was.written_ms


def test_an_entry_on_a_vessel_that_was_renamed_is_amended_under_its_present_name(desk: _Desk) -> None:
    keep_cellar_file(desk.store, desk.cellar.text, NOW - MINUTE_MS)
    desk.enter("racking", {"from": ["K1=10 L"], "to": ["K3"]})
    renamed = desk.cellar.text.replace('id = "K1"', 'id = "Keg1"\nwas = "K1"')
    keep_cellar_file(desk.store, renamed, NOW + MINUTE_MS)
    desk.cellar = cellar(renamed)
    first = desk.amend(2, {"volume": "18 L"}, now_ms=NOW + 2 * MINUTE_MS)
    assert (first.place, desk.volume("Keg1")) == ("Keg1", 8.0)
    racked: Any = desk.amend(4, {"lees": "0.5 L"}, now_ms=NOW + 2 * MINUTE_MS).body
    assert racked.sources[0].vessel == "Keg1"
    assert desk.volume("K3") == pytest.approx(9.5)


def test_an_entry_of_a_vessel_that_is_gone_from_the_cellar_file_can_be_amended(desk: _Desk) -> None:
    sample = desk.enter("sample", {"vessel": "K1", "volume": "60 mL"})
    keep_cellar_file(desk.store, desk.cellar.text, NOW - 1000 * MINUTE_MS)
    without_it = journal_cellar(("C1", "carboy", 10.0))
    old, texts = former_answers(desk.store, without_it, sample.id, NOW)
    assert (old.id, texts) == (sample.id, {"vessel": ["K1"], "volume": ["60 mL"]})
    amendment = prepare_amendment(desk.store, without_it, sample.id, {"volume": "80 mL"}, who="Ben", now_ms=NOW)
    assert write_amendment(desk.store, without_it, amendment, now_ms=NOW).place == "K1"
