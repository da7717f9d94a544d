"""Entering on the page, asked as a browser asks, over a real store."""

from __future__ import annotations

import html
import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from a_form import HOSTILE, NOW, TITRATION, EntryBench, Fields, FormBrowser, all_hidden, hidden, words
from a_journal import FILE_TEXT

from ingest.cellar import parse_cellar
from ingest.journal.kinds import KINDS, body_words
from ingest.store.journal.entries import entries
from ingest.times import iso_utc


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[EntryBench]:
    bench = EntryBench(tmp_path)
    yield bench
    bench.store.close()


def _controls(kind: str, options: str) -> dict[str, str | list[str]]:
    """An example of the command as the controls of the form: each amount whole in its first part."""
    words = shlex.split(options)
    fields: dict[str, str | list[str]] = {}
    for option, value in zip(words[::2], words[1::2], strict=True):
        name = option.removeprefix("--").replace("-", "_")
        before = fields.get(name)
        fields[name] = value if before is None else [*([before] if isinstance(before, str) else before), value]
    return fields


@pytest.mark.parametrize("kind", [kind for kind in KINDS.values() if kind.questions], ids=lambda kind: kind.name)
def test_the_example_of_each_kind_goes_through_its_form(bench: EntryBench, kind: Any) -> None:
    vessels = {"first-filling": "K3", "vessel-status": "K3"}
    fields = _controls(kind.name, kind.example) | {"who": "Ana"}
    if kind.name in vessels:
        fields["vessel"] = vessels[kind.name]
    if kind.name == "racking":
        fields["from"] = ["K1=16L", "C1=8L"]
    if kind.name == "gas":
        fields["cylinder"] = "CO2"
    if kind.name == "bottling":
        fields["bottles"] = "22 x 0.75 L"
    form = bench.browser.get(f"/enter/{kind.name}")
    for question in kind.questions:
        assert question.ask in html.unescape(form)
        assert f'name="{question.name}"' in form
    looked_at = bench.look(kind.name, fields)
    more = {"warned": "yes"} if "Warning:" in looked_at else {}
    entry = bench.saved(kind.name, looked_at, **more)
    assert (entry.kind, entry.who, entry.at_ms) == (kind.name, "Ana", NOW)
    for part in body_words(entry.body, entry.lot).rsplit(": ", 1):
        assert part in words(looked_at)


def test_a_titration_is_worked_out_before_it_is_saved_and_saved_once(bench: EntryBench) -> None:
    looked_at = bench.look("titration", TITRATION)
    assert "33 mg/L free SO2" in words(looked_at)
    assert "Caution: the acid burns" in words(looked_at)
    assert bench.new() == []
    bench.browser.now += 90_000
    first = bench.saved("titration", looked_at)
    assert first.at_ms == NOW, "it happened when it was looked at"
    again = bench.browser.save("/enter/titration", looked_at)
    assert again.status_code == 303
    assert again.headers["location"] == f"/written?no={first.id}&again=1"
    assert bench.new() == [first]
    assert "saved before. Nothing was written a second time" in words(bench.browser.get(again.headers["location"]))


def test_a_form_that_was_changed_after_it_was_saved_asks_before_it_writes_a_second_entry(bench: EntryBench) -> None:
    key = {"key": hidden(bench.browser.get("/enter/titration"), "key")}
    first = bench.saved("titration", bench.look("titration", {**TITRATION, **key}))
    looked_at = bench.look("titration", {**TITRATION, **key, "vessel": "C1"})
    assert f"has written no. {first.id} already. Saving it now writes another entry." in words(looked_at)
    assert bench.saved("titration", looked_at).place == "C1"
    assert len(bench.new()) == 2


def test_what_is_missing_or_cannot_be_read_is_said_at_its_question_and_nothing_is_lost(bench: EntryBench) -> None:
    answer = bench.browser.post("/enter/titration", {**TITRATION, "titre": "1.2.5", "sample": "", "remark": "from\nK1"})
    assert answer.status_code == 422
    text = words(answer.text)
    assert "'1.2.5 mL'" in text or "'1.2.5'" in text
    assert 'id="wrong-titre"' in answer.text
    assert 'value="1.2.5"' in answer.text
    assert ">from\nK1</textarea>" in answer.text
    missing = bench.browser.post("/enter/titration", {**TITRATION, "sample": "", "quantity": ""})
    assert missing.status_code == 422
    assert {"wrong-sample", "wrong-quantity"} <= set(re.findall(r'id="(wrong-\w+)"', missing.text))
    nobody = bench.browser.post("/enter/titration", {**TITRATION, "who": " "})
    assert "who" in words(nobody.text)
    assert "is missing: say who did it" in words(nobody.text)
    assert bench.new() == []


def test_a_warning_must_be_accepted_and_stays_with_the_entry(bench: EntryBench) -> None:
    fields: Fields = {"vessel": "K1", "quantity": "pH", "value": "4.9", "value.unit": "", "who": "Ana"}
    looked_at = bench.look("measurement", fields)
    assert "Warning:" in words(looked_at)
    refused = bench.browser.save("/enter/measurement", looked_at)
    assert refused.status_code == 200
    assert "Look at the warning again" in words(refused.text)
    assert bench.new() == []
    assert bench.saved("measurement", refused.text, warned="yes").body.warnings


def test_what_changed_since_it_was_looked_at_is_shown_again(bench: EntryBench) -> None:
    looked_at = bench.look("sample", {"vessel": "K1", "volume": "60", "volume.unit": "mL", "who": "Ana"})
    assert "16.9 L" in words(looked_at)
    bench.enter("sample", vessel="K1", volume="10 L")
    bench.before += 1
    shown_again = bench.browser.save("/enter/sample", looked_at)
    assert "What it gives has changed since you looked at it" in words(shown_again.text)
    assert "6.9 L" in words(shown_again.text)
    assert bench.new() == []
    bench.saved("sample", shown_again.text)


def test_later_entries_are_struck_along_only_when_that_was_seen_and_wished(bench: EntryBench) -> None:
    sample = bench.enter("sample", at="2026-11-24", vessel="K1", volume="5 L")
    bench.before += 1
    fields: Fields = {
        "vessel": "K1",
        "bottles": "22",
        "bottles.size": "0.75",
        "bottles.unit": "L",
        "date": "2026-11-23",
        "who": "Ana",
    }
    refused = bench.browser.post("/enter/bottling", fields)
    assert refused.status_code == 409
    assert f"no. {sample.id}" in words(refused.text)
    assert "Strike them, too" in words(refused.text)
    looked_at = bench.look("bottling", {**fields, "with_later": "yes"})
    assert "Struck with it, and still readable" in words(looked_at)
    entry = bench.saved("bottling", looked_at, warned="yes")
    struck = next(each for each in entries(bench.store) if each.id == sample.id).struck
    assert struck is not None
    assert struck.together_with == entry.id
    assert f"no. {sample.id}" in words(bench.browser.get(f"/written?no={entry.id}"))


@pytest.mark.parametrize(
    ("when", "at"),
    [
        ({"time": "18:15"}, "2026-11-25T17:15:00.000Z"),
        ({"date": "2026-11-21"}, "2026-11-21T11:00:00.000Z"),
        ({"date": "2026-11-21", "time": "07:05"}, "2026-11-21T06:05:00.000Z"),
    ],
)
def test_the_time_is_the_cellars(bench: EntryBench, when: dict[str, str], at: str) -> None:
    entry = bench.saved(
        "inspection", bench.look("inspection", {"vessel": "K1", "clarity": "clear", "who": "A", **when})
    )
    assert iso_utc(entry.at_ms) == at


def test_an_hour_that_occurred_twice_is_asked_about(bench: EntryBench) -> None:
    fields: dict[str, str] = {
        "name": "old",
        "substance": "iodine",
        "strength": "0.02",
        "strength.unit": "N",
        "who": "A",
    }
    night = {"date": "2026-10-25", "time": "02:30"}
    asked = bench.browser.post("/enter/titrant", {**fields, **night})
    assert asked.status_code == 422
    assert "occurred twice when the clocks changed" in words(asked.text)
    ways = re.findall(r'name="_way" value="([^"]+)"', asked.text)
    assert ways == ["2026-10-25 02:30+02:00", "2026-10-25 02:30+01:00"]
    entry = bench.saved("titrant", bench.look("titrant", {**fields, **night, "way": ways[1]}))
    assert entry.at_ms == 1_792_891_800_000
    skipped = bench.browser.post("/enter/titrant", {**fields, "date": "2026-03-29", "time": "02:30", "way": ways[1]})
    assert "was skipped when the clocks went" in words(skipped.text)


def test_last_times_settings_are_offered_and_dropped_where_they_no_longer_fit(
    bench: EntryBench,
) -> None:
    bench.saved("titration", bench.look("titration", {**TITRATION, "blank": "0.05", "end_point": "15"}))
    form = bench.browser.get("/enter/titration?vessel=C1")
    assert re.search(r'<option value="C1" selected>', form)
    assert re.search(r'name="blank" value="0.05"', form)
    assert words(form).count("as last time") >= 5
    assert 'name="titre" value=""' in form, "the titre itself is never last time's"
    elsewhere = bench.browser.post(
        "/enter/titration",
        {"vessel": "C1", "quantity": "free", "method": "elsewhere", "result": "32", "who": "Ana", "blank": "0.05",
         "blank.unit": "mL", "offered.blank": "0.05", "offered.blank.unit": "mL"},
    )  # fmt: skip
    assert elsewhere.status_code == 200, words(elsewhere.text)


def test_the_amount_that_fills_a_vessel_is_offered(bench: EntryBench) -> None:
    form = bench.browser.get("/enter/topping?vessel=K1&from=C1")
    assert "To the brim it is 2.5 L by the headspace of K1" in words(form)
    assert 'name="volume" value="2.5"' in form
    offered = {"vessel": "C1", "from": "K1", "volume": "2.5", "volume.unit": "L", "offered.volume": "2.5",
               "offered.volume.unit": "L"}  # fmt: skip
    other = bench.browser.post("/enter/topping", {**offered, "touched": ["vessel", "from"]}, "fields").text
    assert 'name="volume" value="1"' in other, "of another vessel the offer is another one"
    typed = bench.browser.post("/enter/topping", {**offered, "touched": ["vessel", "from", "volume"]}, "fields").text
    assert 'name="volume" value="2.5"' in typed


def test_questions_come_with_the_answers_that_ask_for_them(bench: EntryBench) -> None:
    def asked(fields: Fields) -> dict[str, str]:
        page = bench.browser.post("/enter/addition", fields, "fields").text
        return dict(re.findall(r'data-name="(\w+)" data-asked="(\w+)"', page))

    powder = asked({"form": "metabisulfite"})
    assert (powder["mass"], powder["salt"], powder["number"], powder["stock"]) == ("yes", "yes", "no", "no")
    tablets = asked({"form": "tablets"})
    assert (tablets["number"], tablets["label"], tablets["mass"]) == ("yes", "yes", "no")
    units = bench.browser.post("/enter/measurement", {"quantity": "temperature", "touched": "quantity"}, "fields").text
    assert ">°C</option>" in units


def test_a_form_without_its_token_writes_nothing_and_keeps_what_was_filled_in(bench: EntryBench) -> None:
    looked_at = bench.look("titration", TITRATION)
    for token in ("", "f" * 64):
        answer = bench.browser.post("/enter/titration", all_hidden(looked_at), "save", token=token)
        assert answer.status_code == 403
        assert "Nothing was written." in words(answer.text)
        assert 'name="titre" value="1.25"' in answer.text
        assert hidden(answer.text, "token") == hidden(looked_at, "token")
    assert bench.new() == []


@pytest.mark.parametrize(
    "text",
    [HOSTILE, "\u202egnp.exe", "x" * 10_240, "a\x00b", "\u00a0nbsp"],
    ids=["markup", "right to left", "long", "nul", "no-break space"],
)
def test_hostile_text_is_shown_as_text_and_never_breaks_the_page(bench: EntryBench, text: str) -> None:
    fields: Fields = {
        "vessel": "K1",
        "smell": text,
        "remark": text,
        "who": text,
        "clarity": text,
        "date": text,
        "key": text,
    }
    for step in ("look", "fields", "change", "save", text):
        answer = bench.browser.post("/enter/inspection", fields, step)
        assert answer.status_code in (200, 422), answer.text
        assert "<script>alert" not in answer.text
        assert "<img" not in answer.text
    clean: Fields = {"vessel": "K1", "smell": text, "who": "Ana"}
    answer = bench.browser.post("/enter/inspection", clean)
    if answer.status_code == 200:
        entry = bench.saved("inspection", answer.text)
        page = bench.browser.get(f"/written?no={entry.id}")
        assert "<script>alert" not in page
        assert "<img" not in page
    assert bench.browser.ask("GET", "/enter?" + urlencode({"vessel": text})).status_code == 200
    assert bench.browser.ask("GET", "/enter/inspection?" + urlencode({"smell": text})).status_code == 200
    assert bench.browser.ask("GET", "/enter/" + urlencode({"": text})[1:]).status_code == 404


def test_the_list_of_kinds_names_each_of_them(bench: EntryBench) -> None:
    page = words(bench.browser.get("/enter?vessel=K1"))
    assert "Write down at K1 17.0 L of riesling-26" in page
    for kind in KINDS.values():
        assert kind.says in page
    assert "/enter/gas?cylinder=CO2" in bench.browser.get("/enter?vessel=CO2")
    assert "/enter/racking?from=K1" in bench.browser.get("/enter?vessel=K1")
    assert bench.browser.ask("GET", "/enter/calibrations").status_code == 404
    assert bench.browser.ask("GET", "/written?no=99").status_code == 404
    assert bench.browser.ask("GET", "/written?no=x").status_code == 422


def test_a_cellar_that_has_never_run_says_so(tmp_path: Path) -> None:
    browser = FormBrowser(parse_cellar(FILE_TEXT, file="cellar.toml", base=tmp_path))
    for path in (
        "/enter",
        "/enter/sample",
        "/test-day",
        "/journal",
        "/journal/1/amend",
        "/written?no=1",
        "/api/entries",
    ):
        answer = browser.ask("GET", path)
        assert answer.status_code == 503, path
        assert "leeside run" in answer.json()["error"]


@pytest.mark.parametrize("day", ["0001-01-01", "2026-13-40"])
def test_a_day_at_the_end_of_the_calendar_is_refused_and_kept(bench: EntryBench, day: str) -> None:
    bottle = {"name": "old", "substance": "iodine", "strength": "0.02", "strength.unit": "N", "opened": day, "who": "A"}
    answer = bench.browser.post("/enter/titrant", bottle)
    assert answer.status_code in (409, 422)
    assert f'value="{day}"' in answer.text
    assert bench.browser.post("/enter/titrant", {**bottle, "date": day}, "change").status_code == 200
