"""A real HTTP server on the loopback that answers writes as a test asks and keeps the points that it took."""

from __future__ import annotations

__all__ = ["InfluxServer", "Request", "Says", "parse_line", "points_of"]

import gzip
import socket
import ssl
import struct
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from urllib.parse import parse_qsl, urlsplit

from ingest.simulation.loopback import free_port

Points = dict[tuple[str, int], dict[str, str]]


def _split(text: str, mark: str, *, quotes: bool = False) -> list[str]:
    """Split text at each mark without a backslash before it and, with quotes, only outside double quotes."""
    parts, part, place, inside = [], "", 0, False
    while place < len(text):
        character = text[place]
        guarded = '"\\' if inside else ",= "
        if character == "\\" and place + 1 < len(text) and text[place + 1] in guarded:
            part += text[place : place + 2]
            place += 2
            continue
        if quotes and character == '"':
            inside = not inside
        if character == mark and not inside:
            parts.append(part)
            part = ""
        else:
            part += character
        place += 1
    return [*parts, part]


def _plain(text: str) -> str:
    for character in ",= ":
        text = text.replace("\\" + character, character)
    return text


def _pair(text: str, *, quotes: bool = False) -> tuple[str, str]:
    key, value = _split(text, "=", quotes=quotes)
    if not key or not value:
        raise ValueError(text)
    return key, value


def _parts(line: str) -> tuple[str, dict[str, str], int]:
    """Split a line: (measurement and tags as written, fields as written, time in ns). Only fields have quotes."""
    head = _split(line, " ")[0]
    fields, at = _split(line[len(head) + 1 :], " ", quotes=True)
    pairs = dict(_pair(each, quotes=True) for each in _split(fields, ",", quotes=True))
    if any(value.lower() in ("nan", "inf", "-inf") for value in pairs.values()):
        raise ValueError(line)
    return head, pairs, int(at)


def parse_line(line: str) -> tuple[str, dict[str, str], dict[str, str], int]:
    """Parse a line: (measurement, tags, fields as written, time in ns). ValueError if it is not valid."""
    head, fields, at = _parts(line)
    measurement, *tags = _split(head, ",")
    pairs = (_pair(tag) for tag in tags)
    return _plain(measurement), {_plain(key): _plain(value) for key, value in pairs}, fields, at


def points_of(lines: Iterable[str]) -> Points:
    """Return lines as a server keeps them: one point for a head and a time, its fields as written; no comments."""
    made: Points = {}
    for line in lines:
        if line.startswith("#"):
            continue
        head, fields, at = _parts(line)
        made.setdefault((head, at), {}).update(fields)
    return made


@dataclass(frozen=True)
class Request:
    """A request as it arrived."""

    path: str
    query: dict[str, str]
    token: str | None
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Says:
    """An answer. hang: send nothing until the server stops; drop: cut the connection instead."""

    status: int = 204
    body: str = ""
    headers: dict[str, str] = field(default_factory=dict)
    hang: bool = False
    drop: bool = False
    kept: bool = False


class InfluxServer:
    """Answers 204 and keeps the points, unless the next item of ``script``, or ``judge``, answers otherwise.

    As a context manager it starts on a port of its own and stops; ``start`` and ``stop`` meanwhile keep the port.
    """

    def __init__(self) -> None:
        self.port = free_port()
        self.requests: list[Request] = []
        self.points: Points = {}
        self.script: list[Says] = []
        self.judge: Callable[[Request], Says] = lambda request: Says()
        self.ending = threading.Event()
        self.connections: list[socket.socket] = []
        self._server: ThreadingHTTPServer | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self, tls: ssl.SSLContext | None = None) -> None:
        """Serve; with TLS if its context is given."""
        outer = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def setup(self) -> None:
                super().setup()
                outer.connections.append(self.connection)

            def do_POST(self) -> None:
                outer.take(self)

            def do_GET(self) -> None:
                self.send_error(500, "nobody should come here")

            def log_message(self, format: str, *values: object) -> None:
                pass

        self.ending.clear()
        self._server = ThreadingHTTPServer(("127.0.0.1", self.port), Handler)
        if tls is not None:
            self._server.socket = tls.wrap_socket(self._server.socket, server_side=True)
        threading.Thread(target=self._server.serve_forever, args=(0.01,), daemon=True).start()

    def stop(self) -> None:
        self.ending.set()
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None
        # Connections that the other side keeps open would still be served.
        while self.connections:
            try:
                self.connections.pop().shutdown(socket.SHUT_RDWR)
            except OSError:
                pass  # closed long ago

    def take(self, handler: BaseHTTPRequestHandler) -> None:
        body = handler.rfile.read(int(handler.headers["Content-Length"]))
        if handler.headers["Content-Encoding"] == "gzip":
            body = gzip.decompress(body)
        parts = urlsplit(handler.path)
        request = Request(
            parts.path, dict(parse_qsl(parts.query)), handler.headers["Authorization"], tuple(body.decode().split("\n"))
        )
        says = self.script.pop(0) if self.script else self.judge(request)
        if says.status == 204 or says.kept:
            for key, fields in points_of(request.lines).items():
                self.points.setdefault(key, {}).update(fields)
        self.requests.append(request)
        if says.hang:
            self.ending.wait()
        if says.hang or says.drop:
            # With a linger time of 0 the other side gets a reset.
            handler.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            handler.close_connection = True
            handler.connection.close()
            return
        handler.send_response(says.status)
        for name, value in says.headers.items():
            handler.send_header(name, value)
        answer = says.body.encode()
        if says.status != 204:
            handler.send_header("Content-Length", str(len(answer)))
        handler.end_headers()
        handler.wfile.write(answer)

    def __enter__(self) -> InfluxServer:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()
