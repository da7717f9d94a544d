"""The journal on the page: read, sifted, amended and struck, as a browser asks, over a real store."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import pytest
from a_form import HOSTILE, NOW, TITRATION, EntryBench, Fields, all_hidden, form_fields, hidden, words

from ingest.journal.entry import Entry
from ingest.journal.kinds.titration import TitrationBody
from ingest.store.journal.entries import entries, strike


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[EntryBench]:
    bench = EntryBench(tmp_path)
    yield bench
    bench.store.close()


def _titration(bench: EntryBench) -> Entry:
    return bench.saved("titration", bench.look("titration", {**TITRATION, "blank": "0.05", "remark": "after racking"}))


def test_the_journal_shows_entries_newest_first_and_struck_ones_crossed_out(bench: EntryBench) -> None:
    first = _titration(bench)
    strike(bench.store, first.id, "Ben", "read the <burette> from the wrong end", NOW + 60_000)
    page = bench.browser.get("/journal")
    text = words(page)
    assert text.index("Wednesday, 25 November 2026") < text.index("Friday, 20 November 2026")
    assert f'<li id="no-{first.id}" class="struck">' in page
    assert "<s>titration: 1.25 and 1.3 mL less 0.05 mL" in page
    assert "Struck by Ben, 19:31:00 CET: read the <burette> from the wrong end" in text
    assert "after racking" in text
    assert f"/journal/{first.id}/amend" not in page
    assert "/journal/1/strike" in page


@pytest.mark.parametrize(
    ("query", "count"),
    [
        ({}, 6), ({"vessel": "K1"}, 1), ({"lot": "pinot-26"}, 2), ({"kind": "lot"}, 2), ({"from": "2026-11-21"}, 0),
        ({"from": "2026-11-20", "to": "2026-11-21"}, 6), ({"to": "2026-11-20"}, 0), ({"show": "2"}, 2),
        ({"vessel": "C1", "kind": "first-filling"}, 1),
    ],
)  # fmt: skip
def test_the_journal_can_be_sifted(bench: EntryBench, query: dict[str, str], count: int) -> None:
    page = bench.browser.get("/journal?" + urlencode(query))
    assert page.count('<li id="no-') == count
    assert ("No such entry." in page) is (count == 0)
    assert ("Earlier entries" in page) is ("show" in query)


@pytest.mark.parametrize(
    ("query", "why"),
    [
        ({"vessel": "K11"}, "there is no vessel, cylinder or room 'K11'; did you mean K1?"),
        ({"lot": "pinot"}, "did you mean pinot-26?"),
        ({"kind": "fill"}, "there is no kind of entry 'fill'"),
        ({"from": "soon"}, "'soon' is not a time"),
        ({"to": "2026-02-30"}, "'2026-02-30' is not a time"),
        ({"vessel": HOSTILE}, "there is no vessel"),
    ],
)
def test_a_wrong_filter_says_what_there_is(bench: EntryBench, query: dict[str, str], why: str) -> None:
    answer = bench.browser.ask("GET", "/journal?" + urlencode(query))
    assert answer.status_code == 422
    assert why in words(answer.text)
    assert "<script>alert" not in answer.text
    assert bench.browser.ask("GET", "/journal?show=0").status_code == 422


def test_an_entry_is_amended_from_its_own_form(bench: EntryBench) -> None:
    old = _titration(bench)
    form = bench.browser.get(f"/journal/{old.id}/amend")
    fields = form_fields(form)
    assert fields["titre"][:3] == ["1.25", "1.3", ""]
    assert fields["date"] == ["2026-11-25"]
    assert fields["blank"] == ["0.05"]
    unchanged = bench.browser.post(f"/journal/{old.id}/amend", fields)
    assert unchanged.status_code == 409
    assert "nothing would change" in words(unchanged.text)
    fields |= {"titre": ["1.25", "1.50", ""], "blank": [""], "reason": ["misread"], "who": ["Ben"]}
    looked_at = bench.browser.post(f"/journal/{old.id}/amend", fields)
    assert looked_at.status_code == 200, words(looked_at.text)
    assert "Was: no. 7" in words(looked_at.text)
    assert "35 mg/L free SO2" in words(looked_at.text)
    assert len(bench.new()) == 1
    answer = bench.browser.save(f"/journal/{old.id}/amend", looked_at.text, warned="yes")
    assert answer.status_code == 303, words(answer.text)
    new = bench.new()[-1]
    assert isinstance(new.body, TitrationBody)
    assert new.body.blank_ml is None
    assert (new.who, new.at_ms, new.in_place_of) == ("Ana", old.at_ms, old.id)
    struck = bench.new()[0].struck
    assert struck is not None
    assert (struck.who, struck.reason) == ("Ben", f"amended by {new.id}: misread")
    again = bench.browser.save(f"/journal/{old.id}/amend", looked_at.text)
    assert again.headers["location"] == f"/written?no={new.id}&again=1"
    assert len(bench.new()) == 2
    gone = bench.browser.ask("GET", f"/journal/{old.id}/amend")
    assert gone.status_code == 409
    assert "was struck already by Ben" in words(gone.text)


def test_an_amendment_can_move_an_entry_in_time(bench: EntryBench) -> None:
    old = _titration(bench)
    fields = form_fields(bench.browser.get(f"/journal/{old.id}/amend")) | {"time": ["18:00"], "who": ["Ben"]}
    looked_at = bench.browser.post(f"/journal/{old.id}/amend", fields)
    assert bench.browser.save(f"/journal/{old.id}/amend", looked_at.text).status_code == 303
    assert bench.new()[-1].at_ms == NOW - 90 * 60_000


_EVERY_KIND: dict[str, Fields] = {
    "lot": {"lot": "x-26", "name": "X", "style": "white", "alcohol": "12.5", "alcohol.unit": "% vol"},
    "first-filling": {"vessel": "K3", "lot": "riesling-26", "volume": "3", "volume.unit": "gal"},
    "titrant": {
        "name": "iodine 4", "substance": "iodine", "strength": "0.01", "strength.unit": "mol/L", "factor": "0.98",
        "opened": "2026-11-01", "standardised": "2026-11-24",
    },
    "measurement": {"vessel": "K1", "quantity": "pressure", "value": "8", "value.unit": "psi"},
    "addition": {
        "vessel": "K1", "form": "liquid", "volume": "4", "volume.unit": "mL", "label": "50", "label.unit": "g/L",
    },
    "racking": {
        "from": ["K1", "C1"], "from.volume": ["16", "8"], "from.unit": ["L", "L"], "to": ["K3", ""], "air": "closed",
        "emptied": ["K1"], "lees": "0.5", "lees.unit": "L",
    },
    "topping": {"vessel": "K1", "bottles": "2", "bottles.size": "0.75", "bottles.unit": "L", "ph": "3.4"},
    "sample": {"vessel": "K1", "volume": "60", "volume.unit": "mL", "purpose": "tasting\u00a0note"},
    "gas": {"vessel": "K1", "act": "charged", "pressure": "8", "pressure.unit": "psi", "cylinder": "CO2"},
    "inspection": {
        "vessel": "C1", "clarity": "clear", "lees": "5", "lees.unit": "mm", "film": "no", "remark": "two\nlines",
    },
    "bottling": {"vessel": "K1", "bottles": ["10", "4"], "bottles.size": ["0.75", "1.5"], "bottles.unit": ["L", "L"]},
    "vessel-status": {"vessel": "K3", "status": "cleaned"},
}  # fmt: skip


@pytest.mark.parametrize("kind", _EVERY_KIND)
def test_the_form_of_an_entry_that_nobody_touches_would_change_nothing(bench: EntryBench, kind: str) -> None:
    entry = bench.saved(kind, bench.look(kind, {**_EVERY_KIND[kind], "who": "Ana"}), warned="yes")
    fields = form_fields(bench.browser.get(f"/journal/{entry.id}/amend")) | {"who": ["Ben"]}
    answer = bench.browser.post(f"/journal/{entry.id}/amend", fields)
    assert answer.status_code == 409, words(answer.text)
    assert "nothing would change" in words(answer.text)


def test_an_entry_is_struck_with_a_reason_and_struck_once(bench: EntryBench) -> None:
    entry = _titration(bench)
    where = f"/journal/{entry.id}/strike"
    assert "cannot be undone" in words(bench.browser.get(where))
    for fields, why in (({"who": "Ben"}, "say why"), ({"reason": "wrong"}, "say who strikes it")):
        answer = bench.browser.post(where, fields)
        assert answer.status_code == 409
        assert why in words(answer.text)
    refused = bench.browser.post(where, {"who": "Ben", "reason": "wrong"}, token="0" * 64)
    assert refused.status_code == 403
    assert 'value="wrong"' in refused.text
    assert bench.new() == [entry]
    done = bench.browser.post(where, {"who": "Ben", "reason": HOSTILE})
    assert done.headers["location"] == f"/written?no={entry.id}"
    page = bench.browser.get(done.headers["location"])
    assert "<h1>Struck</h1>" in page
    assert "<s>no. 7" in page
    again = bench.browser.post(where, {"who": "Ben", "reason": HOSTILE})
    assert again.headers["location"] == f"/written?no={entry.id}&again=1"
    other = bench.browser.post(where, {"who": "Ana", "reason": "again"})
    assert other.status_code == 409
    assert "<script>alert" not in bench.browser.get("/journal")


def test_what_depends_on_a_struck_entry_is_named_first(bench: EntryBench) -> None:
    sample = bench.enter("sample", at="2026-11-24", vessel="K1", volume="60 mL")
    refused = bench.browser.post("/journal/3/strike", {"who": "Ben", "reason": "another keg"})
    assert refused.status_code == 409
    assert "would be struck with it" in words(refused.text)
    assert f"no. {sample.id}" in words(refused.text)
    done = bench.browser.post("/journal/3/strike", {"who": "Ben", "reason": "another keg", "with_later": "yes"})
    assert f"no. {sample.id}" in words(bench.browser.get(done.headers["location"]))
    assert {each.id for each in entries(bench.store) if each.struck} == {3, sample.id}


def test_a_number_without_an_entry_is_not_found(bench: EntryBench) -> None:
    for path in ("/journal/99/strike", "/journal/99/amend"):
        assert bench.browser.ask("GET", path).status_code == 404
        assert bench.browser.post(path, {"who": "Ben", "reason": "x"}).status_code == 404
    for path in ("/journal/0/strike", "/journal/x/amend", f"/journal/{2**70}/amend"):
        assert bench.browser.ask("GET", path).status_code == 422


def test_an_amendment_without_its_token_keeps_what_was_filled_in(bench: EntryBench) -> None:
    old = _titration(bench)
    fields = form_fields(bench.browser.get(f"/journal/{old.id}/amend")) | {"titre": ["1.99"]}
    answer = bench.browser.post(f"/journal/{old.id}/amend", fields, token="x")
    assert answer.status_code == 403
    assert 'value="1.99"' in answer.text
    assert hidden(answer.text, "key") == all_hidden(answer.text)["key"][0]


def test_titrations_are_worked_out_again_where_their_bottle_has_changed(bench: EntryBench) -> None:
    old = _titration(bench)
    strength = {"name": "iodine 3", "substance": "iodine", "strength": "0.02", "strength.unit": "N", "factor": "0.9"}
    bottle = bench.saved("titrant", bench.look("titrant", {**strength, "date": "2026-11-21", "who": "Ana"}))
    page = bench.browser.get(f"/written?no={bottle.id}")
    assert "These titrations used a bottle that has another strength now" in words(page)
    assert "now 1.25 and 1.3 mL less 0.05 mL of 0.02 N (factor 0.9) on 25 mL: 28 mg/L free SO2" in words(page)
    again = {"no": str(bottle.id), "who": "Ben"}
    assert bench.browser.post("/written/again", again, token="x").status_code == 403
    assert "Say who" in words(bench.browser.post("/written/again", {**again, "who": ""}).text)
    done = bench.browser.post("/written/again", again)
    assert done.status_code == 303, words(done.text)
    new = bench.new()[-1]
    assert done.headers["location"] == f"/written?no={new.id}"
    assert new.in_place_of == old.id
    assert "another strength now" not in bench.browser.get(f"/written?no={bottle.id}")
    assert bench.browser.post("/written/again", again).status_code == 200
    assert bench.browser.post("/written/again", {"no": ["x", HOSTILE], "who": "Ben"}).status_code == 404
    assert len(bench.new()) == 3
