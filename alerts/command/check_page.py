"""`leeside check --live` of the page: whether its port is free, served by leeside, or taken."""

from __future__ import annotations

__all__ = ["page_port"]

import errno
import http.client
import socket
from typing import Final

from alerts.command.check_result import CheckResult, failed, passed
from alerts.page.server_name import SERVER_NAME
from ingest.cellar import PageSettings

_ANSWER_S: Final = 3.0


def page_port(page: PageSettings) -> CheckResult:
    """Try to take the page's port for a moment, and if it is taken, ask who answers there."""
    family = socket.AF_INET6 if ":" in page.host else socket.AF_INET
    try:
        with socket.socket(family) as trial:
            # As the page's own server does, so that what a former one has left behind counts as free.
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            trial.bind((page.host, page.port))
    except OSError as error:
        if error.errno != errno.EADDRINUSE:
            return failed("page", page.address, f"cannot be served here ({error.strerror}); look at [page] address")
        if _server_name(page) == SERVER_NAME:
            return passed("page", page.address, "is served by leeside")
        text = "another program has this port, so the page would not be served: stop it, or choose another port"
        return failed("page", page.address, text)
    return passed("page", page.address, "the port is free; `leeside run` serves the page there")


def _server_name(page: PageSettings) -> str:
    connection = http.client.HTTPConnection(page.host, page.port, timeout=_ANSWER_S)
    try:
        connection.request("HEAD", "/")
        return connection.getresponse().headers.get("server", "")
    except (OSError, http.client.HTTPException):
        return ""
    finally:
        connection.close()
