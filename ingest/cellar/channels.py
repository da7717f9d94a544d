"""Channels beside mail: the table ``[[channel]]``."""

from __future__ import annotations

__all__ = [
    "PLACEHOLDER",
    "ChannelKind",
    "ChannelSettings",
    "is_private_host",
    "plain_topic",
    "unknown_placeholders",
    "web_address",
]

import ipaddress
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Final, Literal
from urllib.parse import urlsplit

from pydantic import AfterValidator, Field

from ingest.cellar.amounts import Span, amount
from ingest.cellar.connections import is_loopback
from ingest.cellar.form import Flag, Identifier, Table, Text
from ingest.cellar.secret import read_password
from ingest.cellar.units import Dimension
from ingest.errors import IngestError

ChannelKind = Literal["apprise", "mqtt", "webhook"]

# Stands in an apprise URL for the person's address.
PLACEHOLDER: Final = "{address}"
LONGEST_TOPIC: Final = 1000  # MQTT allows 65,535 bytes; nobody reads so long a topic, this project's choice
_LONGEST_HOST, _LONGEST_PART = 253, 63
_ANY_PLACEHOLDER: Final = re.compile(r"\{[A-Za-z_]*\}")
# In bytes. RFC 2104 section 3 discourages keys shorter than the hash, which has 32; half is this project's choice.
SHORTEST_SECRET: Final = 16


def is_private_host(host: str) -> bool:
    """Say whether a host is this machine or, by its address, in a private network (RFC 1918, RFC 4193, link-local)."""
    try:
        address = ipaddress.ip_address(host.strip("[]"))
    except ValueError:
        return is_loopback(host)
    return address.is_private or address.is_loopback or address.is_link_local


def unknown_placeholders(text: str) -> list[str]:
    """List what looks like a placeholder and is not ``{address}``."""
    return [each for each in dict.fromkeys(_ANY_PLACEHOLDER.findall(text)) if each != PLACEHOLDER]


def web_address(text: str) -> str:
    """Give an HTTP URL back. Raises ValueError that says what is allowed."""
    form = 'http:// or https:// and a host, such as "https://hooks.example/leeside"'
    try:
        parts = urlsplit(text)
        wrong = parts.scheme not in ("http", "https") or not _is_host(parts.hostname or "") or parts.port == 0
    except ValueError:  # a port that is not a number, a bracket that does not close
        wrong = True
    if wrong or any(character.isspace() for character in text) or not text.isascii():
        raise ValueError(form)
    if parts.username is not None or parts.password is not None:
        raise ValueError(f"no user and password in it; allowed: {form}")
    if parts.fragment:
        raise ValueError(f"nothing after a #; allowed: {form}")
    return text


def _is_host(host: str) -> bool:
    """Whether a resolver takes it: parts of 1 to 63 characters, 253 in all (RFC 1035 section 2.3.4), or an address."""
    parts = host.removesuffix(".").split(".")
    return ":" in host or (len(host) <= _LONGEST_HOST and all(0 < len(part) <= _LONGEST_PART for part in parts))


def plain_topic(text: str) -> str:
    """Give a topic to publish on back. Raises ValueError that says what is allowed."""
    if any(mark in text for mark in "+#\0") or text.startswith("$") or text.endswith("/"):
        raise ValueError('a topic without "+" and "#" and without "/" at its end, such as "cellar/alarm"')
    if len(text) > LONGEST_TOPIC:
        raise ValueError(f"a topic of at most {LONGEST_TOPIC} characters")
    return text


def apprise_problem(url: str) -> str:
    """Say what is wrong with an apprise URL before the library reads it, without the URL; "" for nothing.

    A password with "@", "#" or the like as it is would be cut there, and sent to a host of that name.
    """
    if any(not character.isprintable() for character in url):
        return "its url holds a control character; write the URL on one line, and nothing else"
    _, _, rest = url.partition("://")
    authority = rest.partition("/")[0].partition("?")[0]
    if authority.count("@") > 1 or ("#" in authority and "@" in rest):
        return (
            'its url has "@" or "#" in the user or the password; write such characters as RFC 3986 asks: %40 for "@", '
            '%23 for "#", %3A for ":", %2F for "/", %3F for "?", %26 for "&", %25 for "%"'
        )
    return ""


class ChannelSettings(Table):
    """``[[channel]]``: a way on which messages go out, beside ``[mail]``. Secrets are never in the file.

    Of kind apprise: url_env, url_file; of kind webhook: url, secret_env, secret_file, ca_file, allow_http; of kind
    mqtt: topic, payload. timeout_s: how long a message may take, which the broker decides for itself.
    """

    id: Identifier = Field(description="a short name of the channel, such as push")
    kind: ChannelKind = Field(description='what it is: "apprise", "mqtt" or "webhook"')
    url: Annotated[Text, AfterValidator(web_address)] | None = None
    url_env: Text | None = None
    url_file: Text | None = None
    secret_env: Text | None = None
    secret_file: Text | None = None
    ca_file: Text | None = None
    allow_http: Flag = False
    topic: Annotated[Text, AfterValidator(plain_topic)] | None = None
    payload: Literal["json", "plain"] = "json"
    timeout_s: Annotated[float, amount(Dimension.TIME, "s", "10 s", Span(1.0, 120.0))] | None = Field(
        default=None, alias="timeout"
    )

    @property
    def label(self) -> str:
        """How the table begins in the file, with its id."""
        return f"[[channel]] {self.id}"

    def apprise_url(self, environ: Mapping[str, str], base: Path) -> str:
        """Read the URL of an apprise channel. base: the cellar file's folder.

        Raises IngestError that says what is missing or what cannot be read, without the URL in it.
        """
        url = read_password(self.label, self.url_env, self.url_file, environ, base, what="url") or ""
        if problem := apprise_problem(url):
            raise IngestError(f"{self.label}: {problem}")
        if unknown := unknown_placeholders(url):
            raise IngestError(
                f"{self.label}: its url has {' and '.join(unknown)}, which leeside does not know; allowed: "
                f"{PLACEHOLDER}, which stands for the person's address"
            )
        return url

    def secret(self, environ: Mapping[str, str], base: Path) -> str:
        """Read the secret that a webhook is signed with. Raises IngestError that says what is missing."""
        secret = read_password(self.label, self.secret_env, self.secret_file, environ, base, what="secret") or ""
        if len(secret.encode()) < SHORTEST_SECRET:
            raise IngestError(f"{self.label}: its secret must have at least {SHORTEST_SECRET} characters")
        return secret
