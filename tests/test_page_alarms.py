"""Alarms on the page and for programs: listed, acknowledged, muted, and what happened to them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from a_mill_lane import MillLaneOnDisk, running_turns
from a_page import Asker, asker

from alerts import operator_requests
from ingest.store.alarms.operator_events import waiting_events

HTML = "text/html"


@pytest.fixture
def lane(tmp_path: Path) -> Iterator[MillLaneOnDisk]:
    made = MillLaneOnDisk(tmp_path, days=1)
    yield made
    made.store.close()


@pytest.fixture
def ana(lane: MillLaneOnDisk) -> Iterator[Asker]:
    with asker(lane.cellar, clock=lambda: lane.now_ms) as visitor:
        yield visitor


def _form(visitor: Asker, path: str, **fields: object) -> Any:
    return visitor("POST", path, data={"token": visitor.token(), **fields}, headers={"Accept": HTML})


def _text(html: str) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", html).split())


def _ids(visitor: Asker) -> dict[str, str]:
    return {alarm["limit"]: alarm["alarm"] for alarm in visitor.get("/api/alarms").json()["alarms"]}


LEAK = "K2/hours_to_air_floor/soon"


def test_alarms_are_listed_with_what_to_do(ana: Asker) -> None:
    page = ana.get("/alarms", Accept=HTML)
    text = _text(page.text)
    for words in (
        "high alarm K2 loses its blanket",
        "medium alarm K1 molecular SO2",
        "work due",
        "Go and look now.",
        "Acknowledge all 3",
        f"{LEAK} , {_ids(ana)[LEAK]}",
    ):
        assert words in text, text
    assert "<title>3 alarms · Mill Lane cellar</title>" in page.text
    assert 'name="who"' in page.text


def test_a_person_acknowledges_one_and_then_all(lane: MillLaneOnDisk, ana: Asker) -> None:
    with running_turns(lane.cellar, lane.now_ms):
        done = _form(ana, "/alarms/acknowledge", alarm=_ids(ana)[LEAK], who="Ana")
        assert done.status_code == 303
        page = _text(ana.get(done.headers["location"], Accept=HTML).text)
        assert "high alarm, seen by Ana" in page
        assert "Acknowledge all 2" in page
        assert "You are Ana." in page
        done = _form(ana, "/alarms/acknowledge", everything="1", who="Ana")
        page = _text(ana.get(done.headers["location"], Accept=HTML).text)
        assert "Acknowledge all" not in page
        assert page.count("seen by Ana") == 3
    assert {alarm["acknowledged_by"] for alarm in ana.get("/api/alarms").json()["alarms"]} == {"Ana"}
    record = _text(ana.get("/alarms/record", Accept=HTML).text)
    assert record.count("seen by Ana") == 3


def test_without_a_name_or_with_a_wrong_one_nothing_is_written(lane: MillLaneOnDisk, ana: Asker) -> None:
    ids = _ids(ana)
    for fields, words in (
        ({"alarm": ids[LEAK], "who": " "}, "Say who you are"),
        ({"who": "Ana"}, "Say which alarms you have seen, or all."),
        ({"alarm": ids[LEAK], "everything": "1", "who": "Ana"}, "Say which alarms you have seen, or all."),
        ({"alarm": "zzz", "who": "Ana"}, "no alarm and no limit is called &#39;zzz&#39;."),
        ({"alarm": ids[LEAK], "who": "A\u202ena"}, "control characters or direction marks"),
        ({"alarm": ids[LEAK], "who": "x" * 300}, "at most 200 are allowed"),
    ):
        refused = _form(ana, "/alarms/acknowledge", **fields)
        assert refused.status_code == 422
        assert words in refused.text
    assert waiting_events(lane.store) == []


def test_where_leeside_does_not_run_it_is_said_and_kept(
    lane: MillLaneOnDisk, ana: Asker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(operator_requests, "WAIT_S", 0.0)
    lane.now_ms += 600_000
    done = _form(ana, "/alarms/acknowledge", everything="1", who="Ana")
    page = _text(ana.get(done.headers["location"], Accept=HTML).text)
    assert "is `leeside run` running (it was last heard of 600 s ago)?" in page
    assert "What you wrote is kept and will be applied when it runs." in page
    assert "Limits are not being watched: leeside does not respond." in page
    answer = ana.post("/api/alarms/acknowledge", {"all": True, "who": "Ana"})
    assert answer.status_code == 503
    assert "What you wrote is kept" in answer.json()["error"]
    assert len(waiting_events(lane.store)) == 2
    with running_turns(lane.cellar, lane.now_ms):
        monkeypatch.undo()
        assert ana.post("/api/alarms/acknowledge", {"all": True, "who": "Ana"}).json()["results"][0]["done"] is False
    assert "seen by Ana" in _text(ana.get(done.headers["location"], Accept=HTML).text)


def test_a_limit_is_muted_with_an_end_and_a_reason_and_unmuted(lane: MillLaneOnDisk, ana: Asker) -> None:
    form = _text(ana.get(f"/alarms/shelve?limit={_ids(ana)[LEAK]}", Accept=HTML).text)
    assert f"{LEAK} : " in form
    assert "12 h 1 d 3 d 7 d without an end" in form
    with running_turns(lane.cellar, lane.now_ms):
        done = _form(ana, "/alarms/shelve", limit=LEAK, span="3600", why="new <b>seal</b>", who="Ana")
        assert done.status_code == 303, done.text
        page = ana.get(done.headers["location"], Accept=HTML).text
        assert (
            f"<strong>{LEAK}</strong>, which would be an alarm now: muted until 20:30:00 CET, by Ana: new &lt;b&gt;"
            in page
        )
        done = _form(ana, "/alarms/unshelve", limit=LEAK, who="Ana")
        assert "Muted by people" not in ana.get(done.headers["location"], Accept=HTML).text
    record = _text(ana.get("/alarms/record?under=K2", Accept=HTML).text)
    assert "muted by Ana until 20:30:00 CET: new &lt;b&gt;seal&lt;/b&gt;" in record
    assert "mute ended by Ana, alarm raised" in record
    assert "rebula" not in record


def test_overpressure_is_muted_for_an_hour_at_most(lane: MillLaneOnDisk, ana: Asker) -> None:
    form = _text(ana.get("/alarms/shelve?limit=K1/pressure/over", Accept=HTML).text)
    assert "at most 1 h at a time" in form
    assert "15 min 30 min 1 h or until" in form
    for fields, words in (
        ({"span": "86400"}, "overpressure can be muted for at most 1 h at a time"),
        ({"span": "out"}, "overpressure cannot be taken out of service"),
        ({"span": "7"}, "Choose for how long"),
        ({"span": "3600", "why": " "}, "Say why"),
        ({"until": "25:99"}, "25:99"),
        ({"until": "2020-01-01 12:00"}, "its end has passed already"),
        ({"span": "3600", "who": ""}, "Say who you are"),
    ):
        refused = _form(ana, "/alarms/shelve", limit="K1/pressure/over", **{"why": "test", "who": "Ana", **fields})
        assert refused.status_code == 422, fields
        assert words in refused.text, refused.text
    assert waiting_events(lane.store) == []
    assert ana.get("/alarms/shelve?limit=K9/pressure/low", Accept=HTML).status_code == 404


def test_a_mute_can_end_at_a_time_or_never(lane: MillLaneOnDisk, ana: Asker) -> None:
    with running_turns(lane.cellar, lane.now_ms):
        done = _form(ana, "/alarms/shelve", limit=LEAK, until="21:00", span="900", why="x", who="Ana")
        assert "muted until 21:00:00 CET" in ana.get(done.headers["location"], Accept=HTML).text
        limit = "K1/pressure/care"
        done = _form(ana, "/alarms/shelve", limit=limit, span="out", why="gauge in repair", who="Ana")
        assert "out of service since 19:30:00 CET, by Ana: gauge in repair" in _text(
            ana.get(done.headers["location"], Accept=HTML).text
        )
        limits = ana.get("/limits?at=K1", Accept=HTML).text
        assert "Out of service since 19:30:00 CET, by Ana" in limits
        assert "K2/" not in limits


def test_programs_do_the_same(lane: MillLaneOnDisk, ana: Asker) -> None:
    with running_turns(lane.cellar, lane.now_ms):
        ids = _ids(ana)
        answer = ana.post("/api/alarms/acknowledge", {"alarms": [ids[LEAK], ids[LEAK]], "who": "Bot", "note": "seen"})
        (result,) = answer.json()["results"]
        assert (result["id"], result["done"]) == (ids[LEAK], True)
        given = {"limits": [LEAK], "for_s": 600, "why": "trial", "who": "Bot"}
        assert ana.post("/api/alarms/shelve", given).json()["results"][0]["done"] is True
        muted = ana.get("/api/alarms").json()["muted"]
        assert [(each["limit"], each["shelved"]["why"]) for each in muted] == [(LEAK, "trial")]
        assert ana.post("/api/alarms/unshelve", {"limits": [LEAK], "who": "Bot"}).json()["results"][0]["done"] is True
        until = {"limits": [LEAK], "until": "2026-11-25T19:00:00Z", "why": "trial", "who": "Bot"}
        assert ana.post("/api/alarms/shelve", until).json()["results"][0]["done"] is True
    steps = ana.get("/api/alarms/record?under=K2&most=5").json()["steps"]
    assert len(steps) == 5
    assert steps[0]["number"] > steps[1]["number"]
    assert steps[0]["event"] == "shelved"
    older = ana.get(f"/api/alarms/record?before={steps[4]['number']}").json()["steps"]
    assert older[0]["number"] < steps[4]["number"]
    limits = ana.get("/api/limits").json()["limits"]
    air = next(limit for limit in limits if limit["limit"] == "K1/pressure/air")
    assert (air["setpoint_kpa"], air["priority"], air["origin"]) == (5.0, "high", "default")


@pytest.mark.parametrize(
    ("path", "body", "code", "words"),
    [
        ("acknowledge", {"who": "Bot"}, 400, "say which alarms, or all"),
        ("acknowledge", {"alarms": ["zzz"], "who": "Bot"}, 404, "no alarm and no limit is called 'zzz'"),
        ("acknowledge", {"all": True}, 422, "who: Field required"),
        ("acknowledge", {"all": True, "who": "B\x00t"}, 400, "control characters"),
        ("shelve", {"limits": [LEAK], "why": "x", "who": "Bot"}, 400, "one of them"),
        ("shelve", {"limits": [LEAK], "for_s": 1e8, "why": "x", "who": "Bot"}, 400, "at most 7 days"),
        ("shelve", {"limits": [LEAK], "for_s": -1, "why": "x", "who": "Bot"}, 422, "for_s"),
        ("shelve", {"limits": [LEAK], "until": "then", "why": "x", "who": "Bot"}, 400, "then"),
        ("unshelve", {"limits": [], "who": "Bot"}, 422, "limits"),
    ],
)
def test_what_a_program_may_not_ask_is_said_and_nothing_is_written(
    lane: MillLaneOnDisk, ana: Asker, path: str, body: object, code: int, words: str
) -> None:
    answer = ana.post(f"/api/alarms/{path}", body)
    assert answer.status_code == code, answer.text
    assert words in answer.json()["error"]
    assert waiting_events(lane.store) == []
