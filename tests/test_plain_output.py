"""Text from people and from the wire reaches no terminal and no mail with characters that these would obey."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest
from a_cellar_on_disk import NOW, CellarOnDisk
from cellar_text import BASE, write_cellar
from mail_server import STORED, route
from running import leeside

from alerts.message.mail import build_mail
from alerts.page.app import make_app
from ingest.store import create_or_open
from ingest.store.alarms.operator_events import waiting_events

NASTY = "a\x1b[31mb\u202ec\x85d"
ESCAPED = "a\\x1b[31mb\\u202ec\\x85d"


@pytest.mark.parametrize("option", ["--who", "--note"])
@pytest.mark.parametrize("text", [NASTY, "two\nlines", "x" * 5001])
def test_who_and_note_are_one_plain_line(tmp_path: Path, option: str, text: str) -> None:
    file = write_cellar(tmp_path, BASE)
    create_or_open(tmp_path / "cellar.db", 1_700_000_000_000).close()
    result = leeside("acknowledge", file, "--all", option, text)
    assert result.returncode == 2
    assert result.stderr.startswith(f"{option[2:]}: ")
    assert result.stderr.endswith("Nothing was written\n")
    assert result.stderr.strip().isprintable()
    with create_or_open(tmp_path / "cellar.db", 1_700_000_000_000) as store:
        assert waiting_events(store) == []


def test_what_the_wire_said_is_shown_without_what_a_terminal_obeys(on_disk: CellarOnDisk) -> None:
    on_disk.reject(example=NASTY, address=NASTY, reason="not a number")
    file = on_disk.cellar.base / "cellar.toml"
    file.write_text(on_disk.cellar.text, encoding="utf-8")
    shown = leeside("now", file).stdout
    assert ESCAPED in shown
    assert all(line.isprintable() for line in shown.split("\n"))


def test_the_page_shows_it_written_out_and_lets_nobody_frame_it(on_disk: CellarOnDisk) -> None:
    on_disk.reject(example=NASTY, address="k1/p", reason="not a number")

    async def ask() -> httpx.Response:
        transport = httpx.ASGITransport(app=make_app(on_disk.cellar, lambda: NOW))
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8420") as client:
            return await client.get("/")

    page = asyncio.run(ask())
    assert ESCAPED in page.text
    assert "\u202e" not in page.text
    policy = page.headers["Content-Security-Policy"]
    assert "frame-ancestors 'none'; base-uri 'none'; form-action 'self'" in policy


def test_the_body_of_a_mail_keeps_its_lines_and_nothing_else() -> None:
    mail = build_mail(STORED._replace(body=f"seen by {NASTY}\nsecond line\n"), route(), datetime.now(UTC))
    assert mail.get_content().splitlines() == [f"seen by {ESCAPED}", "second line"]
