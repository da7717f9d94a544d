"""A test day on the page: several titrations in one table, all of them or none."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from a_form import HOSTILE, NOW, EntryBench, Fields, form_fields, words

from ingest.journal.kinds import body_words

COMMON: Fields = {
    "quantity": "free", "method": "iodometric", "titrant": "iodine 3", "sample": "25", "sample.unit": "mL",
    "who": "Ana",
}  # fmt: skip
ROWS: Fields = {
    "wine": ["K1", "C1", "riesling-26", ""], "flask1": ["1.25", "0,9", "1.00", ""], "flask2": ["1.30", "", "", ""],
    "flask3": ["", "", "", ""],
}  # fmt: skip


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[EntryBench]:
    bench = EntryBench(tmp_path)
    yield bench
    bench.store.close()


def test_a_day_is_worked_out_row_by_row_and_saved_together_once(bench: EntryBench) -> None:
    empty = bench.browser.get("/test-day")
    assert form_fields(empty)["wine"] == ["K1", "C1", "", ""], "K3 is empty"
    looked_at = bench.browser.post("/test-day", {**COMMON, **ROWS})
    assert looked_at.status_code == 200, words(looked_at.text)
    text = words(looked_at.text)
    for row in ("K1 33 mg/L free SO2 1.25, 1.3 mL", "C1 23 mg/L free SO2 0.9 mL", "riesling-26 26 mg/L free SO2 1 mL"):
        assert row in text
    assert text.count("Caution:") == 1
    assert bench.new() == []
    bench.browser.now += 60_000
    done = bench.browser.save("/test-day", looked_at.text)
    assert done.status_code == 303, words(done.text)
    numbers = [entry.id for entry in bench.new()]
    assert done.headers["location"] == "/written?" + "&".join(f"no={number}" for number in numbers)
    assert [(entry.where, entry.at_ms, entry.who) for entry in bench.new()] == [
        ("K1", NOW, "Ana"), ("C1", NOW, "Ana"), ("riesling-26", NOW, "Ana"),
    ]  # fmt: skip
    assert body_words(bench.new()[1].body).endswith("23 mg/L free SO2")
    again = bench.browser.save("/test-day", looked_at.text)
    assert again.headers["location"].endswith("&again=1")
    assert len(bench.new()) == 3
    assert form_fields(bench.browser.get("/test-day"))["titrant"] == ["iodine 3"], "as last time"


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"flask1": ["1.25", "x", "1.00", ""]}, "'x' is not a number of mL"),
        ({"wine": ["K1", "K1", "riesling-26", ""]}, "K1 is there already"),
        ({"flask1": ["1.25", "0.9", "1", "2"]}, "a row: say which wine"),
        ({"wine": ["K1", "K9", "", ""]}, "K9: there is no vessel or lot 'K9'"),
        ({"wine": ["K1", "K3", "", ""]}, "K3 is empty"),
        ({"flask1": [""] * 4, "flask2": [""] * 4}, "no row is filled in"),
        ({"sample": ""}, "is missing: Wine in a flask."),
        ({"date": "2026-03-29", "time": "02:30"}, "was skipped"),
        ({"date": "2026-10-25", "time": "02:30"}, "after the clocks went back"),
        ({"who": ""}, "say who did it"),
        ({"wine": [HOSTILE, "C1", "", ""]}, "script"),
        ({"flask1": ["1.25", HOSTILE, "1.00", ""]}, "script"),
    ],
)
def test_nothing_is_written_while_one_row_is_wrong(bench: EntryBench, changes: Fields, why: str) -> None:
    answer = bench.browser.post("/test-day", {**COMMON, **ROWS, **changes})
    assert answer.status_code == 422, words(answer.text)
    assert why in words(answer.text)
    assert "<script>alert" not in answer.text
    if "flask1" not in changes:
        assert {"1.25", "0,9", "1.00"} <= set(form_fields(answer.text)["flask1"]), "what was filled in stays"
    assert bench.new() == []


def test_warnings_of_a_row_must_be_accepted(bench: EntryBench) -> None:
    rows = {**COMMON, **ROWS, "flask2": ["1.80", "", "", ""]}
    looked_at = bench.browser.post("/test-day", rows)
    assert "the flasks disagree" in words(looked_at.text)
    refused = bench.browser.save("/test-day", looked_at.text)
    assert "Look at the warning again" in words(refused.text)
    assert bench.new() == []
    assert bench.browser.save("/test-day", looked_at.text, warned="yes").status_code == 303
    assert len(bench.new()) == 3


def test_without_its_token_the_table_is_kept(bench: EntryBench) -> None:
    answer = bench.browser.post("/test-day", {**COMMON, **ROWS}, "save", token="0")
    assert answer.status_code == 403
    assert form_fields(answer.text)["flask1"][:2] == ["1.25", "0,9"]
    assert bench.new() == []


def test_a_table_that_was_changed_after_it_was_saved_asks_before_it_writes_again(bench: EntryBench) -> None:
    key = {"key": "k-1"}
    looked_at = bench.browser.post("/test-day", {**COMMON, **ROWS, **key})
    assert bench.browser.save("/test-day", looked_at.text).status_code == 303
    changed = bench.browser.post("/test-day", {**COMMON, **ROWS, **key, "flask1": ["1.2", "", "", ""]})
    assert "has written no. 7, no. 8, no. 9 already" in words(changed.text)
