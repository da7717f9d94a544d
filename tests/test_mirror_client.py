"""The client library as the mirror uses it: influx request, influx reply, whatever the network does."""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from influx_server import InfluxServer, Says

from ingest.cellar import MirrorSettings
from ingest.mirror.client import NETWORK, Reply
from ingest.mirror.influx import Influx

DATE = "Fri, 31 Dec 1999 23:59:59 GMT"
LINES = [f"reading,place=é value={n}.0,quality=0i {n}" for n in range(200)]


@pytest.fixture
def server() -> Iterator[InfluxServer]:
    with InfluxServer() as started:
        yield started


def client(url: str, timeout_s: float = 5.0) -> Influx:
    table = MirrorSettings.model_validate({"url": url, "org": "our home", "bucket": "b&c"})
    return Influx(table.model_copy(update={"timeout_s": timeout_s}), None)


def test_a_request_as_it_arrives(server: InfluxServer) -> None:
    influx = client(server.url)
    assert influx.post(LINES, "abc") == Reply(204)
    assert influx.post(LINES[:1], None) == Reply(204)
    first, second = server.requests
    assert first.lines == tuple(LINES)
    assert first.query == {"org": "our home", "bucket": "b&c", "precision": "ns"}
    assert (first.path, first.token, second.token) == ("/api/v2/write", "Token abc", None)
    influx.close()


@pytest.mark.parametrize(
    ("says", "reply"),
    [
        (Says(200, body="<html>log in</html>"), Reply(200)),
        (Says(302, headers={"Location": "/elsewhere"}), Reply(302)),
        (Says(307, headers={"Location": "/elsewhere"}), Reply(307)),
        (Says(400, body='{"code":"invalid","message":"unable\\n to parse"}'), Reply(400, "unable to parse")),
        (Says(401, body='{"message":""}'), Reply(401, '{"message":""}')),
        (Says(404, body="[1]"), Reply(404, "[1]")),
        (Says(413), Reply(413)),
        (Says(422, body="x" * 999), Reply(422, "x" * 300)),
        (Says(429, headers={"Retry-After": "7"}), Reply(429, "", "7")),
        (Says(503, headers={"retry-after": DATE}), Reply(503, "", DATE)),
        (Says(drop=True, status=0), Reply(NETWORK, "the connection broke before an answer came")),
    ],
)
def test_each_answer_is_one_request(says: Says, reply: Reply, server: InfluxServer) -> None:
    server.script = [says]
    influx = client(server.url)
    assert influx.post(LINES, "t") == reply
    assert len(server.requests) == 1
    assert influx.post(LINES, "t") == Reply(204)
    influx.close()


def test_no_answer_in_time(server: InfluxServer) -> None:
    server.script = [Says(hang=True)]
    influx = client(server.url, timeout_s=0.1)
    assert influx.post(LINES, None) == Reply(NETWORK, "no answer in time")
    influx.close()


def test_nobody_listens(server: InfluxServer) -> None:
    server.stop()
    influx = client(server.url)
    assert influx.post(LINES, None) == Reply(NETWORK, "no connection: [Errno 111] Connection refused")
    influx.close()


def test_what_is_no_http_and_no_text() -> None:
    for answer in (b"220 mail.example ESMTP\r\n", b"HTTP/1.1 400 no\r\nContent-Length: 1\r\n\r\n\xff"):
        with socket.create_server(("127.0.0.1", 0)) as listener:
            influx = client(f"http://127.0.0.1:{listener.getsockname()[1]}")

            def speak(words: bytes = answer, at: socket.socket = listener) -> None:
                connection, _ = at.accept()
                connection.recv(65536)
                connection.sendall(words)
                connection.close()

            thread = threading.Thread(target=speak)
            thread.start()
            assert influx.post(LINES[:1], None).status == NETWORK
            thread.join()
            influx.close()


def test_the_library_is_imported_only_where_a_mirror_is_set() -> None:
    script = "import sys, ingest.daemon; sys.exit('influxdb_client' in sys.modules or 'reactivex' in sys.modules)"
    folder = Path(__file__).parent.parent
    assert subprocess.run([sys.executable, "-c", script], cwd=folder, check=False).returncode == 0
