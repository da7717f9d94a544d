"""``[page]``: where the web page listens, and who may see it."""

from __future__ import annotations

__all__ = ["PageSettings"]

import ipaddress
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Final
from urllib.parse import urlsplit

from pydantic import AfterValidator

from ingest.cellar.connections import is_loopback
from ingest.cellar.form import Table, Text
from ingest.cellar.secret import read_password

# RFC 1123, section 2.1, with the underscore that people use all the same.
_HOST_NAME: Final = re.compile(r"(?=.{1,253}$)[A-Za-z0-9_]([A-Za-z0-9_-]*[A-Za-z0-9_])?(\.[A-Za-z0-9_-]+)*")


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
    if parts.path.strip("/"):
        raise ValueError(f"no path, since the page needs a host name of its own; allowed: {form}")
    if parts.scheme == "http" and not is_loopback(host):
        raise ValueError(f"a link that acknowledges an alarm must not cross the network in the clear; allowed: {form}")
    return text.rstrip("/")


def _name(text: str) -> str:
    if is_loopback(text) or not _HOST_NAME.fullmatch(text):
        raise ValueError('a name without scheme, port and path, such as "cellar.local"')
    return text.lower()


def _proxy(text: str) -> str:
    try:
        ipaddress.ip_network(text)
    except ValueError:
        raise ValueError('the address of the proxy, such as "127.0.0.1", or of its network, "10.0.0.0/24"') from None
    return text


class PageSettings(Table):
    """``[page]``: where the web page listens, under which names people reach it, and what keeps others out.

    The hash of its password is never in the file, since the store keeps the file's text: see ``password_hash``.
    """

    address: Annotated[Text, AfterValidator(_address)] = "127.0.0.1:8420"
    url: Annotated[Text, AfterValidator(_public_url)] | None = None
    names: tuple[Annotated[Text, AfterValidator(_name)], ...] = ()
    password_hash_env: Text | None = None
    password_hash_file: Text | None = None
    certificate: Text | None = None
    key: Text | None = None
    trusted_proxy: tuple[Annotated[Text, AfterValidator(_proxy)], ...] = ()

    @property
    def host(self) -> str:
        """The address without its port."""
        return _host_and_port(self.address)[0]

    @property
    def port(self) -> int:
        """The TCP port."""
        return _host_and_port(self.address)[1]

    @property
    def url_host(self) -> str:
        """The host of the url, "" without one."""
        return (urlsplit(self.url).hostname or "") if self.url else ""

    @property
    def has_password(self) -> bool:
        """Whether the file says where the hash of a password is."""
        return self.password_hash_env is not None or self.password_hash_file is not None

    @property
    def opened_by(self) -> str | None:
        """The first key by which other machines can reach the page, None if only this machine can."""
        if not is_loopback(self.host):
            return "address"
        if self.url and not is_loopback(self.url_host):
            return "url"
        return "trusted_proxy" if self.trusted_proxy else "names" if self.names else None

    def password_hash(self, environ: Mapping[str, str], base: Path) -> str | None:
        """Read the hash of the password from the environment or its file; None where neither is named.

        base: the cellar file's folder. Raises IngestError that says what is missing.
        """
        return read_password(
            "[page]", self.password_hash_env, self.password_hash_file, environ, base, what="password_hash"
        )
