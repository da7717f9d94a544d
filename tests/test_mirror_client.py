"""The client library as the mirror uses it: one request, one reply, whatever the network does."""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from influx_server import InfluxServer, Says

from ingest.mirror.client import NETWORK, Reply
from ingest.mirror.influx import Influx

DATE = "Fri, 31 Dec 1999 23:59:59 GMT"
LINES = [f"reading,place=é value={n}.0,quality=0i {n}" for n in range(200)]


@pytest.fixture
def server() -> Iterator[InfluxServer]:
    with InfluxServer() as started:
        yield started


def client(server: InfluxServer, timeout_s: float = 5.0) -> Influx:
    return Influx(url=server.url, org="our home", bucket="b&c", timeout_s=timeout_s, ca_file=None)


def test_a_request_as_it_arrives(server: InfluxServer) -> None:
    one = client(server)
    assert one.post(LINES, "abc") == Reply(204)
    assert one.post(LINES[:1], None) == Reply(204)
    first, second = server.requests
    assert first.lines == tuple(LINES)
    assert first.query == {"org": "our home", "bucket": "b&c", "precision": "ns"}
    assert (first.path, first.token, second.token) == ("/api/v2/write", "Token abc", None)
    one.close()


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
    one = client(server)
    assert one.post(LINES, "t") == reply
    assert len(server.requests) == 1
    assert one.post(LINES, "t") == Reply(204)
    one.close()


def test_no_answer_in_time(server: InfluxServer) -> None:
    server.script = [Says(hang=True)]
    one = client(server, timeout_s=0.1)
    assert one.post(LINES, None) == Reply(NETWORK, "no answer in time")
    one.close()


def test_nobody_listens(server: InfluxServer) -> None:
    server.stop()
    one = client(server)
    assert one.post(LINES, None) == Reply(NETWORK, "no connection: [Errno 111] Connection refused")
    one.close()


def test_what_is_no_http_and_no_text() -> None:
    for answer in (b"220 mail.example ESMTP\r\n", b"HTTP/1.1 400 no\r\nContent-Length: 1\r\n\r\n\xff"):
        with socket.create_server(("127.0.0.1", 0)) as listener:
            one = Influx(
                url=f"http://127.0.0.1:{listener.getsockname()[1]}", org="o", bucket="b", timeout_s=5.0, ca_file=None
            )

            def speak(words: bytes = answer, at: socket.socket = listener) -> None:
                connection, _ = at.accept()
                connection.recv(65536)
                connection.sendall(words)
                connection.close()

            thread = threading.Thread(target=speak)
            thread.start()
            assert one.post(LINES[:1], None).status == NETWORK
            thread.join()
            one.close()


def test_the_library_is_imported_only_where_a_mirror_is_set() -> None:
    script = "import sys, ingest.daemon; sys.exit('influxdb_client' in sys.modules or 'reactivex' in sys.modules)"
    folder = Path(__file__).parent.parent
    assert subprocess.run([sys.executable, "-c", script], cwd=folder, check=False).returncode == 0
