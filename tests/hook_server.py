"""A real web server on a free port of the loopback that answers as a test asks and keeps what was posted to it."""

from __future__ import annotations

__all__ = ["HOOK_SECRET", "Hook", "Post", "hold", "hook_server"]

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, NamedTuple

HOOK_SECRET = "a secret of the tests"


class Post(NamedTuple):
    """A request as it came."""

    path: str
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> dict[str, Any]:
        read = json.loads(self.body)
        assert isinstance(read, dict)
        return read


@dataclass
class Hook:
    """What the server has got, and how it answers.

    status, headers, text: of the next answers; before: called with each request before it is answered, and may wait.
    """

    status: int = 204
    headers: dict[str, str] = field(default_factory=dict)
    text: str = ""
    before: Callable[[Post], None] = lambda post: None
    posts: list[Post] = field(default_factory=list)
    port: int = 0

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/leeside/geheim?x=1"


def hold(release: threading.Event) -> None:
    """Wait before the answer until the test has seen enough."""
    release.wait(60)


@contextmanager
def hook_server(hook: Hook, port: int = 0) -> Iterator[Hook]:
    """Run the server inside the block."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            post = Post(self.path, dict(self.headers.items()), body)
            hook.posts.append(post)
            hook.before(post)
            text = hook.text.encode()
            self.send_response(hook.status)
            for name, value in hook.headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(text)))
            self.end_headers()
            self.wfile.write(text)

        def log_message(self, format: str, *arguments: object) -> None:
            pass

        def handle(self) -> None:
            try:
                super().handle()
            except OSError:
                pass  # the other side has had enough

    with ThreadingHTTPServer(("127.0.0.1", port), Handler) as server:
        server.daemon_threads = True
        hook.port = server.server_address[1]
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        try:
            yield hook
        finally:
            server.shutdown()
            thread.join(10)
