"""The history as page, table, CSV and JSON, asked as a browser asks, over a store with months of one lot."""

from __future__ import annotations

import asyncio
import csv
import html
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from a_cellar_on_disk import CellarOnDisk
from a_store import NOW
from a_winter import DAY_MS, LEAST_KPA, LOT, Winter, winter_cellar

from alerts.page.app import make_app
from ingest.cellar import Cellar, parse_cellar
from ingest.entering import enter
from ingest.probes.binding import declarations
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.readings.series import declare
from ingest.times import iso_utc

HOSTILE = "<script>alert('K1')</script><img src=x onerror=\"alert(1)\">&"


def ask(cellar: Cellar, path: str, **headers: str) -> httpx.Response:
    async def asking() -> httpx.Response:
        transport = httpx.ASGITransport(app=make_app(cellar, lambda: NOW))
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8420") as client:
            return await client.get(path, headers=headers)

    return asyncio.run(asking())


def answered(cellar: Cellar, path: str) -> dict[str, Any]:
    response = ask(cellar, path)
    assert response.status_code == 200, response.text
    answer: dict[str, Any] = response.json()
    return answer


def pane(answer: dict[str, Any], quantity: str) -> dict[str, Any]:
    found: dict[str, Any] = next(pane for pane in answer["panes"] if pane["quantity"] == quantity)
    return found


@pytest.fixture(scope="module")
def winter(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Winter]:
    """Four months, a reading of each probe every five minutes."""
    made = Winter(winter_cellar(tmp_path_factory.mktemp("winter")), NOW, cadence_s=300).fill()
    yield made
    made.store.close()


@pytest.mark.parametrize("span", ["week", "month", "season", "year", "all"])
def test_the_one_lowest_reading_is_in_every_span_that_holds_it(winter: Winter, span: str) -> None:
    end = f"&to={iso_utc(NOW - 5 * DAY_MS)}" if span == "week" else ""
    (read,) = pane(answered(winter.cellar, f"/api/history?vessel=K2&span={span}{end}"), "pressure")["readings"]
    # Before the racking it held nothing: no pressure is not the lowest of its wine.
    since_racking = [low for at, low in zip(read["at_ms"], read["low"], strict=True) if at > NOW - 41 * DAY_MS]
    assert min(since_racking) == LEAST_KPA
    assert len(read["at_ms"]) <= 402


def test_a_lot_is_followed_through_the_vessels_that_it_lay_in(winter: Winter) -> None:
    answer = answered(winter.cellar, f"/api/history?lot={LOT}&span=all")
    racked_ms = NOW - 42 * DAY_MS
    assert [(stay[1], stay[3]) for stay in answer["stays"]] == [("K1", racked_ms), ("K2", None)]
    first, second = pane(answer, "pressure")["readings"]
    assert (first["place"], second["place"]) == ("K1", "K2")
    assert first["at_ms"][-1] < racked_ms
    # The row in which it came has only what was read after that.
    assert second["at_ms"][0] <= racked_ms
    assert min(second["low"][:1]) > 50
    assert pane(answer, "free_so2")["found"]["place"] == ["K1", "K1", "K1", "K2", "K2"]
    assert [band["place"] for band in pane(answer, "pressure")["bands"]] == ["K1", "K2"]


def test_titrations_estimate_limits_entries_and_alarms_are_in_the_answer(winter: Winter) -> None:
    answer = answered(winter.cellar, "/api/history?vessel=K2&span=month")
    free = pane(answer, "free_so2")
    assert (free["unit"], free["found"]["value"]) == ("mg/L", [pytest.approx(28.5, abs=0.1)])
    assert 1.0 < free["found"]["u"][0] < 3.0
    assert pane(answer, "molecular_so2")["model"] == "pK 1.81"
    heat = [limit for limit in pane(answer, "temperature")["limits"] if limit["limit"] == "K2/temperature/high"]
    assert [(limit["kind"], limit["setpoint"], limit["text"]) for limit in heat] == [("high", 16.0, "high 16.0 °C")]
    assert [mark["kind"] for mark in answer["entries"]] == ["inspection", "titration"]
    (alarm,) = answer["alarms"]
    assert (alarm["alarm"], alarm["priority"], alarm["ended_ms"] - alarm["at_ms"]) == ("a1b", "high", 90_000)
    assert alarm["words"] == "K2 pressure 3.3 kPa, below 5.0 kPa"
    estimate = answered(winter.cellar, "/api/history/estimate?vessel=K2&span=month")
    (band,) = estimate["free_so2"]
    assert all(
        low <= middle <= high for low, middle, high in zip(band["low"], band["middle"], band["high"], strict=True)
    )
    assert band["at_ms"][-1] == NOW - 1
    assert estimate["model"] == "pK 1.81"
    assert estimate["molecular_so2"][0]["middle"][-1] == pytest.approx(0.7, abs=0.2)


def test_an_alarm_that_began_before_the_span_and_lasts_into_it_is_there(winter: Winter) -> None:
    begin, end = iso_utc(NOW - round(61.5 * DAY_MS)), iso_utc(NOW - 60 * DAY_MS)
    (alarm,) = answered(winter.cellar, f"/api/history?vessel=K1&from={begin}&to={end}")["alarms"]
    assert alarm["alarm"] == "a1a"
    later = iso_utc(NOW - 50 * DAY_MS)
    assert answered(winter.cellar, f"/api/history?vessel=K1&from={end}&to={later}")["alarms"] == []


def test_limits_are_those_of_the_cellar_file_that_ran_then(tmp_path: Path) -> None:
    earlier = winter_cellar(tmp_path)
    later_text = earlier.text.replace('high = "16 °C"', 'high = "14 °C"')
    with Winter(earlier, NOW, days=10, cadence_s=3600).store as store:
        keep_cellar_file(store, earlier.text, NOW - 10 * DAY_MS)
        keep_cellar_file(store, later_text, NOW - 3 * DAY_MS)
    answer = answered(earlier, "/api/history?vessel=K2&span=month")
    heat = [
        (limit["setpoint"], limit["from_ms"], limit["to_ms"])
        for limit in pane(answer, "temperature")["limits"]
        if limit["limit"] == "K2/temperature/high"
    ]
    changed_ms = NOW - 3 * DAY_MS
    assert heat == [(16.0, NOW - 30 * DAY_MS, changed_ms), (14.0, changed_ms, NOW)]


def test_limits_of_a_vessel_that_was_renamed_are_those_of_its_former_name(tmp_path: Path) -> None:
    earlier = winter_cellar(tmp_path)
    later = parse_cellar(
        earlier.text.replace('"K2"', '"W2"').replace('id = "W2"\nkind', 'id = "W2"\nwas = "K2"\nkind'),
        file="cellar.toml",
        base=tmp_path,
    )
    with Winter(earlier, NOW, days=10, cadence_s=3600).store as store:
        keep_cellar_file(store, earlier.text, NOW - 10 * DAY_MS)
        keep_cellar_file(store, later.text, NOW - 3 * DAY_MS)
        declare(store, declarations(later), NOW - 3 * DAY_MS)
    answer = answered(later, "/api/history?vessel=W2&span=week")
    begins = {
        limit["from_ms"] for limit in pane(answer, "pressure")["limits"] if limit["limit"].endswith("/pressure/air")
    }
    assert begins == {NOW - 7 * DAY_MS, NOW - 3 * DAY_MS}
    assert {limit["place"] for limit in pane(answer, "pressure")["limits"]} == {"W2"}


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("vessel=K9", "there is no vessel 'K9'; there are: K1, K2, K3, C1"),
        ("lot=none", f"there is no lot 'none'; there are: {LOT}"),
        ("vessel=K1&lot=x", "name one vessel or one lot, not both"),
        ("vessel=K1&span=fortnight", "there is no span 'fortnight'; allowed: hour, day, week"),
        ("vessel=K1&from=2026-11-20&to=2026-11-10", "'from' must be before 'to'"),
        ("vessel=K1&from=yesterdey", "'from': "),
        ("vessel=K1&from=2026-11-20T00:00:00Z&to=2026-11-20T00:00:30Z", "the shortest span is one minute"),
        ("vessel=K1&from=1900-01-01&to=1950-01-01", "after the year 2000"),
        ("vessel=K1&from=2099-01-01&to=2099-02-01", "the span must begin before now"),
        ("vessel=K1&from=2026-01-01&to=9999-12-31", "it may end a year ahead at most"),
        ("vessel=K1&from=0001-01-01", "the longest span is 60 years"),
        ("vessel=K1&span=day&from=2026-11-20", "leave out span, or from"),
        ("vessel=%00%1b", "there is no vessel"),
    ],
)
def test_what_cannot_be_shown_is_refused_with_what_is_allowed(winter: Winter, query: str, words: str) -> None:
    api = ask(winter.cellar, f"/api/history?{query}")
    assert api.status_code == 400
    assert words in api.json()["error"]
    assert ask(winter.cellar, f"/history.csv?{query}").status_code == 400
    for path in ("/history", "/history/table"):
        page = ask(winter.cellar, f"{path}?{query}")
        assert page.status_code in (400, 404)
        assert words in html.unescape(page.text)
        assert 'role="alert"' in page.text


def test_without_a_vessel_or_lot_the_page_lists_them(winter: Winter) -> None:
    page = ask(winter.cellar, "/history")
    assert page.status_code == 200
    for address in ("/history?vessel=K1", "/history?vessel=C1", f"/history?lot={LOT}"):
        assert f'href="{address}"' in page.text
    assert "<details" in page.text
    assert ask(winter.cellar, "/api/history").status_code == 400


def test_a_vessel_that_is_asked_for_as_a_place_is_linked_with_its_card_and_journal(winter: Winter) -> None:
    page = html.unescape(ask(winter.cellar, "/history?place=K1&span=week").text)
    assert '<a href="/vessel/K1">K1</a>' in page
    assert 'href="/journal?vessel=K1&span=week"' in page
    assert 'data-subject="?vessel=K1"' in page
    room = html.unescape(ask(winter.cellar, "/history?place=cellar").text)
    assert '<a href="/room/cellar">cellar</a>' in room
    assert 'data-subject="?place=cellar"' in room


def test_the_table_says_the_same_without_a_script(winter: Winter) -> None:
    page = " ".join(html.unescape(ask(winter.cellar, f"/history/table?lot={LOT}&span=all").text).split())
    assert "<script" not in page
    for text in (
        "Pressure kPa",
        "Temperature °C",
        "Free SO2 mg/L, estimated",
        "Molecular SO2 mg/L, pK 1.81, estimated",
    ):
        assert f'<th scope="col">{text}</th>' in page
    assert "titration K2: 2.85 mL of 0.0078125 N" in page
    assert "alarm a1a: K1 pressure 19.6 kPa, below 20.0 kPa" in page
    assert "estimated" in page
    assert "titrated 28.5 ± 1.5" in page
    assert "3.3 to 5" in page, "the lowest reading is in its row"
    assert f"/history?lot={LOT}&amp;span=all".replace("&amp;", "&") in page


def test_the_csv_has_what_is_drawn_and_on_request_every_reading(winter: Winter) -> None:
    drawn = ask(winter.cellar, "/history.csv?vessel=K2&span=month")
    assert drawn.headers["content-type"] == "text/csv; charset=utf-8"
    rows = list(csv.DictReader(io.StringIO(drawn.text)))
    assert list(rows[0]) == ["at", "what", "value", "unit", "quality"]
    assert [row["at"] for row in rows] == sorted(row["at"] for row in rows)
    kinds = {row["what"] for row in rows}
    assert {
        "pressure K2 k2-pressure lowest",
        "pressure K2 k2-pressure mean",
        "pressure K2 compensated middle",
        "free SO2 K2 found",
        "free SO2 K2 found, standard uncertainty",
        "free SO2 K2 estimate low end",
        "molecular SO2 (simple) K2 estimate pK 1.81 middle",
    } <= kinds
    lowest = [float(row["value"]) for row in rows if row["what"] == "pressure K2 k2-pressure lowest"]
    assert min(lowest) == LEAST_KPA
    every = ask(winter.cellar, "/history.csv?vessel=K2&span=day&by=reading")
    readings = list(csv.DictReader(io.StringIO(every.text)))
    assert len([row for row in readings if row["what"] == "pressure K2 k2-pressure"]) == 288
    assert {row["quality"] for row in readings} == {"good"}


def test_a_csv_of_too_many_readings_is_refused_before_it_begins(
    winter: Winter, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("alerts.page.history.history_routes.MOST_LINES", 1000)
    refused = ask(winter.cellar, "/history.csv?vessel=K2&span=all&by=reading")
    assert refused.status_code == 400
    assert "and one table holds 1,000: ask for a" in refused.text


def test_the_year_is_small_on_the_wire(winter: Winter) -> None:
    packed = ask(winter.cellar, f"/api/history?lot={LOT}&span=year", **{"accept-encoding": "gzip"})
    assert packed.headers["content-encoding"] == "gzip"
    plain = ask(winter.cellar, f"/api/history?lot={LOT}&span=year", **{"accept-encoding": "identity"})
    assert "content-encoding" not in plain.headers
    assert len(plain.content) < 200_000
    # A page that repeats what the address says beside a token is never compressed.
    assert "content-encoding" not in ask(winter.cellar, "/history?vessel=K1").headers


def test_the_chart_library_is_served_from_the_installed_package(winter: Winter) -> None:
    for name, start in (("uPlot.iife.js", "/**"), ("uPlot.min.css", ".uplot")):
        file = ask(winter.cellar, f"/static/uplot/{name}")
        assert file.status_code == 200
        assert file.text.startswith(start)
    assert ask(winter.cellar, "/static/uplot/__init__.py").status_code == 404


def test_what_people_wrote_is_shown_as_text(on_disk: CellarOnDisk) -> None:
    told = {"vessel": "K1", "remark": f"{HOSTILE}"}
    enter(on_disk.store, on_disk.cellar, "inspection", told, who=HOSTILE, now_ms=NOW, at="2026-11-10")
    page = ask(on_disk.cellar, "/history/table?vessel=K1").text
    assert HOSTILE not in page
    assert html.escape(HOSTILE, quote=False).split("'")[0] in page
    assert ask(on_disk.cellar, f"/history?vessel={HOSTILE}").text.count("<script>alert") == 0


def test_us_units_are_shown_and_the_answer_keeps_leesides_own(tmp_path: Path) -> None:
    cellar = winter_cellar(tmp_path, units="us")
    Winter(cellar, NOW, days=3, cadence_s=600).fill_readings().store.close()
    answer = answered(cellar, "/api/history?vessel=K2&span=day")
    pressure = pane(answer, "pressure")
    assert (pressure["unit"], pressure["shown"]["unit"]) == ("kPa", "psi")
    assert pressure["shown"]["gain"] == pytest.approx(6.894757)
    assert "psi" in ask(cellar, "/history/table?vessel=K2&span=day").text


def test_the_answers_are_described(winter: Winter) -> None:
    described = answered(winter.cellar, "/api/openapi.json")
    for path in ("/api/history", "/api/history/estimate"):
        operation = described["paths"][path]["get"]
        assert {"vessel", "lot", "span", "from", "to"} <= {each["name"] for each in operation["parameters"]}
        assert "ErrorAnswer" in str(operation["responses"]["400"])
    schemas = described["components"]["schemas"]
    assert "UTC milliseconds" in str(schemas["ReadColumns"]["properties"]["at_ms"])
    assert not [path for path in described["paths"] if path.startswith("/history")]
