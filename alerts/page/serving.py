"""The page's process: ``python -m alerts.page.serving FILE``. It may be flooded or die, and nothing else notices.

It reads the store and listens on one port. While another program has that port, it tries again.
"""

from __future__ import annotations

__all__ = ["PageProcess", "main", "server_settings"]

import asyncio
import logging
import os
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from threading import Event
from typing import Final

import sdnotify
import uvicorn
from fastapi import FastAPI

from alerts.page.app import make_app
from alerts.page.connections import MOST_CONNECTIONS, LimitedProtocol
from alerts.page.credentials import password_hash, try_certificate
from alerts.page.doors.sessions import session_file
from alerts.page.server_name import SERVER_NAME
from ingest.cellar import Cellar
from ingest.errors import IngestError
from ingest.process import orphaned, run_daemon, wall_ms
from ingest.watchdog import Watchdog

log = logging.getLogger("page")

_TRY_AGAIN_S: Final = 10.0
_LOOK_UP_S: Final = 0.5


class _Refused(logging.Filter):
    """Keeps back why uvicorn could not have its port, for the page to report once. reason: None for nothing yet.

    Also the traceback of each request that a stop did not wait for; that some were cut off is logged in one line.
    """

    reason: str | None = None

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether the record is to be logged."""
        if isinstance(record.msg, OSError):
            self.reason = (record.msg.strerror or str(record.msg)).rpartition(": ")[2]
            return False
        return record.exc_info is None or not isinstance(record.exc_info[1], asyncio.CancelledError)


def server_settings(app: FastAPI, host: str, port: int) -> uvicorn.Config:
    """Give the settings of the page's server."""
    return uvicorn.Config(
        app,
        host=host,
        port=port,
        http=LimitedProtocol,
        # asyncio accepts so many at a time before it looks at the first. With more than a process may have open, it
        # also complains once for each that is missing, and again for each when the page stops.
        backlog=MOST_CONNECTIONS,
        log_config=None,
        access_log=False,
        server_header=False,
        headers=[("server", SERVER_NAME)],
        # Who asks, and how, is what the connection says, unless the cellar file names a proxy.
        proxy_headers=False,
        lifespan="off",
        timeout_graceful_shutdown=2,
    )


class PageProcess:
    """Serves the page of a cellar until it is stopped."""

    def __init__(self, cellar: Cellar, environ: Mapping[str, str]) -> None:
        if cellar.page is None:
            raise IngestError(
                'the cellar file has no [page]; add one with an address, such as address = "127.0.0.1:8420"'
            )
        app = make_app(
            cellar,
            wall_ms,
            password_hash=password_hash(cellar.page, environ, cellar.base),
            sessions_file=session_file(cellar.store_path),
        )
        self._settings = server_settings(app, cellar.page.host, cellar.page.port)
        if cellar.page.trusted_proxy:
            self._settings.proxy_headers = True
            self._settings.forwarded_allow_ips = list(cellar.page.trusted_proxy)
        if cellar.page.certificate is not None and cellar.page.key is not None:
            files = (cellar.base / cellar.page.certificate, cellar.base / cellar.page.key)
            try_certificate(*files)
            self._settings.ssl_certfile, self._settings.ssl_keyfile = files
        self.address = f"{'https' if cellar.page.certificate else 'http'}://{cellar.page.address}/"
        self.stop_event = Event()
        self._refused = _Refused()
        logging.getLogger("uvicorn.error").addFilter(self._refused)
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self._notifier = sdnotify.SystemdNotifier()
        self._watchdog = Watchdog(environ, os.getpid(), time.monotonic())
        self._parent = environ.get("LEESIDE_PARENT")

    def start(self) -> None:
        """Start to serve, in a thread of its own."""
        self._thread = threading.Thread(target=self._serve, name="page", daemon=True)
        self._thread.start()
        self._notifier.notify("READY=1")

    def _serve(self) -> None:
        is_logged = False
        while not self.stop_event.is_set():
            self._server = uvicorn.Server(self._settings)
            try:
                self._server.run()
            except SystemExit:
                # uvicorn ends the program when it cannot have its port; here, only the page goes missing.
                if not is_logged:
                    why = "" if self._refused.reason is None else f" ({self._refused.reason})"
                    log.error(
                        "the page cannot be served at %s%s: is another program using that port?", self.address, why
                    )
                is_logged = True
            self.stop_event.wait(_TRY_AGAIN_S)

    def run(self) -> None:
        """Wait until ``stop_event`` is set, and report as often as wanted that the server still runs."""
        look_up_s = min(_LOOK_UP_S, self._watchdog.every_s)
        is_announced = False
        while not self.stop_event.wait(look_up_s) and not orphaned(self._parent):
            if not is_announced and self._server is not None and self._server.started:
                log.info("the page is at %s", self.address)
                is_announced = True
            if self._thread is not None and self._thread.is_alive() and self._watchdog.due(time.monotonic()):
                self._notifier.notify("WATCHDOG=1")

    def stop(self) -> None:
        """Stop serving; open connections have two seconds."""
        self.stop_event.set()
        self._notifier.notify("STOPPING=1")
        if self._server is not None:
            self._server.should_exit = True
        if self._thread is not None:
            self._thread.join(5)


def main(arguments: Sequence[str] | None = None) -> int:
    """Serve the page of a cellar file until SIGTERM or SIGINT. Exit code 0, or 2 when it cannot start."""
    # What the web server reports of its own starting and stopping says nothing to a winemaker.
    logging.getLogger("uvicorn").setLevel(logging.WARNING)
    return run_daemon("page", PageProcess, arguments)


if __name__ == "__main__":
    sys.exit(main())
