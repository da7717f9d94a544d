"""The page itself, asked as a browser asks, over a real store."""

from __future__ import annotations

import asyncio
import html
import re
from pathlib import Path

import httpx
import pytest
from a_cellar_on_disk import NOW, CellarOnDisk
from cellar_text import site

from alerts.page.app import make_app
from alerts.so2.judge import So2Judge
from alerts.turning.turner import Turner
from alerts.watch.alarm_table import State
from alerts.watch.shelving import Shelving
from alerts.watch.turn_inputs import Now
from ingest.cellar import Cellar
from ingest.entering import enter
from ingest.pulse import IngestPulse, MirrorPulse
from ingest.store import RoleLock
from ingest.store.alarms.messages import begin_try, mark_failed, recent_messages
from ingest.store.judgements import keep_judgements
from ingest.store.migrations import MIGRATIONS
from ingest.store.pulse_rows import write_pulse

HOSTILE = "<script>alert('K1')</script><img src=x onerror=\"alert(1)\">&"


def _ask(cellar: Cellar, path: str = "/", method: str = "GET", now_ms: int = NOW) -> httpx.Response:
    async def ask() -> httpx.Response:
        transport = httpx.ASGITransport(app=make_app(cellar, lambda: now_ms), raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8420") as client:
            return await client.request(method, path)

    return asyncio.run(ask())


def _page(cellar: Cellar, now_ms: int = NOW) -> str:
    """The page's text with its white space made one."""
    response = _ask(cellar, now_ms=now_ms)
    assert response.status_code == 200
    return " ".join(response.text.split())


def _text(page: str) -> str:
    """What a person reads of a page."""
    return html.unescape(" ".join(re.sub("<[^>]*>", "", page).split()))


def test_a_racking_that_is_not_finished_stands_at_its_vessels(on_disk: CellarOnDisk) -> None:
    told: dict[str, str | bool | list[str]] = {"from": ["K1"], "begin": True}
    enter(on_disk.store, on_disk.cellar, "racking", told, who=HOSTILE, now_ms=NOW - 3_600_000)
    page = _page(on_disk.cellar)
    assert page.count("racking no. 1 from K1, begun 60 min ago by ") == 1
    assert "is not finished: low pressure raises no alarm until it is, at most until " in page
    assert HOSTILE not in page
    assert "low pressure is watched again since " in _page(on_disk.cellar, NOW + 24 * 3_600_000)


def test_the_page_shows_the_cellar(on_disk: CellarOnDisk) -> None:
    on_disk.pulse("ingest")
    on_disk.pulse("alerts")
    on_disk.reading("k1-pressure", 55.16, 4)
    page = _page(on_disk.cellar)
    assert "<h1>Wednesday, 25 November 2026</h1>" in page
    assert '<span id="link-time">19:30:00 CET</span>' in page
    assert "pressure 55.2 kPa 4 s ago" in _text(page)
    assert "temperature nothing yet" in _text(page)
    assert "Nothing needs you." in page
    assert "Leeside reads and watches" in _text(page)
    assert "no probe" in page
    assert "has not responded" not in page
    assert "Not understood" not in page


def test_the_page_speaks_us_units_where_asked(tmp_path: Path) -> None:
    on_disk = CellarOnDisk(tmp_path, site=site(units="us"))
    on_disk.reading("k1-pressure", 55.16)
    on_disk.reading("k1-temperature", 12.0)
    on_disk.alarm()
    page = _page(on_disk.cellar)
    for text in ("8.00 psi", "53.6 °F", "0.51 psi", "below 0.73 psi"):
        assert text in page
    on_disk.store.close()


def test_an_alarm_is_shown_with_what_to_do(on_disk: CellarOnDisk) -> None:
    on_disk.alarm()
    page = _page(on_disk.cellar)
    assert "K1 high alarm" in _text(page)
    assert "pressure 3.5 kPa, below 5.0 kPa, since 19:29:00 CET." in page
    assert "Air can reach the wine. Look at the lid." in page
    assert '<svg class="mark high"' in page
    on_disk.alarm(state=State.ACKNOWLEDGED, acknowledged_by="Ana")
    page = _page(on_disk.cellar)
    assert "high alarm, seen by Ana: pressure 3.5 kPa" in _text(page)
    assert '<svg class="mark high seen"' in page
    on_disk.alarm(state=State.RETURNED)
    page = _page(on_disk.cellar)
    assert "high alarm, back to normal, not acknowledged: pressure 3.5 kPa" in _text(page)
    assert '<svg class="mark high past"' in page
    assert "Air can reach the wine." not in page, "what to do about it is past"


def test_work_that_is_due_is_shown_in_words(on_disk: CellarOnDisk) -> None:
    lot: dict[str, str | bool | list[str]] = {"lot": "A1", "name": "A1", "style": "white"}
    fill: dict[str, str | bool | list[str]] = {"vessel": "C1", "lot": "A1", "volume": "20 L"}
    for kind, answers in (("lot", lot), ("first-filling", fill)):
        enter(on_disk.store, on_disk.cellar, kind, answers, who="Ana", now_ms=NOW, at="2026-10-16")
    turner = Turner(on_disk.cellar, on_disk.store, Now(NOW, 0.0))
    turner.turn(Now(NOW, 0.0))
    page = _page(on_disk.cellar)
    assert "titration of lot A1 (C1) due since 16 Nov: filled 16 Oct." in page
    assert "C1 work due" in _text(page)
    assert "Titrate free SO2 and write it down" in page


def test_so2_is_shown_as_it_was_judged_and_not_as_it_was_once_titrated(on_disk: CellarOnDisk) -> None:
    lot: dict[str, str | bool | list[str]] = {"lot": "A1", "name": "A1", "style": "white"}
    fill: dict[str, str | bool | list[str]] = {"vessel": "C1", "lot": "A1", "volume": "20 L"}
    free: dict[str, str | bool | list[str]] = {
        "vessel": "C1", "quantity": "free", "method": "elsewhere", "result": "33 mg/L"
    }  # fmt: skip
    for kind, answers in (("lot", lot), ("first-filling", fill), ("titration", free)):
        enter(on_disk.store, on_disk.cellar, kind, answers, who="Ana", now_ms=NOW, at="2026-10-16")
    assert "33 mg/L free SO2" in _page(on_disk.cellar)

    def judge(at_ms: int) -> str:
        answer = So2Judge().judge(on_disk.cellar, on_disk.store, at_ms)
        with on_disk.store.write() as connection:
            keep_judgements(connection, "so2", answer)
        return _page(on_disk.cellar)

    page = judge(NOW)
    assert "33 mg/L free SO2" not in page
    assert "titrated 33 on 16 Oct" in page
    assert "molecular not known without a pH" in page
    # The judge does not work any more: what was titrated is given as what it is.
    assert "titrated 33" not in judge(NOW - 3_600_000)


def test_what_is_muted_is_shown_with_its_end_and_reason(on_disk: CellarOnDisk) -> None:
    assert "muted until" not in _page(on_disk.cellar)
    on_disk.alarm(state=State.SHELVED, shelving=Shelving("Ana", NOW, "<lid> off", 7200.0, NOW + 7_200_000))
    page = _page(on_disk.cellar)
    assert "Nothing needs you." not in page  # the daemons do not run
    assert "muted: pressure/low: muted until 21:30:00 CET, by Ana: <lid> off." in _text(page)
    assert "<lid>" not in page


def test_alarms_without_a_value_or_without_a_limit_are_shown(on_disk: CellarOnDisk) -> None:
    on_disk.alarm("K1/pressure/no-data", value=None, occurrence="a2c")
    on_disk.alarm("leeside/broker", value=None, occurrence="a2d")
    on_disk.alarm("K9/pressure/low", occurrence="a2e")
    page = _page(on_disk.cellar)
    assert "pressure: no data, since" in page
    assert "K1 medium alarm" in _text(page)
    assert "broker: not responding, since" in page
    assert "K9 low alarm: K9/pressure/low (its limit has left the cellar file), since" in _text(page)


def test_silence_bad_quality_and_dead_daemons_are_told(on_disk: CellarOnDisk) -> None:
    on_disk.pulse("ingest", seconds_ago=120)
    on_disk.reading("k1-pressure", 5000.0, 3600, 2 | (1 << 2))
    page = _page(on_disk.cellar)
    assert "pressure 50.0 bar silent for 60 min, bad (out of range)" in _text(page)
    assert "K1 silent" not in _text(page)  # nobody watches: "not watched" says more
    assert "not watched" in page
    assert "Probes are not being read: the ingest part of leeside has not responded since 19:28:00 CET." in page
    assert "Limits are not being watched: the alerts part of leeside has not responded yet." in page


def test_a_store_that_takes_no_writes_is_named_instead_of_silent_daemons(on_disk: CellarOnDisk) -> None:
    on_disk.pulse("ingest", seconds_ago=120)
    with RoleLock(on_disk.store.path, "ingest") as lock:
        lock.note("the disk does not take more")
        page = _page(on_disk.cellar)
        assert "Nothing can be stored: the disk does not take more." in page
        assert "has not responded" not in page
        lock.note("")
        assert "has not responded" in _page(on_disk.cellar)


def test_mail_that_is_refused_stands_above_all_else(on_disk: CellarOnDisk) -> None:
    on_disk.message("HIGH PRIORITY: K1")
    (message,) = recent_messages(on_disk.store)
    assert "Mail does not get out" not in _page(on_disk.cellar)
    begin_try(on_disk.store, message.id)
    mark_failed(on_disk.store, message.id, "mail server 127.0.0.1 port 25 does not take mail: 550 <b>no</b>", NOW)
    page = _page(on_disk.cellar)
    assert '<p class="trouble">Mail does not get out: 1 message not sent; the oldest has waited 0 s, 1 try: ' in page
    assert "mail server 127.0.0.1 port 25 does not take mail: 550 &lt;b&gt;no&lt;/b&gt;</p>" in page


def test_text_from_probes_and_people_is_shown_and_never_runs(tmp_path: Path) -> None:
    on_disk = CellarOnDisk(tmp_path, site=site(name=HOSTILE))
    on_disk.reject(example=HOSTILE + "1", address=HOSTILE + "2", reason=HOSTILE + "3")
    on_disk.message(HOSTILE + "4")
    on_disk.alarm(state=State.ACKNOWLEDGED, acknowledged_by=HOSTILE + "5")
    response = _ask(on_disk.cellar)
    page = response.text
    assert HOSTILE not in page
    assert "<script>" not in page
    assert "<img" not in page
    for number in "12345":
        assert HOSTILE + number in html.unescape(page)
    policy = response.headers["content-security-policy"]
    assert policy.startswith("default-src 'none'")
    assert "script-src 'self';" in policy
    assert "unsafe" not in policy
    assert response.headers["x-content-type-options"] == "nosniff"
    on_disk.store.close()


def test_the_page_shows_the_mirror_where_there_is_one(on_disk: CellarOnDisk) -> None:
    on_disk.pulse("ingest")
    assert "<h2>Mirror</h2>" not in _page(on_disk.cellar)
    with on_disk.store.write() as connection:
        mirror = MirrorPulse(state="shut", last_error="403: " + HOSTILE, spans=2, behind_since_ms=NOW - 7_200_000)
        write_pulse(connection, IngestPulse(mirror=mirror), NOW, NOW)
    page = _page(on_disk.cellar)
    for line in (
        "nothing gets through; 403: ",
        "still to send: 2 stretches of older readings",
        "not up to date for 2 h",
    ):
        assert line in page
    assert HOSTILE not in page
    assert "<script>" not in page
    assert HOSTILE in html.unescape(page)


def test_the_page_is_never_an_old_one(on_disk: CellarOnDisk) -> None:
    response = _ask(on_disk.cellar)
    assert response.headers["cache-control"] == "no-store"
    assert 'http-equiv="refresh"' in response.text
    on_disk.reading("k1-pressure", 61.0)
    assert "61.0 kPa" in _page(on_disk.cellar)


def test_only_the_newest_refusals_are_listed(on_disk: CellarOnDisk) -> None:
    for number in range(25):
        on_disk.reject(example=f"example-{number}", address=f"a/{number}")
    assert _page(on_disk.cellar).count("example-") == 20


def test_without_a_store_the_page_says_so(on_disk: CellarOnDisk) -> None:
    on_disk.store.close()
    on_disk.cellar.store_path.unlink()
    response = _ask(on_disk.cellar)
    assert response.status_code == 503
    assert response.json() == {"error": f"{on_disk.cellar.store_path}: there is no store yet; `leeside run` makes it"}
    assert not on_disk.cellar.store_path.exists()


@pytest.mark.parametrize("trouble", ["newer", "damaged", "no database"])
def test_a_store_that_cannot_be_used_is_told(on_disk: CellarOnDisk, trouble: str) -> None:
    if trouble == "newer":
        with on_disk.store.write() as connection:
            connection.execute("INSERT INTO migration VALUES (?, 'later', 0)", (MIGRATIONS[-1].number + 1,))
        meant = "written by a newer leeside"
    elif trouble == "damaged":
        on_disk.store.connection.execute("DROP TABLE pulse")
        meant = "no such table: pulse"
    else:
        on_disk.store.close()
        on_disk.cellar.store_path.write_bytes(b"no database" * 500)
        meant = "not a readable leeside store"
    response = _ask(on_disk.cellar)
    assert response.status_code == 503
    assert meant in response.json()["error"]


def test_there_is_nothing_else_and_nothing_to_change(on_disk: CellarOnDisk) -> None:
    before = list(on_disk.store.connection.iterdump())
    assert [_ask(on_disk.cellar, path).status_code for path in ("/docs", "/openapi.json", "/../etc/passwd")] == [
        404
    ] * 3
    for method in ("POST", "PUT", "DELETE"):
        assert _ask(on_disk.cellar, method=method).status_code == 405
    _page(on_disk.cellar)
    assert list(on_disk.store.connection.iterdump()) == before
