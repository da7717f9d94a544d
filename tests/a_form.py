"""The page asked as a browser without scripts asks, in front of a cellar with two wines and a bottle of titrant."""

from __future__ import annotations

__all__ = [
    "HOSTILE", "NOW", "TITRATION", "EntryBench", "Fields", "FormBrowser", "all_hidden", "form_fields", "hidden",
    "words",
]  # fmt: skip

import asyncio
import html
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import httpx
from a_journal import FILE_TEXT

from alerts.page.app import make_app
from ingest.cellar import Cellar, parse_cellar
from ingest.entering import enter
from ingest.journal.entry import Entry
from ingest.store import create_or_open
from ingest.store.journal.entries import entries

# 2026-11-25 19:30 in Ljubljana
NOW = 1_795_631_400_000
HOSTILE = "<script>alert('K1')</script><img src=x onerror=\"alert(1)\">&"
Fields = Mapping[str, str | Sequence[str]]
TITRATION: Fields = {
    "vessel": "K1", "quantity": "free", "method": "iodometric", "titrant": "iodine 3", "sample": "25",
    "titre": ["1.25", "1,30", ""], "titre.unit": ["mL", "mL", "mL"], "blank": "", "who": "Ana",
}  # fmt: skip


# What is of a form with questions itself: its names begin with an underscore there.
_OWN = frozenset({"key", "date", "time", "way", "who", "reason", "seen", "now", "warned", "with_later", "touched"})


class FormBrowser:
    """A browser without scripts in front of the page. now: what the clock shows, UTC ms."""

    def __init__(self, cellar: Cellar) -> None:
        self.now = NOW
        self._app = make_app(cellar, lambda: self.now)
        self._cookies: dict[str, str] = {}

    def ask(self, method: str, path: str, content: str = "", headers: Mapping[str, str] = {}) -> httpx.Response:
        async def ask() -> httpx.Response:
            transport = httpx.ASGITransport(app=self._app, raise_app_exceptions=False)
            async with httpx.AsyncClient(
                transport=transport, base_url="http://127.0.0.1:8420", cookies=self._cookies
            ) as client:
                return await client.request(method, path, content=content, headers=dict(headers))

        answer = asyncio.run(ask())
        self._cookies |= dict(answer.cookies)
        return answer

    def get(self, path: str) -> str:
        """The text of a page that must be there."""
        answer = self.ask("GET", path)
        assert answer.status_code == 200, answer.text
        return answer.text

    def post(self, path: str, fields: Fields, step: str = "look", *, token: str | None = None) -> httpx.Response:
        """Send a form, with the token of the page it is on. "?time" is a question of that name, "time" the entry's."""
        if token is None:
            token = hidden(self.get("/enter"), "token")
        pairs = [("token", token), ("_step", step)]
        has_questions = path.startswith(("/enter/", "/test-day")) or path.endswith("/amend")
        for given, value in fields.items():
            name = f"_{given}" if has_questions and given in _OWN else given.removeprefix("?")
            pairs += [(name, value)] if isinstance(value, str) else [(name, each) for each in value]
        return self.ask(
            "POST", path, urlencode(pairs), {"Content-Type": "application/x-www-form-urlencoded; charset=utf-8"}
        )

    def save(self, path: str, looked_at: str, **more: str) -> httpx.Response:
        """Send the form of the look on, to save it."""
        return self.post(path, {**all_hidden(looked_at), **more}, "save")


def hidden(page: str, name: str) -> str:
    """The value of a hidden field, or of the token that stands in every page's head."""
    found = re.search(rf'name="(?:leeside-|_)?{name}" (?:value|content)="([^"]*)"', page)
    assert found is not None, name
    return html.unescape(found[1])


def _given(name: str) -> str:
    """The name of a field as ``FormBrowser.post`` takes it."""
    return f"?{name}" if name in _OWN else name.removeprefix("_")


def all_hidden(page: str) -> dict[str, list[str]]:
    fields: dict[str, list[str]] = {}
    for name, value in re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', page):
        if name != "token":
            fields.setdefault(_given(name), []).append(html.unescape(value))
    return fields


def words(page: str) -> str:
    """What a person reads, in single spaces."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page[page.index("<main") :])).split())


class EntryBench:
    """K1 with 17 L of a white wine, C1 with a red one, K3 empty, a bottle of iodine; and a browser."""

    def __init__(self, folder: Path, *, more: str = "") -> None:
        self.cellar = parse_cellar(f"{FILE_TEXT}\n{more}", file="cellar.toml", base=folder)
        self.store = create_or_open(self.cellar.store_path, NOW)
        self.browser = FormBrowser(self.cellar)
        self.enter("lot", lot="riesling-26", name="Riesling 2026", style="white")
        self.enter("lot", lot="pinot-26", name="Pinot noir", style="red")
        self.enter("first-filling", vessel="K1", lot="riesling-26", volume="17 L")
        self.enter("first-filling", vessel="C1", lot="pinot-26", volume="22 L")
        self.enter("vessel-status", vessel="K3", status="emptied")
        self.enter("titrant", name="iodine 3", substance="iodine", strength="0.02 N")
        self.before = len(entries(self.store))

    def enter(self, kind: str, at: str = "2026-11-20", **answers: Any) -> Entry:
        return enter(self.store, self.cellar, kind, answers, who="Ana", now_ms=NOW, at=at, despite_warnings=True)

    def new(self) -> list[Entry]:
        """What was written on the page, by number."""
        return sorted(entries(self.store), key=lambda entry: entry.id)[self.before :]

    def look(self, kind: str, fields: Fields) -> str:
        """The look at a form that must come to it."""
        answer = self.browser.post(f"/enter/{kind}", fields)
        assert answer.status_code == 200, words(answer.text)
        assert 'data-step="look"' in answer.text, words(answer.text)
        return answer.text

    def saved(self, kind: str, looked_at: str, **more: str) -> Entry:
        answer = self.browser.save(f"/enter/{kind}", looked_at, **more)
        assert answer.status_code == 303, words(answer.text)
        assert answer.headers["location"].startswith("/written?no=")
        return self.new()[-1]


def form_fields(form: str) -> dict[str, list[str]]:
    """What a browser sends of a form that nobody touches: text fields, lists, radio buttons, ticks."""
    found: dict[str, list[str]] = {}

    def add(name: str, value: str) -> None:
        found.setdefault(_given(html.unescape(name)), []).append(html.unescape(value))

    form = form[form.index('<form class="entry"') : form.index("</form>")]
    for tag in re.findall(r"<input\b[^>]*>|<select\b.*?</select>|<textarea\b.*?</textarea>", form, re.DOTALL):
        name = re.search(r'name="([^"]*)"', tag)
        assert name is not None
        if tag.startswith("<input"):
            kind = re.search(r'type="(\w+)"', tag)
            if kind is not None and kind[1] in ("radio", "checkbox") and " checked" not in tag:
                continue
            value = re.search(r'value="([^"]*)"', tag)
            add(name[1], "on" if value is None else value[1])
        elif tag.startswith("<select"):
            chosen = re.search(r"<option(?: value=\"([^\"]*)\")? selected>([^<]*)", tag)
            first = re.search(r"<option(?: value=\"([^\"]*)\")?>([^<]*)", tag)
            option = chosen or first
            assert option is not None
            add(name[1], option[2] if option[1] is None else option[1])
        else:
            add(name[1], tag[tag.index(">") + 1 : tag.rindex("<")])
    found.pop("token")
    return found
