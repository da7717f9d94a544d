"""`leeside check --live` of the page: its password and certificate, and whether its port is free, ours, or taken."""

from __future__ import annotations

__all__ = ["check_page"]

import errno
import http.client
import socket
import ssl
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final

from alerts.command.checks.check_result import CheckResult, failed, passed
from alerts.page.credentials import password_hash, try_certificate
from alerts.page.server_name import SERVER_NAME
from ingest.cellar import PageSettings
from ingest.errors import IngestError

_ANSWER_S: Final = 3.0


def check_page(page: PageSettings, environ: Mapping[str, str], base: Path) -> Iterator[CheckResult]:
    """Read the page's secrets, and try its port. base: the cellar file's folder."""
    try:
        if password_hash(page, environ, base) is not None:
            yield passed("page", "password", "its hash can be read")
        if page.certificate is not None and page.key is not None:
            try_certificate(base / page.certificate, base / page.key)
            yield passed("page", page.certificate, "is a certificate with its key")
    except IngestError as error:
        yield failed("page", page.address, str(error))
    yield _port(page)


def _port(page: PageSettings) -> CheckResult:
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
    if page.certificate is not None:
        # Only the name that it gives itself is looked at, and the certificate is for another one than the address.
        context = ssl.create_default_context()
        context.check_hostname = False
        context.verify_mode = ssl.CERT_NONE
        connection = http.client.HTTPSConnection(page.host, page.port, timeout=_ANSWER_S, context=context)
    try:
        connection.request("HEAD", "/")
        return connection.getresponse().headers.get("server", "")
    except (OSError, http.client.HTTPException):
        return ""
    finally:
        connection.close()
