"""The cellar view, the cards and their data, asked over a cellar with a past."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from a_cellar_on_disk import NOW, CellarOnDisk
from a_mill_lane import MillLaneOnDisk
from a_page import Asker, asker
from running import leeside

from alerts.page.cellar.cellar_answers import CardAnswer, CellarAnswer
from alerts.watch.alarm_table import State
from ingest.entering import enter

HOSTILE = "<script>alert(1)</script>\u202eevil \x1b[31m&\"'" + 10_000 * "x"


@pytest.fixture(scope="module")
def lane(tmp_path_factory: pytest.TempPathFactory) -> Iterator[MillLaneOnDisk]:
    """Mill Lane with a leak in K2; nothing in this file changes it."""
    lane = MillLaneOnDisk(tmp_path_factory.mktemp("lane"))
    yield lane
    lane.store.close()


@pytest.fixture
def visitor(lane: MillLaneOnDisk) -> Iterator[Asker]:
    with asker(lane.cellar) as visitor:
        yield visitor


def text_of(page: str) -> str:
    """What a person reads."""
    return html.unescape(" ".join(re.sub("<[^>]*>", " ", page).split()))


def line_of(page: str, place: str) -> str:
    """What a person reads in the line of a place."""
    return text_of(page.split(f'aria-labelledby="at-{place}">')[1].split("</article>", maxsplit=1)[0])


def test_a_line_says_how_a_vessel_is(visitor: Asker) -> None:
    page = visitor.get("/").text
    line = line_of(page, "K2")
    assert line.startswith("high alarm")
    for words in (
        "18.3 L of rebula-26",
        "pressure 11.8 kPa",
        "free SO2 about 30 mg/L (27 to 32); molecular 0.74 (simple)",
        "blanket fast leak",
        "loses its blanket, at least ",
        "work due : re-test of lot rebula-26 (K2) due since 23 Nov",
        "Go and look now. Air the room first.",
    ):
        assert words in line
    assert "K2 high alarm K1 medium alarm" in text_of(page), "the worst first"
    assert line_of(page, "C1").startswith("not watched"), "the ingest daemon does not run: nobody knows"
    assert "gauge 11.8 kPa" in line
    assert "Leeside needs a look : ingest has never run on this store" in text_of(page)


def test_a_vessel_is_drawn_with_its_wine_and_its_last_day(visitor: Asker) -> None:
    page = visitor.get("/").text
    assert page.count('<svg class="outline"') == 6
    for words in (
        "pressure at K2, last day: lowest 11.8 kPa, highest 21.5 kPa",
        "; limit: below 5.0 kPa; limit: above 120.0 kPa",
        "temperature at C1, last day: lowest ",
    ):
        assert words in page
    assert page.count('class="band" transform') == 11, "one for each probe"
    # K3 is 11.5 L of 19.5 L: its wine stands at 0.59 of the height from 49 up to 7.
    assert 'y="24.2"' in page


@pytest.mark.parametrize(
    ("path", "words"),
    [
        (
            "/vessel/K2",
            ["pH 3.40 ± 0.03 27 Aug, 90 d ago", "free SO2 21 mg/L 15 Nov, 10 d ago since then: dosed 22 Nov"],
        ),
        ("/vessel/K2", ["last racked 17 Aug, 100 d ago", "last topped not in the journal", "total SO2 88 mg/L 27 Aug"]),
        (
            "/vessel/K2",
            ["gas is certainly lost, and fast", "below 5 kPa , high priority. In range. From the cellar file; has"],
        ),
        (
            "/vessel/K2",
            ["addition : 0.4 g of potassium metabisulfite", "K2/hours_to_air_floor/soon 0.2 h: alarm"],
        ),
        ("/vessel/K2", ["re-test of lot rebula-26 (K2) due since 23 Nov (SO2 added 22 Nov)"]),
        ("/vessel/K1", ["the low limit is 0.5 mg/L molecular (simple): the wine is probably below it; titrate now"]),
        ("/cylinder/N2", ["149.5 bar", "N2 cylinder"]),
        ("/room/cellar", ["barometric pressure 96.14 kPa", "cellar room"]),
    ],
)
def test_a_card_says_what_is_behind_a_line(visitor: Asker, path: str, words: list[str]) -> None:
    answer = visitor.get(path)
    assert answer.status_code == 200
    for each in words:
        assert each in text_of(answer.text)


def test_work_that_is_due_leads_to_its_form(visitor: Asker) -> None:
    card, alarms = visitor.get("/vessel/K2").text, visitor.get("/alarms", accept="text/html").text
    assert '<a class="form" href="/enter/titration?vessel=K2">write it down<' in card
    assert 'write it down: <a class="form" href="/enter/titration?vessel=K2">titration</a>.' in alarms
    assert "leeside enter" not in card + alarms
    limits = visitor.get("/limits?at=K1", accept="text/html").text
    assert '<a class="form" href="/review/K1">the review of K1</a>' in limits
    assert re.findall("leeside (?:enter|dose|review) ", text_of(limits)) == []


@pytest.mark.parametrize("path", ["/vessel/K7", "/vessel/N2", "/cylinder/K1", "/room/K1", f"/vessel/{'x' * 150}"])
def test_a_card_that_is_not_there_names_those_that_are(visitor: Asker, path: str) -> None:
    answer = visitor.get(path, accept="text/html")
    assert answer.status_code == 404
    assert "There are: " in text_of(answer.text)


def test_the_data_are_those_of_the_command_and_as_they_are_described(lane: MillLaneOnDisk, visitor: Asker) -> None:
    answer = visitor.get("/api/cellar")
    assert answer.headers["content-type"] == "application/json"
    described = CellarAnswer.model_validate_json(answer.text)
    assert [place.id for place in described.places] == ["K1", "K2", "K3", "C1", "N2", "cellar"]
    told = json.loads(leeside("now", lane.file, "--json").stdout)
    assert told.keys() == answer.json().keys()
    card = visitor.get("/api/vessels/K2")
    CardAnswer.model_validate_json(card.text)
    assert card.json()["blanket"]["finding"] == "fast leak"
    assert card.json().keys() == json.loads(leeside("now", lane.file, "K2", "--json").stdout).keys()
    missing = visitor.get("/api/vessels/K7")
    assert missing.status_code == 404
    assert missing.json() == {"error": "no vessel 'K7'; there are: K1, K2, K3, C1"}


def test_the_data_are_in_the_openapi_document(visitor: Asker) -> None:
    document = visitor.get("/api/openapi.json").json()
    for path in ("/api/cellar", "/api/vessels/{id}", "/api/events"):
        assert document["paths"][path]["get"]["tags"] == ["cellar"]
    assert {"CellarAnswer", "CardAnswer"} <= document["components"]["schemas"].keys()
    assert not {"/", "/vessel/{id}", "/events"} & document["paths"].keys()


def test_what_people_and_probes_wrote_is_shown_as_text(tmp_path: Path) -> None:
    on_disk = CellarOnDisk(tmp_path)
    on_disk.alarm(state=State.ACKNOWLEDGED, acknowledged_by=HOSTILE)
    on_disk.reject(example=HOSTILE, address=HOSTILE, reason=HOSTILE)
    on_disk.message(HOSTILE)
    seen: dict[str, str | bool | list[str]] = {"vessel": "K1", "clarity": "clear", "remark": HOSTILE[:25]}
    enter(on_disk.store, on_disk.cellar, "inspection", seen, who="<b>Ana</b>", now_ms=NOW)
    with asker(on_disk.cellar) as visitor:
        for path in ("/", "/vessel/K1"):
            page = visitor.get(path).text
            assert "<script>alert" not in page
            assert "\u202e" not in page, "text that runs backwards would make another of what stands beside it"
            assert "\x1b" not in page
            assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    on_disk.store.close()
