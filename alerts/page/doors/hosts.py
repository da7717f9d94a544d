"""Under which names the page answers: a foreign web site must not read it through a name of its own that leads here."""

from __future__ import annotations

__all__ = ["HostCheck", "host_of", "names_of"]

import ipaddress
from typing import Final

from fastapi.responses import PlainTextResponse
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from ingest.cellar import PageSettings
from ingest.plain_text import one_line

_LOCAL: Final = frozenset({"127.0.0.1", "localhost", "::1"})


def names_of(page: PageSettings | None, machine: str) -> frozenset[str]:
    """List the names and addresses of a page. machine: the host name of this machine."""
    if page is None:
        return _LOCAL
    names = {page.host, page.url_host, *page.names}
    if page.opened_by == "address":
        names |= {machine, machine.partition(".")[0], machine.partition(".")[0] + ".local"}
    return _LOCAL | {_plain(name) for name in names if name}


def host_of(header: str) -> str:
    """Give the name in the field Host without its port: RFC 9110, section 7.2. "" for one that is none."""
    if header.startswith("["):
        address, bracket, port = header[1:].partition("]")
        return address.lower() if bracket and (not port or port.startswith(":")) else ""
    return _plain(header.partition(":")[0])


def _plain(name: str) -> str:
    return name.lower().rstrip(".")


class HostCheck:
    """Answers only under the page's names. any_address: also under each IP address, which no foreign site can have."""

    def __init__(self, app: ASGIApp, names: frozenset[str], *, any_address: bool) -> None:
        self._app = app
        self._names = names
        self._any_address = any_address

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] == "http":
            host = host_of(Headers(scope=scope).get("host", ""))
            if host not in self._names and not (self._any_address and _is_address(host)):
                shown = one_line(host, 100)
                await PlainTextResponse(
                    f"The page does not answer under the name '{shown}'. Names that people use for this machine go "
                    'into the cellar file: [page] names = ["cellar.local"].\n',
                    400,
                )(scope, receive, send)
                return
        await self._app(scope, receive, send)


def _is_address(host: str) -> bool:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True
