"""Browsers that have logged in before: who is one, for how long, and that nobody else can become one."""

from __future__ import annotations

from http.cookies import SimpleCookie
from typing import Any

import pytest
from fastapi import Request, Response

from alerts.page.doors.attempts import AttemptLimit
from alerts.page.doors.known_browsers import KNOWN_COOKIE, KnownBrowsers

NOW = 1_795_631_400_000
DAY_MS = 86_400_000
KEY = bytes(range(32))


def _asks(cookie: str = "", scheme: str = "https") -> Request:
    headers = [(b"cookie", f"{KNOWN_COOKIE}={cookie}".encode())] if cookie else []
    scope: dict[str, Any] = {"type": "http", "headers": headers, "scheme": scheme, "server": ("cellar.example", 443)}
    return Request({**scope, "path": "/login", "query_string": b""})


def _cookie(browsers: KnownBrowsers, now_ms: int = NOW) -> str:
    response = Response()
    browsers.keep(response, _asks(), now_ms)
    return SimpleCookie(response.headers["set-cookie"])[KNOWN_COOKIE].value


def test_only_this_page_makes_a_browser_known() -> None:
    browsers = KnownBrowsers(KEY, "a hash")
    cookie = _cookie(browsers)
    mark = browsers.known(_asks(cookie), NOW)
    assert len(mark) == 22
    mark_text, end, proof = cookie.split(".")
    for forged in (
        "",
        "x",
        f"{mark_text}.{end}.{'0' * 64}",
        f"{mark_text}.{int(end) + 1}.{proof}",
        f"{'A' * 22}.{end}.{proof}",
        f"{cookie}x",
        f"{mark_text}.{end}",
        f"{mark_text}.9999999999999999.{proof}",
    ):
        assert browsers.known(_asks(forged), NOW) == "", forged
    assert KnownBrowsers(bytes(32), "a hash").known(_asks(cookie), NOW) == ""
    assert KnownBrowsers(KEY, "of another password").known(_asks(cookie), NOW) == ""
    assert KnownBrowsers(KEY, "a hash").known(_asks(cookie), NOW) == mark, "also after a restart"


def test_it_is_known_for_400_days_and_each_log_in_gives_another_mark() -> None:
    browsers = KnownBrowsers(KEY, "a hash")
    cookie, other = _cookie(browsers), _cookie(browsers)
    assert cookie != other
    assert browsers.known(_asks(cookie), NOW + 400 * DAY_MS - 1)
    assert browsers.known(_asks(cookie), NOW + 400 * DAY_MS) == ""


@pytest.mark.parametrize(("scheme", "is_secure"), [("https", True), ("http", False)])
def test_the_cookie_stays_with_this_page(scheme: str, is_secure: bool) -> None:
    response = Response()
    KnownBrowsers(KEY, "a hash").keep(response, _asks(scheme=scheme), NOW)
    said = response.headers["set-cookie"]
    assert "HttpOnly" in said
    assert "SameSite=strict" in said
    assert ("Secure" in said) == is_secure


def test_known_browsers_and_strangers_take_nothing_from_each_other() -> None:
    limit = AttemptLimit()
    strangers = sum(limit.wait_s(f"192.0.2.{number}", 0.0) == 0 for number in range(200))
    assert strangers == 30
    assert [limit.wait_s("192.0.2.1", 0.0, "ana") for _ in range(7)] == [0.0] * 5 + [60.0] * 2
    assert limit.wait_s("192.0.2.1", 0.0, "ben") == 0
    limit.succeeded("192.0.2.1", "ana")
    assert limit.wait_s("192.0.2.1", 0.0, "ana") == 0
    # Who is let in by a known browser gives strangers nothing.
    assert limit.wait_s("192.0.2.250", 0.0) == 10
    for number in range(3000):
        limit.wait_s("192.0.2.1", 0.0, f"browser {number}")
    assert len(limit._of_known) == 1000
