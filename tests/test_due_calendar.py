"""Due work as a calendar: what any calendar program reads of it, on which days, and under which ids."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

import httpx
import pytest
from a_page import PASSWORD_HASH, asker
from a_probed_cellar import BEGIN_MS, DAY_MS, ProbedCellar
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar
from watch_limits import a_limit

from alerts.calendar_feed import feed_address, feed_token, is_feed_token
from alerts.due_calendar import due_calendar
from alerts.errors import AlertsError
from alerts.limits.due_feed import due_limits_at
from alerts.page.app import make_app
from alerts.watch.due import DueLimit
from alerts.watch.turn_inputs import DueFact

ZONE: Final = ZoneInfo("Europe/Ljubljana")
PAGE: Final = '[page]\naddress = "127.0.0.1:8420"\n'


def utc_ms(text: str) -> int:
    """A local time of the cellar as UTC milliseconds."""
    return round(datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp() * 1000)


def a_work(due_ms: int, **changes: Any) -> DueLimit:
    usual = a_limit(
        key="A1/titration",
        kind="due",
        at="K1",
        quantity="titration",
        probe="A1/titration",
        lot="A1",
        setpoint=31.0,
        unit_text="d",
        action="Titrate free SO2.",
    )
    return DueLimit(replace(usual, **changes), DueFact(due_ms - 31 * DAY_MS, due_ms, "last titrated"))


def vevents(document: bytes) -> list[Any]:
    calendar = Calendar.from_ical(document)
    assert not calendar.errors
    return list(calendar.walk("VEVENT"))


def events(works: Sequence[DueLimit], now_ms: int) -> list[Any]:
    return vevents(due_calendar(works, "Mill Lane", ZONE, now_ms))


@pytest.mark.parametrize(
    ("due", "day"),
    [
        ("2026-10-24T23:59", date(2026, 10, 24)),
        ("2026-10-25T00:00", date(2026, 10, 25)),  # a day of 25 hours
        ("2026-10-25T02:30", date(2026, 10, 25)),
        ("2026-10-25T23:59", date(2026, 10, 25)),
        ("2026-10-26T00:00", date(2026, 10, 26)),
        ("2027-03-28T00:30", date(2027, 3, 28)),  # one of 23 hours
        ("2027-03-28T23:30", date(2027, 3, 28)),
        ("2027-03-29T00:00", date(2027, 3, 29)),
    ],
)
def test_work_is_on_its_day_in_the_cellar_across_a_clock_change(due: str, day: date) -> None:
    (event,) = events([a_work(utc_ms(due))], utc_ms("2026-10-01T12:00"))
    assert (event["DTSTART"].dt, event["DTEND"].dt) == (day, day + timedelta(days=1))
    assert event["SUMMARY"] == "Titrate K1 (lot A1)"


def test_overdue_work_reaches_until_today() -> None:
    (event,) = events([a_work(utc_ms("2026-10-20T09:00"))], utc_ms("2026-10-27T09:00"))
    assert (event["DTSTART"].dt, event["DTEND"].dt) == (date(2026, 10, 20), date(2026, 10, 28))
    assert event["SUMMARY"] == "Titrate K1 (lot A1) (due since 20 Oct)"
    assert "last titrated 19 Sep" in event["DESCRIPTION"]
    assert "What to do: Titrate free SO2." in event["DESCRIPTION"]


@given(st.text(max_size=80), st.text(max_size=300), st.integers(-(10**12), 4 * 10**12))
def test_any_text_and_time_is_read_back_by_the_library(place: str, action: str, due_ms: int) -> None:
    place, action = (text.encode("utf-8", "replace").decode() for text in (place, action))
    document = due_calendar([a_work(due_ms, at=place, action=action)], place, ZONE, utc_ms("2026-10-27T09:00"))
    assert max(map(len, document.split(b"\r\n"))) <= 75, "RFC 5545 section 3.1: lines of at most 75 octets"
    (event,) = vevents(document)
    assert document.count(b"BEGIN:VEVENT") == document.count(b"\r\nUID:") == 1
    begin = datetime.fromtimestamp(due_ms // 1000, UTC).astimezone(ZONE).date()
    assert event["DTSTART"].dt == begin


def due_at(wine: ProbedCellar, day: float) -> list[DueLimit]:
    with wine.store.read() as connection:
        return list(due_limits_at(wine.cellar, connection, BEGIN_MS + round(day * DAY_MS)).values())


def test_work_that_was_done_moves_to_its_next_time_under_the_same_id(tmp_path: Path) -> None:
    wine = ProbedCellar(tmp_path)
    before = {str(event["SUMMARY"]): event for event in events(due_at(wine, 20), BEGIN_MS + 20 * DAY_MS)}
    wine.write(25, "titration", "K1", quantity="free", method="elsewhere", so2_mg_l=28.0, u_so2_mg_l=1.5)
    after = {str(event["SUMMARY"]): event for event in events(due_at(wine, 26), BEGIN_MS + 26 * DAY_MS)}
    first, then = before["Titrate K1 (lot ries)"], after["Titrate K1 (lot ries)"]
    assert first["UID"] == then["UID"]
    assert then["DTSTART"].dt - first["DTSTART"].dt == timedelta(days=24)
    assert then["SEQUENCE"] > first["SEQUENCE"]
    assert len({event["UID"] for event in after.values()}) == len(after) > 1
    wine.store.close()


def ask(wine: ProbedCellar, path: str) -> httpx.Response:
    async def get() -> httpx.Response:
        app = make_app(wine.cellar, lambda: BEGIN_MS + 40 * DAY_MS)
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8420") as client:
            return await client.get(path)

    return asyncio.run(get())


def test_the_feed_is_found_by_its_address_alone(tmp_path: Path) -> None:
    wine = ProbedCellar(tmp_path, PAGE)
    assert ask(wine, f"/calendar/{'A' * 43}.ics").status_code == 404, "no token yet"
    address = feed_address(wine.cellar)
    assert address.startswith("http://127.0.0.1:8420/calendar/")
    path = address.removeprefix("http://127.0.0.1:8420")
    answer = ask(wine, path)
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/calendar")
    summaries = [str(event["SUMMARY"]) for event in vevents(answer.content)]
    assert "Titrate K1 (lot ries) (due since 10 Nov)" in summaries
    for wrong in (
        "/calendar/.ics",
        "/calendar/x.ics",
        path.replace(".ics", "x.ics"),
        path.swapcase(),
        "/calendar/%00.ics",
    ):
        refused = ask(wine, wrong)
        assert refused.status_code == 404
        assert "BEGIN" not in refused.text
    wine.store.close()


def test_a_calendar_needs_no_log_in_and_its_address_opens_nothing_else(tmp_path: Path) -> None:
    wine = ProbedCellar(tmp_path, PAGE)
    path = feed_address(wine.cellar).removeprefix("http://127.0.0.1:8420")
    with asker(wine.cellar, password_hash=PASSWORD_HASH, sessions_file=tmp_path / "sessions") as stranger:
        assert stranger.get(path).content.startswith(b"BEGIN:VCALENDAR")
        for other in ("/", f"{path}/..", "/calendar/", path.replace(".ics", "")):
            assert stranger.get(other).status_code in (401, 404), other
    wine.store.close()


def test_the_token_is_kept_for_its_owner_alone_and_made_again_when_it_is_removed(tmp_path: Path) -> None:
    wine = ProbedCellar(tmp_path)
    token = feed_token(wine.cellar)
    assert feed_token(wine.cellar) == token
    (file,) = tmp_path.glob("*.calendar-token")
    assert file.stat().st_mode & 0o777 == 0o600
    assert is_feed_token(wine.cellar, token)
    assert not is_feed_token(wine.cellar, token[:-1])
    file.unlink()
    assert not is_feed_token(wine.cellar, token)
    assert feed_token(wine.cellar) != token
    file.write_text("short\n")
    assert not is_feed_token(wine.cellar, "short")
    with pytest.raises(AlertsError, match="does not hold the calendar's token"):
        feed_token(wine.cellar)
    with pytest.raises(AlertsError, match=r"no \[page\]"):
        feed_address(wine.cellar)
    wine.store.close()
