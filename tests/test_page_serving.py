"""The page's process under idle and slow connections, more of them than it takes."""

from __future__ import annotations

import asyncio
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from pathlib import Path

import httpx
import pytest
from a_store import new_store
from cellar_text import SITE, table, write_cellar
from eventually import eventually
from fastapi import FastAPI

from alerts.page.connections import LONGEST_REQUEST_S, MOST_CONNECTIONS
from alerts.page.serving import PageProcess
from ingest.cellar import load_cellar
from ingest.simulation.loopback import free_port


@pytest.fixture
def kept() -> Iterator[ExitStack]:
    """What is closed only after the page has ended, where it is asked for before the port."""
    with ExitStack() as stack:
        yield stack


@pytest.fixture
def port(tmp_path: Path) -> Iterator[int]:
    """The port of a page that is served, of a cellar with an empty store."""
    number = free_port()
    file = write_cellar(tmp_path, SITE, table("[page]", address=f"127.0.0.1:{number}"))
    new_store(tmp_path).close()
    log = tmp_path / "page.log"
    with log.open("wb") as out:
        process = subprocess.Popen(
            ["prlimit", "--nofile=256", sys.executable, "-m", "alerts.page.serving", str(file)], stderr=out
        )
    try:
        eventually(lambda: "the page is at" in log.read_text(), within_s=60)
        yield number
        assert process.poll() is None
        process.send_signal(signal.SIGTERM)
        assert process.wait(60) == 0
        # A flood is a few lines, not one for each connection, and never takes all that the process may have open.
        said = log.read_text()
        assert len(said) < 2_000, said[-4_000:]
        assert "out of system resource" not in said
        assert "graceful shutdown exceeded" not in said
    finally:
        process.kill()
        process.wait()


def opened(port: int) -> socket.socket:
    connection = socket.create_connection(("127.0.0.1", port), timeout=30)
    connection.settimeout(30)
    return connection


def is_closed(connection: socket.socket) -> bool:
    """Wait until the other end has closed."""
    try:
        return connection.recv(1) == b""
    except ConnectionResetError:
        return True


def test_idle_connections_beyond_the_bound_are_closed_and_the_page_answers(port: int) -> None:
    with ExitStack() as stack:
        many = [stack.enter_context(opened(port)) for _ in range(MOST_CONNECTIONS)]
        beyond = [stack.enter_context(opened(port)) for _ in range(400)]
        assert all(is_closed(connection) for connection in beyond)
        many.pop().close()
        eventually(lambda: _title(port) == "Cellar · Mill Lane cellar")


def test_a_connection_that_asks_for_nothing_is_closed(port: int) -> None:
    head = f"POST /api/session HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Type: application/json\r\n"
    with opened(port) as silent, opened(port) as slow, opened(port) as slow_content:
        slow.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
        slow_content.sendall(f"{head}X-Leeside-Token: 1\r\nContent-Length: 50\r\n\r\n{{".encode())
        assert is_closed(silent)
        assert is_closed(slow)
        assert _answer(slow_content).startswith("HTTP/1.1 408 ")
    assert LONGEST_REQUEST_S < 30


def test_a_request_that_is_too_large_is_refused(port: int) -> None:
    head = f"POST /api/session HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Type: application/json\r\n"
    with opened(port) as large, opened(port) as endless:
        large.sendall(f"{head}Content-Length: 1000000000\r\n\r\n".encode())
        assert _answer(large).startswith("HTTP/1.1 413 ")
        endless.sendall(f"{head}Transfer-Encoding: chunked\r\n\r\n".encode())
        chunk = b"10000\r\n" + b"x" * 0x10000 + b"\r\n"
        with suppress(ConnectionError):
            for _ in range(400):
                endless.sendall(chunk)
            assert _answer(endless).startswith("HTTP/1.1 413 ")
            assert is_closed(endless)
    assert _title(port) == "Cellar · Mill Lane cellar"


def _answer(connection: socket.socket) -> str:
    return connection.recv(10_000).decode()


def test_many_requests_on_one_connection_are_answered(port: int) -> None:
    with httpx.Client(base_url=f"http://127.0.0.1:{port}") as client:
        assert [client.get("/").status_code for _ in range(20)] == [200] * 20


def test_a_stop_does_not_wait_for_idle_connections(port: int) -> None:
    with ExitStack() as stack:
        for _ in range(20):
            stack.enter_context(opened(port))
        assert _title(port) == "Cellar · Mill Lane cellar"  # then the fixture stops the process while they are open


@pytest.mark.whole
def test_a_stop_does_not_wait_for_those_who_watch(kept: ExitStack, port: int) -> None:
    for path in ("/events", "/api/events") * 5:
        connection = kept.enter_context(opened(port))
        connection.sendall(f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n".encode())
        assert connection.recv(15) == b"HTTP/1.1 200 OK"
    # Then the fixture stops the process while they are open; what must be ended after two seconds, uvicorn reports.


def _title(port: int) -> str:
    try:
        text = httpx.get(f"http://127.0.0.1:{port}/", timeout=5).text
    except httpx.TransportError:
        return ""
    return text.partition("<title>")[2].partition("</title>")[0]


def test_a_request_that_a_stop_cuts_off_leaves_no_traceback(caplog: pytest.LogCaptureFixture, tmp_path: Path) -> None:
    number = free_port()
    page = PageProcess(load_cellar(write_cellar(tmp_path, SITE, table("[page]", address=f"127.0.0.1:{number}"))), {})
    app: FastAPI = page._settings.app  # type: ignore[assignment]  # it is ours
    asked = threading.Event()

    async def endless() -> None:
        asked.set()
        await asyncio.Event().wait()

    app.add_api_route("/endless", endless)
    page.start()
    try:
        eventually(lambda: page._server is not None and page._server.started)
        with opened(number) as visitor:
            visitor.sendall(f"GET /endless HTTP/1.1\r\nHost: 127.0.0.1:{number}\r\n\r\n".encode())
            assert asked.wait(30)
            page.stop()
    finally:
        page.stop()
    assert [record for record in caplog.records if record.exc_info] == []
    assert "Cancel 1 running task" in caplog.text
