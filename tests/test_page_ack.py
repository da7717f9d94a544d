"""Acknowledging by the link in a message: asked once, applied by the next turn, and refused where it is not good."""

from __future__ import annotations

import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest
from a_form import FormBrowser, words
from cellar_text import table
from eventually import eventually
from turning_bench import CELLAR, Bench

from alerts.ack_link import AckLink, link_key, signed_link
from alerts.watch.alarm_table import State
from ingest.store.alarms.alarm_record import alarm_rows
from ingest.store.alarms.messages import recent_messages
from ingest.store.alarms.operator_events import append_event, waiting_events

URL = "https://cellar.example"
HASH = {"url": URL, "password_hash_env": "PAGE"}
HOUR = 3600.0


class Alarmed:
    """A keg without pressure, the message about it, and a browser in front of the page."""

    def __init__(self, folder: Path) -> None:
        self.bench = Bench(folder, CELLAR + table("[page]", **HASH))
        self.breach(0.1)
        self.message = recent_messages(self.bench.store)[0]
        self.browser = FormBrowser(self.bench.cellar)

    def breach(self, psi: float) -> None:
        self.bench.reading(psi)
        self.bench.turn()
        self.bench.turn(20.0)

    @property
    def path(self) -> str:
        link = re.search(re.escape(URL) + r"(/acknowledge/\S+)", self.message.body)
        assert link
        return link[1]

    def signed(self, until_ms: int) -> str:
        link = AckLink(self.message.occurrence or "", "ana@cellar.example", until_ms)
        return f"/acknowledge/{signed_link(link_key(self.bench.cellar), link)}"

    def ask(self, method: str, path: str, content: str = "") -> httpx.Response:
        self.browser.now = self.bench.now.utc_ms
        headers = {"content-type": "application/x-www-form-urlencoded"} if content else {}
        return self.browser.ask(method, path, content, headers)

    def press(self, path: str) -> httpx.Response:
        """What a person does who sees the question: press the button, while leeside runs."""
        token = re.search(r'name="token" value="([^"]+)"', self.ask("GET", path).text)
        assert token
        with ThreadPoolExecutor(1) as pool:
            answer = pool.submit(self.ask, "POST", path, f"token={token[1]}")
            eventually(lambda: waiting_events(self.bench.store) or answer.done())
            self.bench.turn()
            return answer.result(20)

    @property
    def state(self) -> str:
        return next(row.state for row in alarm_rows(self.bench.store) if row.key == "K1/pressure/low")


@pytest.fixture
def alarmed(tmp_path: Path) -> Iterator[Alarmed]:
    alarmed = Alarmed(tmp_path)
    yield alarmed
    alarmed.bench.store.close()


def test_a_scanner_s_visits_change_nothing_and_the_button_acknowledges(alarmed: Alarmed) -> None:
    for method in ("GET", "HEAD", "GET"):
        alarmed.ask(method, alarmed.path)
        alarmed.bench.turn()
    assert alarmed.state == State.UNACKNOWLEDGED
    text = words(alarmed.ask("GET", alarmed.path).text)
    assert "Acknowledge this alarm?" in text
    assert "K1 pressure 0.7 kPa, below 5.0 kPa" in text
    answer = alarmed.press(alarmed.path)
    assert (answer.status_code, alarmed.state) == (200, State.ACKNOWLEDGED)
    assert "Acknowledged: " in words(answer.text)
    who = alarmed.bench.store.connection.execute("SELECT who, note FROM operator_event").fetchall()
    assert who == [(alarmed.message.recipient, "by the link in a message")]


def test_a_form_that_another_site_sends_acknowledges_nothing(alarmed: Alarmed) -> None:
    alarmed.ask("GET", alarmed.path)
    assert alarmed.ask("POST", alarmed.path, "token=made-up").status_code == 403
    assert not waiting_events(alarmed.bench.store)


def test_a_link_that_was_used_says_who_has_acknowledged(alarmed: Alarmed) -> None:
    alarmed.press(alarmed.path)
    answer = alarmed.ask("GET", alarmed.path)
    assert answer.status_code == 410
    assert f"{alarmed.message.recipient.capitalize()} has acknowledged this alarm already." in words(answer.text)
    token = re.search(r'name="leeside-token" content="([^"]+)"', answer.text)
    assert token
    assert alarmed.ask("POST", alarmed.path, f"token={token[1]}").status_code == 410
    assert not waiting_events(alarmed.bench.store)


def test_a_used_link_is_refused_although_the_alarm_is_announced_again(alarmed: Alarmed) -> None:
    alarmed.press(alarmed.path)
    with alarmed.bench.store.write() as connection:
        connection.execute("UPDATE alarm SET state = 'unacknowledged'")
        connection.execute("UPDATE alarm SET entry = replace(entry, '\"acknowledged\"', '\"unacknowledged\"')")
    alarmed.bench.restart()
    answer = alarmed.ask("GET", alarmed.path)
    assert answer.status_code == 410
    assert "a link works only once" in words(answer.text)


def test_a_link_of_an_alarm_that_is_over_says_so(alarmed: Alarmed) -> None:
    append_event(alarmed.bench.store, "acknowledge", alarmed.message.occurrence or "", "ben", "", 0)
    alarmed.breach(8.0)
    answer = alarmed.ask("GET", alarmed.path)
    assert answer.status_code == 410
    assert "is over, and there is nothing to acknowledge" in words(answer.text)


def test_a_forged_and_an_old_link_are_refused_with_the_reason(alarmed: Alarmed) -> None:
    for path in (alarmed.path[:-1], alarmed.path + "x", "/acknowledge/" + "A" * 60, "/acknowledge/%00"):
        answer = alarmed.ask("GET", path)
        assert answer.status_code == 403, path
        assert "This link was not made by this leeside, or a part of it is missing" in words(answer.text)
    old = alarmed.signed(alarmed.bench.now.utc_ms)
    answer = alarmed.ask("GET", old)
    assert answer.status_code == 403
    assert "This link was good until" in words(answer.text)
    assert not waiting_events(alarmed.bench.store)


def test_a_link_is_good_for_a_week(alarmed: Alarmed) -> None:
    path = alarmed.path
    alarmed.bench.second += 7 * 24 * HOUR - 60
    assert alarmed.ask("GET", path).status_code == 200
    alarmed.bench.second += 60
    assert alarmed.ask("GET", path).status_code == 403


def test_while_leeside_does_not_run_it_is_written_down_and_said(
    alarmed: Alarmed, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("alerts.operator_requests.WAIT_S", 0.1)
    token = re.search(r'name="token" value="([^"]+)"', alarmed.ask("GET", alarmed.path).text)
    assert token
    text = words(alarmed.ask("POST", alarmed.path, f"token={token[1]}").text)
    assert "Written down" in text
    assert "What you wrote is kept and will be applied when it runs. Until then, look at the cellar yourself." in text
    alarmed.bench.turn()
    assert alarmed.state == State.ACKNOWLEDGED


def test_without_a_public_address_messages_carry_no_link(tmp_path: Path) -> None:
    bench = Bench(tmp_path, CELLAR + "[page]\n")
    bench.reading(0.1)
    bench.turn()
    bench.turn(20.0)
    assert "/acknowledge/" not in recent_messages(bench.store)[0].body
    assert not list(tmp_path.glob("*.link-key"))
