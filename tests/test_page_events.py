"""The cellar view as it changes: one producer for all who watch, whatever any of them does."""

from __future__ import annotations

import asyncio
import json
import socket
import threading
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager, suppress
from pathlib import Path
from typing import Any, Final

import httpx
import pytest
from a_browser import served
from a_cellar_on_disk import NOW, CellarOnDisk
from eventually import eventually

from alerts.page import connections
from alerts.page.cellar import board as board_module
from alerts.page.cellar.board import MOST_WATCHERS, Board
from alerts.page.cellar.event_routes import EventStream
from alerts.page.connections import LimitedProtocol
from alerts.page.context import PageContext
from alerts.page.doors.tokens import Tokens

PATIENCE_S: Final = 30.0


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the producer look and make as often as it can."""
    monkeypatch.setattr(board_module, "_LOOK_EVERY_S", 0.01)
    monkeypatch.setattr(board_module, "_MAKE_EVERY_S", 0.0)
    monkeypatch.setattr(board_module, "_MOST_SHARE", 1000.0)


@pytest.fixture
def address(on_disk: CellarOnDisk) -> Iterator[str]:
    on_disk.reading("k1-pressure", 55.0, 10)
    with served(on_disk.cellar, lambda: NOW) as address:
        yield address


class Events:
    """A stream of events, read one by one."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines = lines

    def next(self, name: str = "") -> tuple[str, str, dict[str, Any]]:
        """(id, name, data) of the next event, of the next one with a name if given."""
        event: dict[str, str] = {}
        for line in self._lines:
            if line:
                key, _, value = line.partition(": ")
                event[key] = value
            elif name in ("", event["event"]):
                return event["id"], event["event"], json.loads(event["data"])
        raise AssertionError("the stream ended")


@contextmanager
def events_of(url: str, **headers: str) -> Iterator[Events]:
    with httpx.stream("GET", url, headers=headers, timeout=PATIENCE_S) as answer:
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("text/event-stream")
        assert answer.headers["cache-control"] == "no-store"
        yield Events(answer.iter_lines())


def producers() -> list[str]:
    return [thread.name for thread in threading.enumerate() if thread.name == "cellar view"]


def test_a_change_is_sent_in_the_pieces_that_changed(address: str, on_disk: CellarOnDisk) -> None:
    with events_of(f"{address}/events") as events:
        _, _, first = events.next("pieces")
        assert {"needs", "p0-state", "p0-r0", "p1-wine", "own-head"} <= first["pieces"].keys()
        on_disk.reading("k1-pressure", 61.5)
        _, _, second = events.next("pieces")
        assert "61.5 kPa" in second["pieces"]["p0-r0"]
        assert not any(id.startswith("p1-") for id in second["pieces"]), "C1 is as it was"
        on_disk.alarm()
        _, _, third = events.next("pieces")
        assert "high alarm" in third["pieces"]["p0-state"]
        assert "p0-r0" not in third["pieces"]
        assert third["title"] == "1 alarm · Cellar"


def test_who_was_away_gets_what_changed_since(address: str, on_disk: CellarOnDisk) -> None:
    with events_of(f"{address}/events") as events:
        mark, _, _ = events.next("pieces")
    on_disk.reading("k1-temperature", 12.5)
    for url, headers in ((f"{address}/events?since={mark}", {}), (f"{address}/events", {"Last-Event-ID": mark})):
        with events_of(url, **headers) as events:
            while "p0-r1" not in (data := events.next("pieces")[2])["pieces"]:
                pass
            assert "p1-wine" not in data["pieces"]
    for unknown in ("", "0-0", "elsewhere-7", "x" * 60):
        with events_of(f"{address}/events?since={unknown}") as events:
            assert "p1-wine" in events.next("pieces")[2]["pieces"], "a mark of another process means nothing"


def test_a_card_gets_its_own_pieces_only(address: str) -> None:
    with events_of(f"{address}/events?only=p0-") as events:
        assert {id.partition("-")[0] for id in events.next("pieces")[2]["pieces"]} == {"p0"}


def test_all_who_watch_share_one_producer_that_ends_with_them(address: str, on_disk: CellarOnDisk) -> None:
    assert producers() == []
    with events_of(f"{address}/events") as one, events_of(f"{address}/events") as other:
        one.next("pieces")
        other.next("pieces")
        on_disk.reading("k1-pressure", 62.0)

        def until_it_shows(events: Events) -> str:
            while "p0-r0" not in (event := events.next("pieces"))[2]["pieces"]:
                pass
            return event[0]

        assert until_it_shows(one) == until_it_shows(other), "it was made once"
        assert producers() == ["cellar view"]
    eventually(lambda: producers() == [])


def test_programs_learn_which_places_changed(address: str, on_disk: CellarOnDisk) -> None:
    with events_of(f"{address}/api/events") as events:
        assert events.next("cellar")[2]["changed"] == ["K1", "C1"]
        on_disk.reading("k1-pressure", 60.0)
        on_disk.alarm()
        while not (data := events.next("cellar")[2])["alarms"]:
            pass
        assert data["changed"] == ["K1"]
        assert data["alarms"] == ["a2b"]
        assert data["all_well"] is False
        assert data["trouble"] is None


def test_a_store_that_cannot_be_read_is_reported_and_comes_back(address: str, on_disk: CellarOnDisk) -> None:
    with events_of(f"{address}/events") as events:
        events.next("pieces")
        path = on_disk.cellar.store_path
        path.rename(path.with_suffix(".away"))
        while not (data := events.next("pieces")[2])["trouble"]:
            pass
        assert data["pieces"] == {}
        path.with_suffix(".away").rename(path)
        while events.next("pieces")[2]["trouble"]:
            pass


def test_more_than_so_many_cannot_watch(address: str) -> None:
    with httpx.Client(limits=httpx.Limits(max_connections=None), timeout=PATIENCE_S) as client:
        streams = [
            client.send(client.build_request("GET", f"{address}/events"), stream=True) for _ in range(MOST_WATCHERS)
        ]
        assert {stream.status_code for stream in streams} == {200}
        refused = client.get(f"{address}/events")
        assert refused.status_code == 503
        assert "visitors watch the cellar already" in refused.json()["error"]
        assert client.get(f"{address}/").status_code == 200, "pages are still served"
        streams.pop().close()
        eventually(lambda: _status(client, f"{address}/events") == 200)
        for stream in streams:
            stream.close()


def _status(client: httpx.Client, url: str) -> int:
    with client.stream("GET", url) as answer:
        return answer.status_code


def test_a_visitor_that_does_not_read_holds_back_nobody_and_gets_the_newest(on_disk: CellarOnDisk) -> None:
    async def watch() -> None:
        board = Board(PageContext(on_disk.cellar, lambda: NOW, Tokens(b"k" * 32)))
        board.fresh()
        async with _visitor(board) as (slow, reads), _visitor(board) as (quick, quick_reads):
            quick_reads.set()
            async with asyncio.timeout(PATIENCE_S):
                for value in (56.0, 57.0, 58.0):
                    on_disk.reading("k1-pressure", value, 60 - value)
                    while f"{value:.1f} kPa" not in await quick.get():
                        pass
                reads.set()
                text = await slow.get()
                # Three changes were made meanwhile; of what changed thrice only the newest is sent.
                while "58.0 kPa" not in text:
                    assert "56.0 kPa" not in text
                    assert "57.0 kPa" not in text
                    text = await slow.get()

    asyncio.run(watch())


@asynccontextmanager
async def _visitor(board: Board) -> AsyncIterator[tuple[asyncio.Queue[str], asyncio.Event]]:
    """Somebody to whom nothing can be sent before ``reads`` is set: what was sent, and that event."""
    sent: asyncio.Queue[str] = asyncio.Queue()
    reads, gone = asyncio.Event(), asyncio.Event()

    async def send(message: dict[str, Any]) -> None:
        if message["type"] == "http.response.body":
            await reads.wait()
            sent.put_nowait(message["body"].decode())

    async def receive() -> dict[str, Any]:
        await gone.wait()
        return {"type": "http.disconnect"}

    stream = EventStream(board, board.snapshot.seq, lambda shown, _: ("pieces", dict(shown.pieces)))
    task = asyncio.create_task(stream({"type": "http", "headers": []}, receive, send))  # type: ignore[arg-type]
    try:
        yield sent, reads
    finally:
        reads.set()
        gone.set()
        await task


def test_a_connection_that_nobody_reads_is_given_up(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "LONGEST_UNREAD_S", 0.2)
    host, port = address.removeprefix("http://").split(":")
    with socket.socket() as deaf:
        deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        deaf.settimeout(PATIENCE_S)
        deaf.connect((host, int(port)))
        # Far more than the buffers between here and there hold.
        many = b"GET /static/leeside.css HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n" * 4000
        with suppress(ConnectionError):
            deaf.sendall(many)
        eventually(lambda: not _is_open(int(port), deaf.getsockname()[1]))
    assert httpx.get(f"{address}/static/leeside.css").status_code == 200


def test_an_answer_on_its_way_to_a_slow_visitor_is_not_cut_off(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    whole, looks = httpx.get(f"{address}/api/openapi.json").content, threading.Semaphore(0)
    look, begin = LimitedProtocol._close_if_nothing_is_asked, connections._give_up_unread

    def noted_look(self: LimitedProtocol) -> None:
        look(self)
        looks.release()

    def begin_with_little_room(transport: asyncio.Transport) -> None:
        transport.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)
        begin(transport)

    monkeypatch.setattr(connections, "LONGEST_REQUEST_S", 0.05)
    monkeypatch.setattr(LimitedProtocol, "_close_if_nothing_is_asked", noted_look)
    monkeypatch.setattr(connections, "_give_up_unread", begin_with_little_room)
    host, port = address.removeprefix("http://").split(":")
    with socket.socket() as slow:
        slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        slow.settimeout(PATIENCE_S)
        slow.connect((host, int(port)))
        slow.sendall(b"GET /api/openapi.json HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        # The page has looked at the connection after it gave the answer, of which most is still to be sent.
        assert all(looks.acquire(timeout=PATIENCE_S) for _ in range(3))
        seen = b""
        while not seen.endswith(whole) and (more := slow.recv(65_536)):
            seen += more
    assert seen.endswith(whole)


def _is_open(port: int, visitor_port: int) -> bool:
    """Whether the server's end of a connection is open: proc_pid_net(5), state 01 is TCP_ESTABLISHED."""
    ends = (line.split()[1:4] for line in Path("/proc/net/tcp").read_text().splitlines()[1:])
    return any(
        state == "01" and int(near.split(":")[1], 16) == port and int(far.split(":")[1], 16) == visitor_port
        for near, far, state in ends
    )
