"""The page of a running leeside, flooded, killed and stopped: readings and mails go on, and sessions survive."""

from __future__ import annotations

import os
import signal
import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import httpx
import pytest
from a_page import PASSWORD, PASSWORD_HASH
from brokers import Mosquitto
from cellar_text import table, watched_keg, write_cellar
from eventually import eventually
from mail_server import Inbox, mail_server
from running import Leeside, leeside

from ingest.simulation.loopback import free_port

pytestmark = pytest.mark.whole


class _Flood:
    """Requests without an end from several threads. asked: how many were made; answered: how many got an answer."""

    def __init__(self) -> None:
        self._over = threading.Event()
        self._threads: list[threading.Thread] = []
        self.asked = 0
        self.answered = 0

    def add(self, ask: Callable[[], object]) -> None:
        def run() -> None:
            while not self._over.is_set():
                self.asked += 1
                with suppress(httpx.HTTPError, OSError):
                    ask()
                    self.answered += 1

        self._threads.append(threading.Thread(target=run, daemon=True))
        self._threads[-1].start()

    def end(self) -> None:
        self._over.set()
        for thread in self._threads:
            thread.join(30)
            assert not thread.is_alive()


@contextmanager
def _flooded(address: str, visitor: httpx.Client) -> Iterator[_Flood]:
    flood = _Flood()
    streams = [httpx.Client(base_url=address, cookies=visitor.cookies, timeout=5) for _ in range(3)]
    token = visitor.get("/api/session").json()["token"]

    def guess() -> None:
        with httpx.Client(base_url=address, cookies=visitor.cookies, timeout=5) as guesser:
            guesser.post("/api/session", json={"password": "guess"}, headers={"X-Leeside-Token": token})

    def watch(client: httpx.Client) -> None:
        with client.stream("GET", "/events") as stream:
            for _ in zip(range(2), stream.iter_lines(), strict=False):
                pass

    flood.add(guess)
    flood.add(lambda: httpx.get(address + "/", timeout=5))
    for path in ("/", "/api/history?vessel=K1&span=all", "/limits"):
        flood.add(lambda path=path: httpx.get(address + path, cookies=visitor.cookies, timeout=10))  # type: ignore[misc]
    for client in streams:
        flood.add(lambda client=client: watch(client))  # type: ignore[misc]
    try:
        yield flood
    finally:
        flood.end()
        for client in streams:
            client.close()


def _page_process(file: Path) -> int:
    """The process id of the page of this cellar file."""
    listed = subprocess.run(
        ["pgrep", "-f", f"alerts.page.serving {file}"], capture_output=True, text=True, check=False
    ).stdout.split()
    return int(listed[0]) if len(listed) == 1 else 0


def _log_in(visitor: httpx.Client) -> None:
    token = visitor.get("/api/session").json()["token"]
    done = visitor.post("/api/session", json={"password": PASSWORD}, headers={"X-Leeside-Token": token})
    assert done.json()["logged_in"] is True


def _answers(visitor: httpx.Client) -> bool:
    try:
        return visitor.get("/api/alarms").status_code == 200
    except httpx.TransportError:
        return False


def test_a_flood_and_a_kill_of_the_page_hold_up_no_reading_and_no_mail(tmp_path: Path) -> None:
    inbox, mail_port, port = Inbox(), free_port(), free_port()
    (tmp_path / "hash").write_text(PASSWORD_HASH)
    page = table("[page]", address=f"127.0.0.1:{port}", password_hash_file="hash")
    address = f"http://127.0.0.1:{port}"
    with ExitStack() as stack:
        broker = stack.enter_context(Mosquitto(tmp_path))
        stack.enter_context(mail_server(inbox, mail_port))
        running = stack.enter_context(Leeside(write_cellar(tmp_path, watched_keg(broker.port, mail_port), page)))
        visitor = stack.enter_context(httpx.Client(base_url=address, timeout=10))
        eventually(lambda: "the page is at" in running.said(), within_s=60)
        _log_in(visitor)
        with _flooded(address, visitor) as flood:
            eventually(lambda: flood.answered > 100, within_s=60)
            broker.publish("cellar/K1/pressure", "12")
            eventually(lambda: "82.7 kPa" in leeside("now", running.file).stdout)
            broker.publish("cellar/K1/pressure", "0.5")
            eventually(lambda: inbox.mails, within_s=60)
            asked = flood.asked
            eventually(lambda: flood.asked > asked + 50, within_s=60)
        assert inbox.mails[0]["Subject"] == "HIGH PRIORITY: K1 pressure 3.4 kPa, below 5 kPa"
        eventually(lambda: _answers(visitor))
        os.kill(_page_process(running.file), signal.SIGKILL)
        broker.publish("cellar/K1/pressure", "12")
        eventually(lambda: any(mail["Subject"].startswith("BACK TO NORMAL") for mail in inbox.mails), within_s=60)
        eventually(lambda: _answers(visitor), within_s=60)  # with the cookies of before
        with visitor.stream("GET", "/api/events") as stream:
            assert next(stream.iter_lines())
            assert running.stop() == 0
        said = running.said()
        assert "Traceback" not in said, said[-3_000:]
        assert len(said) < 40_000, "a flood is few lines"
