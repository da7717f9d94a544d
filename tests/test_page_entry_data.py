"""Entries for programs: read, prepared, written once, amended and struck through the page's JSON."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from json import dumps
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import httpx
import pytest
from a_form import HOSTILE, NOW, TITRATION, EntryBench, form_fields, hidden

from alerts.view.entries.journal_lines import entry_json
from ingest.journal.kinds import KINDS
from ingest.store.journal.entries import entries
from ingest.times import iso_utc

SAMPLE: Mapping[str, Any] = {"kind": "sample", "answers": {"vessel": "K1", "volume": "60 mL"}, "who": "Ana"}


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[EntryBench]:
    bench = EntryBench(tmp_path)
    yield bench
    bench.store.close()


def _post(bench: EntryBench, path: str, given: object, *, token: str | None = None, key: str = "") -> httpx.Response:
    if token is None:
        token = hidden(bench.browser.get("/enter"), "token")
    headers = {"Content-Type": "application/json", "X-Leeside-Token": token}
    if key:
        headers["Idempotency-Key"] = key
    content = given if isinstance(given, str) else json.dumps(given)
    return bench.browser.ask("POST", path, content, headers)


def _listed(bench: EntryBench, **query: str) -> list[dict[str, Any]]:
    answer = bench.browser.ask("GET", "/api/entries?" + urlencode(query))
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json()["entries"]
    return found


def test_entries_are_listed_as_the_command_gives_them(bench: EntryBench) -> None:
    assert _listed(bench) == json.loads(json.dumps([entry_json(entry) for entry in entries(bench.store)]))
    assert [entry["id"] for entry in _listed(bench, vessel="C1", kind="first-filling")] == [4]
    assert [entry["id"] for entry in _listed(bench, newest="2")] == [5, 6]
    assert _listed(bench, **{"from": "2026-11-21"}) == []
    assert bench.browser.ask("GET", "/api/entries/4").json() == _listed(bench, vessel="C1")[0]
    for query, why in (({"vessel": "K11"}, "did you mean K1?"), ({"to": "soon"}, "'soon' is not a time")):
        answer = bench.browser.ask("GET", "/api/entries?" + urlencode(query))
        assert answer.status_code == 422
        assert why in answer.json()["error"]


def test_an_entry_is_prepared_then_written_once(bench: EntryBench) -> None:
    prepared = _post(bench, "/api/entries/prepare", SAMPLE).json()
    assert (prepared["said"], prepared["at"]) == ("60 mL drawn", iso_utc(NOW))
    assert prepared["after"][0]["vessel"] == "K1"
    assert prepared["after"][0]["volume_l"] == pytest.approx(16.94)
    assert bench.new() == []
    first = _post(bench, "/api/entries", SAMPLE, key="k-1")
    assert first.status_code == 201
    assert first.json() == json.loads(json.dumps(entry_json(bench.new()[0])))
    again = _post(bench, "/api/entries", SAMPLE, key="k-1")
    assert again.json() == first.json()
    other = _post(bench, "/api/entries", {**SAMPLE, "who": "Ben"}, key="k-1")
    assert other.status_code == 409
    assert other.json()["entries"] == [first.json()["id"]]
    assert len(bench.new()) == 1


@pytest.mark.parametrize(
    ("changes", "status", "why"),
    [
        ({"answers": {"vessel": "K1", "volume": "60"}}, 422, "volume"),
        ({"answers": {}}, 422, "vessel"),
        ({"answers": {"vessel": "K9"}}, 422, "is not in any cellar file of this store; there are: K1"),
        ({"answers": {"vessel": "K1", "depth": "2"}}, 422, "does not say this"),
        ({"answers": {"vessel": "K3"}}, 409, "K3 is empty"),
        ({"answers": {"vessel": 7}}, 422, "answers"),
        ({"answers": {"vessel": ["K1", "C1"]}}, 422, "once is enough"),
        ({"answers": {"vessel": "K1", "remark": "\ud800"}}, 422, ""),
        ({"answers": {"\ud800": "x"}}, 422, ""),
        ({"answers": {"vessel": "K1", "remark": "x" * 10_240}}, 422, "remark"),
        ({"kind": "calibration"}, 422, "which probe was calibrated"),
        ({"kind": HOSTILE}, 422, "there is no form"),
        ({"who": " "}, 422, "say who did it"),
        ({"who": "\ud800"}, 422, ""),
        ({"at": "2026-03-29 02:30"}, 422, "was skipped"),
        ({"at": "2027-03-29"}, 422, "in the future"),
        ({"at": "9999-12-31 23:59"}, 422, "in the future"),
        ({"at": "0001-01-01"}, 422, ""),
        ({"more": 1}, 422, "more"),
    ],
)
def test_what_cannot_be_written_is_refused_with_what_is_allowed(
    bench: EntryBench, changes: dict[str, Any], status: int, why: str
) -> None:
    for path in ("/api/entries/prepare", "/api/entries"):
        answer = _post(bench, path, {**SAMPLE, **changes})
        assert answer.status_code == status, answer.text
        assert why in answer.text
        assert answer.json()["error"]
    assert bench.new() == []


def test_a_time_that_occurred_twice_names_both_ways(bench: EntryBench) -> None:
    given = {"kind": "titrant", "who": "Ana", "at": "2026-10-25 02:30",
             "answers": {"name": "old", "substance": "iodine", "strength": "0.02 N"}}  # fmt: skip
    answer = _post(bench, "/api/entries/prepare", given)
    assert answer.status_code == 422
    assert answer.json()["ways"] == ["2026-10-25 02:30+02:00", "2026-10-25 02:30+01:00"]
    assert _post(bench, "/api/entries", {**given, "at": answer.json()["ways"][0]}).status_code == 201


def test_warnings_and_later_entries_must_be_accepted(bench: EntryBench) -> None:
    warned = {"kind": "measurement", "who": "Ana", "answers": {"vessel": "K1", "quantity": "pH", "value": "4.9"}}
    answer = _post(bench, "/api/entries", warned)
    assert answer.status_code == 409
    assert len(answer.json()["warnings"]) == 1
    assert _post(bench, "/api/entries", {**warned, "despite_warnings": True}).status_code == 201
    bench.enter("sample", at="2026-11-24", vessel="K1", volume="5 L")
    early = {"kind": "bottling", "who": "Ana", "at": "2026-11-23", "despite_warnings": True,
             "answers": {"vessel": "K1", "bottles": ["22 x 0.75 L"]}}  # fmt: skip
    refused = _post(bench, "/api/entries", early)
    assert (refused.status_code, refused.json()["later"]) == (409, [8])
    prepared = _post(bench, "/api/entries/prepare", {**early, "with_later": True})
    assert prepared.json()["later"] == [8]
    assert _post(bench, "/api/entries", {**early, "with_later": True}).status_code == 201
    assert _listed(bench, struck="false", kind="sample") == []


def test_an_entry_is_amended_once_and_struck(bench: EntryBench) -> None:
    old = bench.saved("titration", bench.look("titration", TITRATION))
    change = {"answers": {"titre": ["1.30 mL", "1.32 mL"]}, "who": "Ben", "reason": "misread"}
    path = f"/api/entries/{old.id}/amend"
    assert "mg/L free SO2" in _post(bench, f"{path}/prepare", change).json()["said"]
    new = _post(bench, path, change, key="a")
    assert new.status_code == 201, new.text
    assert new.json()["in_place_of"] == old.id
    assert _post(bench, path, change, key="a").json() == new.json()
    assert _post(bench, path, change).status_code == 409
    unknown = _post(bench, f"/api/entries/{new.json()['id']}/amend", {"answers": {}, "without": ["film"], "who": "Ben"})
    assert unknown.json()["wrong"][0]["field"] == "without"
    struck = _post(bench, f"/api/entries/{new.json()['id']}/strike", {"who": "Ben", "reason": "water"})
    assert struck.json()["entries"][0]["struck"]["reason"] == "water"
    assert _post(bench, f"/api/entries/{new.json()['id']}/strike", {"who": "Ben", "reason": ""}).status_code == 409
    for act in ("strike", "amend", "amend/prepare"):
        assert _post(bench, f"/api/entries/99/{act}", {**change, "answers": {}} if "amend" in act else
                     {"who": "Ben", "reason": "x"}).status_code == 404  # fmt: skip


@pytest.mark.parametrize("path", ["", "/prepare", "/1/strike", "/1/amend", "/1/amend/prepare"])
def test_nothing_is_done_without_the_token(bench: EntryBench, path: str) -> None:
    before = list(bench.store.connection.iterdump())
    for token in ("", "0" * 64):
        answer = _post(bench, "/api/entries" + path, {"who": "Ana", "reason": "x"}, token=token)
        assert answer.status_code == 403
        assert "error" in answer.json()
    assert list(bench.store.connection.iterdump()) == before


@pytest.mark.parametrize("content", ["", "{", "[]", "null", '"x"', "\x00", "[" * 5000])
def test_a_request_that_is_not_an_entry_is_refused(bench: EntryBench, content: str) -> None:
    answer = _post(bench, "/api/entries", content)
    assert answer.status_code in (400, 422)
    assert answer.json()["error"]


def test_the_kinds_are_described_as_their_forms_ask(bench: EntryBench) -> None:
    described = {kind["name"]: kind for kind in bench.browser.ask("GET", "/api/kinds").json()["kinds"]}
    assert list(described) == list(KINDS)
    # What is asked of a calibration depends on the probe.
    for name, kind in ((name, kind) for name, kind in KINDS.items() if name != "calibration"):
        assert [each["name"] for each in described[name]["questions"]] == [each.name for each in kind.questions]
    titre = next(each for each in described["titration"]["questions"] if each["name"] == "titre")
    assert titre == {
        "name": "titre", "ask": "The titre?", "help": "Titrant used; once for each flask.", "example": "1.25 mL",
        "form": "amount", "options": [], "units": ["mL"], "many": True,
    }  # fmt: skip
    assert form_fields(bench.browser.get("/enter/titration"))["titre.unit"] == ["mL"] * 3


def test_what_programs_send_and_get_is_described(bench: EntryBench) -> None:
    document = bench.browser.ask("GET", "/api/openapi.json").json()
    for path, method in (
        ("/api/entries", "get"), ("/api/entries", "post"), ("/api/entries/prepare", "post"), ("/api/kinds", "get"),
        ("/api/entries/{number}", "get"), ("/api/entries/{number}/strike", "post"),
        ("/api/entries/{number}/amend", "post"), ("/api/entries/{number}/amend/prepare", "post"),
    ):  # fmt: skip
        described = document["paths"][path][method]
        good = described["responses"]["201" if "201" in described["responses"] else "200"]
        assert "$ref" in good["content"]["application/json"]["schema"]
        if method == "post":
            assert {"403", "409", "422"} <= set(described["responses"])


def test_the_example_in_the_docs_writes_an_entry(
    bench: EntryBench, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (Path(__file__).parent.parent / "docs" / "data.md").read_text(encoding="utf-8")
    example = next(block for block in re.findall(r"```python\n(.+?)```", text, re.DOTALL) if "/api/entries" in block)

    class Client:
        """Stands for httpx's, without a port."""

        def __init__(self, base_url: str) -> None:
            assert base_url == "http://127.0.0.1:8420"

        def __enter__(self) -> Client:
            return self

        def __exit__(self, *_: object) -> None:
            pass

        def get(self, path: str) -> httpx.Response:
            return bench.browser.ask("GET", path)

        def post(self, path: str, json: object, headers: Mapping[str, str]) -> httpx.Response:
            answer = bench.browser.ask("POST", path, dumps(json), {"Content-Type": "application/json", **headers})
            answer.request = httpx.Request("POST", path)
            return answer

    monkeypatch.setattr(httpx, "Client", Client)
    exec(compile(example, "docs/data.md", "exec"), {})
    assert capsys.readouterr().out == "60 mL drawn for titration\nno. 7\n"
    assert bench.new()[0].kind == "sample"
