"""The client library as the mirror uses it: influx request, influx reply, whatever the network does."""

from __future__ import annotations

import gzip
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from influx_server import InfluxServer, Says
from peak_memory import PeakMemory
from rude_server import rude_server

from ingest.cellar import MirrorSettings
from ingest.mirror.influx import Influx
from ingest.mirror.reply import NETWORK, Reply

DATE = "Fri, 31 Dec 1999 23:59:59 GMT"
LINES = [f"reading,place=é value={n}.0,quality=0i {n}" for n in range(200)]


def client_of(url: str, timeout_s: float = 5.0) -> Influx:
    table = MirrorSettings.model_validate({"url": url, "org": "our home", "bucket": "b&c"})
    return Influx(table.model_copy(update={"timeout_s": timeout_s}), None)


def test_a_request_as_it_arrives(influx: InfluxServer) -> None:
    client = client_of(influx.url)
    assert client.post(LINES, "abc") == Reply(204)
    assert client.post(LINES[:1], None) == Reply(204)
    first, second = influx.requests
    assert first.lines == tuple(LINES)
    assert first.query == {"org": "our home", "bucket": "b&c", "precision": "ns"}
    assert (first.path, first.token, second.token) == ("/api/v2/write", "Token abc", None)
    client.close()


@pytest.mark.parametrize(
    ("says", "reply"),
    [
        (Says(200, body="<html>log in</html>"), Reply(200)),
        (Says(302, headers={"Location": "/elsewhere"}), Reply(302)),
        (Says(307, headers={"Location": "/elsewhere"}), Reply(307)),
        (Says(400, body='{"code":"invalid","message":"unable\\n to parse"}'), Reply(400, "unable to parse")),
        (Says(403, body="no\x1b[31m\u202eentry"), Reply(403, "no\\x1b[31m\\u202eentry")),
        (Says(401, body='{"message":""}'), Reply(401, '{"message":""}')),
        (Says(404, body="[1]"), Reply(404, "[1]")),
        (Says(413), Reply(413)),
        (Says(422, body="x" * 999), Reply(422, "x" * 300)),
        (Says(429, headers={"Retry-After": "7"}), Reply(429, "", "7")),
        (Says(503, headers={"retry-after": DATE}), Reply(503, "", DATE)),
        (Says(drop=True, status=0), Reply(NETWORK, "the connection broke before an answer came")),
    ],
)
def test_each_answer_is_one_request(says: Says, reply: Reply, influx: InfluxServer) -> None:
    influx.script = [says]
    client = client_of(influx.url)
    assert client.post(LINES, "t") == reply
    assert len(influx.requests) == 1
    assert client.post(LINES, "t") == Reply(204)
    client.close()


def test_no_answer_in_time(influx: InfluxServer) -> None:
    influx.script = [Says(hang=True)]
    client = client_of(influx.url, timeout_s=0.1)
    assert client.post(LINES, None) == Reply(NETWORK, "no answer in time")
    client.close()


def test_nobody_listens(influx: InfluxServer) -> None:
    influx.stop()
    client = client_of(influx.url)
    assert client.post(LINES, None) == Reply(NETWORK, "no connection: [Errno 111] Connection refused")
    client.close()


def test_what_is_no_http_and_no_text() -> None:
    for answer in (b"220 mail.example ESMTP\r\n", b"HTTP/1.1 400 no\r\nContent-Length: 1\r\n\r\n\xff"):
        with socket.create_server(("127.0.0.1", 0)) as listener:
            client = client_of(f"http://127.0.0.1:{listener.getsockname()[1]}")

            def speak(words: bytes = answer, at: socket.socket = listener) -> None:
                connection, _ = at.accept()
                connection.recv(65536)
                connection.sendall(words)
                connection.close()

            thread = threading.Thread(target=speak)
            thread.start()
            assert client.post(LINES[:1], None).status == NETWORK
            thread.join()
            client.close()


@contextmanager
def server(speak: Callable[[socket.socket], None]) -> Iterator[str]:
    """The URL of a server that replies as it likes."""

    def reply(connection: socket.socket) -> None:
        read_request(connection)
        speak(connection)

    with rude_server(reply) as port:
        yield f"http://127.0.0.1:{port}"


def read_request(connection: socket.socket) -> None:
    """Read all of a request: a connection that is closed with something unread is reset, and the reply is lost."""
    data = b""
    while b"\r\n\r\n" not in data:
        data += connection.recv(65536)
    head, _, body = data.partition(b"\r\n\r\n")
    length = next(
        int(line.partition(b":")[2]) for line in head.split(b"\r\n") if line.lower().startswith(b"content-length:")
    )
    while len(body) < length:
        body += connection.recv(65536)


HUGE = 300_000_000
PIECE = b"x" * 1_000_000
PACKED = gzip.compress(bytes(HUGE), 1)


def endless_body(connection: socket.socket) -> None:
    connection.sendall(b"HTTP/1.1 500 no\r\nContent-Length: %d\r\n\r\n" % HUGE)
    for _ in range(HUGE // len(PIECE)):
        connection.sendall(PIECE)


def endless_chunks(connection: socket.socket) -> None:
    connection.sendall(b"HTTP/1.1 500 no\r\nTransfer-Encoding: chunked\r\n\r\n")
    for _ in range(HUGE // len(PIECE)):
        connection.sendall(b"%x\r\n%s\r\n" % (len(PIECE), PIECE))


def packed_body(connection: socket.socket) -> None:
    connection.sendall(b"HTTP/1.1 500 no\r\nContent-Encoding: gzip\r\nContent-Length: %d\r\n\r\n" % len(PACKED))
    connection.sendall(PACKED)


def endless_redirect(connection: socket.socket) -> None:
    connection.sendall(b"HTTP/1.1 307 go\r\nLocation: /there\r\nRetry-After: 1\r\nContent-Length: %d\r\n\r\n" % HUGE)
    for _ in range(HUGE // len(PIECE)):
        connection.sendall(PIECE)


@pytest.mark.parametrize(
    ("speak", "status"),
    [(endless_body, 500), (endless_chunks, 500), (endless_redirect, 307), (packed_body, 500)],
)
def test_a_huge_reply_costs_no_memory(speak: Callable[[socket.socket], None], status: int) -> None:
    with server(speak) as url:
        client = client_of(url)
        with PeakMemory() as memory:
            reply = client.post(LINES, "t")
        client.close()
    assert reply.status == status
    assert len(reply.text) <= 300
    assert memory.grown_bytes < 30_000_000


def test_a_chunk_length_without_end_costs_no_memory() -> None:
    def speak(connection: socket.socket) -> None:
        connection.sendall(b"HTTP/1.1 500 no\r\nTransfer-Encoding: chunked\r\n\r\n")
        for _ in range(HUGE // len(PIECE)):
            connection.sendall(PIECE)

    with server(speak) as url:
        client = client_of(url)
        with PeakMemory() as memory:
            assert client.post(LINES, "t") == Reply(NETWORK, "the connection broke before an answer came")
        client.close()
    assert memory.grown_bytes < 30_000_000


def test_a_reply_that_trickles_ends_in_time() -> None:
    ended = threading.Event()

    def speak(connection: socket.socket) -> None:
        connection.sendall(b"HTTP/1.1 500 no\r\nContent-Length: 1000\r\n\r\n")
        while not ended.wait(0.02):
            connection.sendall(b"x")

    with server(speak) as url:
        client = client_of(url, timeout_s=0.3)
        assert client.post(LINES, "t") == Reply(NETWORK, "no answer in time")
        ended.set()
        client.close()


def test_the_library_is_imported_only_where_a_mirror_is_set() -> None:
    script = "import sys, ingest.daemon; sys.exit('influxdb_client' in sys.modules or 'reactivex' in sys.modules)"
    folder = Path(__file__).parent.parent
    assert subprocess.run([sys.executable, "-c", script], cwd=folder, check=False).returncode == 0
