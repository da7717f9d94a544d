"""Every address of the page, also one that is added tomorrow: what it does without a token, without a session, with
hostile text in the store; what its answers carry.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterable, Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, Final, NamedTuple

import pytest
from a_cellar_on_disk import NOW, CellarOnDisk
from a_hostile_cellar import LONG, RTL, SCRIPT, hostile_cellar
from a_page import PASSWORD_HASH, Asker, asker
from starlette.routing import Mount, Route

from alerts.page.doors.tokens import TOKEN_HEADER
from ingest.entering import enter

HTML: Final = "text/html"
# Streams that go on until the visitor goes: tests/test_page_events.py.
ENDLESS: Final = frozenset({"/events", "/api/events"})
# Needs no log-in, each with what protects it instead. A new one is added here on purpose.
OPEN: Final = {
    "/login": "the password",
    "/logout": "the token",
    "/api/session": "the password",
    "/acknowledge/{token}": "the signature in the address",
    "/calendar/{token}.ics": "the secret in the address",
}
READS: Final = frozenset({"GET", "HEAD"})


class Address(NamedTuple):
    method: str
    path: str

    @property
    def url(self) -> str:
        """The address with something in each of its parts."""
        given = {"id": "K1", "vessel": "K1", "kind_name": "sample", "number": "1", "token": "x", "name": "gas"}
        given["probe_id"] = "k1-pressure"
        if self.path.startswith("/cylinder"):
            given["id"] = "N2"
        if self.path.startswith("/room"):
            given["id"] = "cellar"
        return re.sub(r"\{(\w+)[^}]*\}", lambda part: given[part[1]], self.path)


def _routes(routes: Iterable[Any]) -> Iterator[Route]:
    for route in routes:
        if hasattr(route, "original_router"):  # as FastAPI includes one
            yield from _routes(route.original_router.routes)
        elif isinstance(route, Route):
            yield route
        else:
            assert isinstance(route, Mount), f"this test does not know what {route!r} is"
            assert route.path == "/static"


def addresses(visitor: Asker) -> list[Address]:
    found = [
        Address(method, route.path)
        for route in _routes(visitor.app.routes)
        for method in sorted((route.methods or set()) - {"HEAD", "OPTIONS"})
    ]
    assert len(found) > 50
    assert {"/", "/api/openapi.json", "/enter/{kind_name}", "/alarms/acknowledge"} <= {each.path for each in found}
    return found


@pytest.fixture
def ana(on_disk: CellarOnDisk) -> Iterator[Asker]:
    answers: dict[str, str | bool | list[str]] = {"lot": "A1", "name": "A1", "style": "white"}
    assert enter(on_disk.store, on_disk.cellar, "lot", answers, who="Ana", now_ms=NOW).id == 1
    with asker(on_disk.cellar) as visitor:
        yield visitor


def _content(on_disk: CellarOnDisk) -> list[str]:
    return list(on_disk.store.connection.iterdump())


def test_nothing_is_written_without_a_token_or_with_another_visitors(on_disk: CellarOnDisk, ana: Asker) -> None:
    before = _content(on_disk)
    with asker(on_disk.cellar) as ben:
        foreign = ben.token()
    ana.token()
    writing = [address for address in addresses(ana) if address.method not in READS]
    assert len(writing) > 15
    for address in writing:
        for how in (
            {"data": {"who": "Eve", "no": "1"}},
            {"data": {"who": "Eve", "no": "1", "token": foreign}},
            {"data": {"who": "Eve", "no": "1", "token": ""}},
            {"json": {"who": "Eve"}},
            {"json": {"who": "Eve"}, "headers": {TOKEN_HEADER: foreign}},
            {"content": b'{"who": "Eve"}', "headers": {"Content-Type": "text/plain"}},
            {"files": {"who": b"Eve"}},
            {},
        ):
            refused = ana(address.method, address.url, **how)
            # What says nothing of an entry may also be told that there is none.
            allowed = {403} if "data" in how else {400, 403, 404}
            assert refused.status_code in allowed, (address, how, refused.status_code, refused.text[:300])
    with asker(on_disk.cellar) as stranger:  # without any cookie, but with a token that is right for none
        for address in writing:
            refused = stranger(address.method, address.url, headers={TOKEN_HEADER: "0" * 64})
            assert refused.status_code in {403, 404}, address
    assert _content(on_disk) == before


def test_no_read_writes(on_disk: CellarOnDisk, ana: Asker) -> None:
    before = _content(on_disk)
    for address in addresses(ana):
        if address.method in READS and address.path not in ENDLESS and not _is_drawn(address.path):
            answer = ana.get(address.url, Accept=HTML)
            assert answer.status_code < 500, (address, answer.text[:300])
    assert _content(on_disk) == before


def _is_drawn(path: str) -> bool:
    """Whether a picture is made for it, which takes seconds."""
    return path.endswith((".svg", ".pdf", ".png"))


def test_nothing_but_what_is_meant_to_be_open_is_seen_without_a_session(on_disk: CellarOnDisk) -> None:
    with asker(on_disk.cellar, password_hash=PASSWORD_HASH) as stranger:
        seen = set()
        for address in addresses(stranger):
            answer = stranger(address.method, address.url)
            if answer.status_code != 401:
                seen.add(address.path)
                assert stranger(address.method, address.url, headers={"Accept": HTML}).status_code != 401
        assert seen == {*OPEN, "/static/uplot/uPlot.iife.js", "/static/uplot/uPlot.min.css"}


def test_every_answer_carries_what_keeps_a_browser_in_bounds(on_disk: CellarOnDisk) -> None:
    with asker(on_disk.cellar) as ana, asker(on_disk.cellar, password_hash=PASSWORD_HASH) as stranger:
        for visitor in (ana, stranger):
            for address in addresses(visitor):
                if address.path in ENDLESS or _is_drawn(address.path):
                    continue
                for accept in (HTML, "application/json"):
                    answer = visitor(address.method, address.url, headers={"Accept": accept})
                    _assert_bounded(answer.headers, address)
        for path, host in (("/missing", "127.0.0.1"), ("/static/none.css", "127.0.0.1"), ("/", "evil.example")):
            _assert_bounded(ana.get(path, Host=host).headers, path)
        _assert_bounded(ana("TRACE", "/").headers, "TRACE")
        _assert_bounded(ana("POST", "/login", content=b"x" * 2_000_000).headers, "too large")


def _assert_bounded(headers: Any, what: object) -> None:
    policy = headers.get("content-security-policy", "")
    assert policy.startswith("default-src 'none'"), what
    assert "unsafe" not in policy, what
    assert "*" not in policy, what
    assert headers["x-content-type-options"] == "nosniff", what
    assert headers["x-frame-options"] == "DENY", what
    assert headers["referrer-policy"] == "no-referrer", what
    assert headers["cache-control"], what


def test_a_fault_in_a_view_is_bounded_too(ana: Asker) -> None:
    def broken() -> None:
        raise RuntimeError("<b>secret</b>")

    ana.app.add_api_route("/broken", broken)
    answer = ana.get("/broken", Accept=HTML)
    assert answer.status_code == 500
    assert "secret" not in answer.text
    _assert_bounded(answer.headers, "fault")


# ---- hostile text --------------------------------------------------------------------------------------------------


class _Seen(HTMLParser):
    """What a browser would run of a page, or take from elsewhere."""

    def __init__(self) -> None:
        super().__init__()
        self.bad: list[str] = []

    def handle_data(self, data: str) -> None:
        if "\u202e" in data or "\u2066" in data:
            self.bad.append(f"direction mark in {data[:60]!r}")

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "script" and not (given.get("src") or "").startswith("/static/"):
            self.bad.append(f"script {given}")
        if tag in ("iframe", "object", "embed", "base", "i", "style"):
            self.bad.append(tag)
        if tag == "img" and (given.get("src") or "") == "x":
            self.bad.append("img")
        for name, value in attrs:
            if name in ("title", "alt", "aria-label", "placeholder", "content"):
                self.handle_data(value or "")
            if name.startswith("on") or name == "style":
                self.bad.append(f"{tag} {name}")
            if name in ("href", "src", "action", "formaction") and not re.match(r"[/#?]|data:image/", value or "/"):
                self.bad.append(f"{tag} {name}={value}")


@pytest.fixture
def hostile(tmp_path: Path) -> Iterator[CellarOnDisk]:
    on_disk = hostile_cellar(tmp_path)
    yield on_disk
    on_disk.store.close()


def test_hostile_text_is_shown_as_text_on_every_view(hostile: CellarOnDisk) -> None:
    with asker(hostile.cellar) as ana:
        shown = 0
        for address in addresses(ana):
            if address.method != "GET" or address.path in ENDLESS or _is_drawn(address.path):
                continue
            for query in ("", *_queries(address.path)):
                answer = ana("GET", address.url, params=query, headers={"Accept": HTML})
                assert answer.status_code < 500, (address, query, answer.text[:500])
                if not answer.headers.get("content-type", "").startswith("text/html"):
                    continue
                seen = _Seen()
                seen.feed(answer.text)
                assert seen.bad == [], (address, query)
                assert "49" not in re.findall(r"&amp;(\d+)\$", answer.text)
                shown += "<script>alert(1)</script>" in html.unescape(answer.text)
        assert shown > 20, "the hostile text reaches the views"


def _queries(path: str) -> list[dict[str, str]]:
    """What somebody could put behind the ``?`` of a link that a person follows."""
    names = (
        "vessel",
        "lot",
        "place",
        "at",
        "under",
        "limit",
        "kind",
        "from",
        "to",
        "next",
        "asked",
        "no",
        "span",
        "show",
    )
    return [dict.fromkeys(names, text) for text in (SCRIPT, RTL, "1", LONG[:1000])]
