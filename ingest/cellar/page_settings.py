"""``[page]``: where the web page listens, and who may see it."""

from __future__ import annotations

__all__ = ["PageSettings"]

from typing import Annotated
from urllib.parse import urlsplit

from pydantic import AfterValidator

from ingest.cellar.connections import is_loopback
from ingest.cellar.form import Table, Text


def _address(text: str) -> str:
    _host_and_port(text)
    return text


def _host_and_port(text: str) -> tuple[str, int]:
    host, colon, port = text.rpartition(":")
    if host.startswith("[") and host.endswith("]"):
        host = host[1:-1]
    elif ":" in host:
        host = ""
    if not (colon and host and port.isascii() and port.isdigit() and len(port) <= 5 and 1 <= int(port) <= 65535):
        raise ValueError('host and port, such as "127.0.0.1:8420"')
    return host, int(port)


def _public_url(text: str) -> str:
    form = 'https:// and the name under which people reach the page, such as "https://cellar.example"'
    try:
        parts = urlsplit(text)
        host = parts.hostname or ""
        wrong = parts.scheme not in ("http", "https") or not host or parts.port == 0
    except ValueError:  # a port that is not a number, a bracket that does not close
        wrong, host, parts = True, "", urlsplit("")
    if wrong or not text.isascii() or any(character.isspace() for character in text):
        raise ValueError(form)
    if parts.username is not None or parts.query or parts.fragment:
        raise ValueError(f"no user, and nothing after a ? or #; allowed: {form}")
    if parts.scheme == "http" and not is_loopback(host):
        raise ValueError(f"a link that acknowledges an alarm must not cross the network in the clear; allowed: {form}")
    return text.rstrip("/")


class PageSettings(Table):
    """``[page]``: where the web page listens, and under which address people reach it, for links in messages."""

    address: Annotated[Text, AfterValidator(_address)] = "127.0.0.1:8420"
    url: Annotated[Text, AfterValidator(_public_url)] | None = None

    @property
    def host(self) -> str:
        """The address without its port."""
        return _host_and_port(self.address)[0]

    @property
    def port(self) -> int:
        """The TCP port."""
        return _host_and_port(self.address)[1]
