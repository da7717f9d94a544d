"""What leeside connects to: the tables of store, backup, broker, serial lines, one-wire bus, mail and mirror."""

from __future__ import annotations

__all__ = [
    "BackupSettings",
    "MailSettings",
    "MirrorSettings",
    "MqttSettings",
    "SerialSettings",
    "StoreSettings",
    "W1Settings",
    "is_loopback",
    "is_mail_address",
    "time_of_day",
]

import codecs
import ipaddress
import re
from collections.abc import Mapping
from datetime import time
from pathlib import Path
from typing import Annotated, Final, Literal
from urllib.parse import urlsplit

from pydantic import AfterValidator, BeforeValidator, Field

from ingest.cellar.amounts import DAY_S, Span, amount
from ingest.cellar.form import Flag, Identifier, Port, Table, Text
from ingest.cellar.secret import read_password
from ingest.cellar.units import Dimension
from ingest.errors import IngestError, SourceError

# A line end that TOML has left alone.
_UNREAD_ESCAPE: Final = re.compile(r"\\[rn]")
_TIME_OF_DAY: Final = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])")
_CENTURY_S: Final = 36_525 * DAY_S


def is_loopback(host: str) -> bool:
    """Say whether a host is this machine itself: ``localhost``, 127.x.x.x or ::1."""
    if host.lower().rstrip(".") == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _text_encoding(name: str) -> str:
    try:
        if not isinstance(b"7".decode(name), str):  # codecs such as "hex" decode to bytes or not at all
            raise LookupError(name)
        return codecs.lookup(name).name
    except (LookupError, ValueError):
        raise ValueError('the name of a text encoding, such as "utf-8" or "latin-1"') from None


def _question(text: str) -> str:
    if _UNREAD_ESCAPE.search(text):
        raise ValueError(r'write it in double quotes, such as "READ?\r\n": in single quotes \r stays two characters')
    return text


def _one_or_many(value: object) -> object:
    if isinstance(value, str):
        return (value,)
    if isinstance(value, list) and value:
        return tuple(value)
    raise ValueError(r'text to send, or a list of texts, such as "READ?\r\n"')


def _client_id(text: str) -> str:
    if "+" in text or "#" in text:
        raise ValueError('text without "+" and "#", since it stands in the topic leeside/CLIENT_ID/presence')
    return text


def _stopbits(number: float) -> float:
    if number not in (1, 1.5, 2):
        raise ValueError("allowed: 1, 1.5 or 2")
    return number


_LONGEST_ADDRESS: Final = 254  # RFC 5321 section 4.5.3.1.3, without the angle brackets
_ATOM: Final = r"[^\s()<>\[\]:;@\\,.\"]+"
_MAIL_ADDRESS: Final = re.compile(rf"{_ATOM}(\.{_ATOM})*@(\w([\w-]*\w)?(\.\w([\w-]*\w)?)*|\[(IPv6:)?[0-9A-Fa-f:.]+\])")


def is_mail_address(text: str) -> bool:
    """Say whether a text is one mail address (RFC 5321 section 4.1.2, RFC 6531), without a name and quotation marks.

    What else mail programs take for an address, such as two of them, would go to somebody else, or to nobody.
    """
    return text.isprintable() and len(text) <= _LONGEST_ADDRESS and _MAIL_ADDRESS.fullmatch(text) is not None


def _mail_address(text: str) -> str:
    if not is_mail_address(text):
        raise ValueError('one mail address alone, such as "cellarhand@cellar.example"')
    return text


def _host(text: str) -> str:
    # Never with the text in it: it may hold a password.
    if any(mark in text for mark in "@/?#") or any(character.isspace() for character in text):
        raise ValueError(
            'only a name or an address, such as "127.0.0.1" or "broker.example", without scheme, user, password or '
            "path; user and password_file or password_env are keys of their own"
        )
    return text


def _server(text: str) -> str:
    form = 'http:// or https://, a host, and a port if needed, such as "https://influx.example:8086"'
    try:
        parts = urlsplit(text)
        wrong = parts.scheme not in ("http", "https") or not parts.hostname or parts.port == 0
    except ValueError:  # a port that is not a number, a bracket that does not close
        wrong = True
    if wrong or any(character.isspace() for character in text):
        raise ValueError(form)
    if parts.username is not None or parts.password is not None:
        raise ValueError(f"no user and password in it; give a token with token_env or token_file; allowed: {form}")
    if parts.query or parts.fragment:
        raise ValueError(f"nothing after the path; org and bucket are keys of their own; allowed: {form}")
    return text.rstrip("/")


def time_of_day(value: object) -> object:
    """Read a local time of day such as "03:30"; for a model's field."""
    if isinstance(value, time):
        return value
    match = _TIME_OF_DAY.fullmatch(value.strip()) if isinstance(value, str) else None
    if match is None:
        raise ValueError('a local time, such as "03:30"')
    return time(int(match[1]), int(match[2]))


MailAddress = Annotated[Text, AfterValidator(_mail_address)]
Encoding = Annotated[Text, AfterValidator(_text_encoding)]
Question = Annotated[str, Field(strict=True, min_length=1, max_length=256), AfterValidator(_question)]


class StoreSettings(Table):
    """``[store]``: where readings, alarms and entries are kept."""

    path: Text = Field(default="cellar.db", description="the store's file, relative to the cellar file")
    commit_s: Annotated[float, amount(Dimension.TIME, "s", "2 s", Span(0.1, 60.0))] = Field(default=2.5, alias="commit")
    calm_commit_s: Annotated[float, amount(Dimension.TIME, "s", "15 s", Span(0.1, 60.0))] = Field(
        default=15.0, alias="calm_commit"
    )
    settle_after_s: Annotated[float, amount(Dimension.TIME, "s", "2 h", Span(600.0, 30 * DAY_S))] = Field(
        default=7200.0, alias="settle_after"
    )
    keep_raw_s: Annotated[float | None, amount(Dimension.TIME, "s", "730 d", Span(DAY_S, _CENTURY_S))] = Field(
        default=None, alias="keep_raw"
    )
    keep_minutes_s: Annotated[float | None, amount(Dimension.TIME, "s", "1825 d", Span(DAY_S, _CENTURY_S))] = Field(
        default=None, alias="keep_minutes"
    )
    keep_hours_s: Annotated[float | None, amount(Dimension.TIME, "s", "3650 d", Span(DAY_S, _CENTURY_S))] = Field(
        default=None, alias="keep_hours"
    )


class BackupSettings(Table):
    """``[backup]``: a backup of the store each day. at: local time of the site; keep: how many of them stay."""

    folder: Text = Field(default="backups", description="the folder that backups go to, relative to the cellar file")
    at: Annotated[time, BeforeValidator(time_of_day)] = time(3, 30)
    keep: Annotated[int, Field(strict=True, ge=1, le=1000)] = 14


class MqttSettings(Table):
    """``[mqtt]``: the broker. The password is never in the file: see ``password``."""

    host: Annotated[Text, AfterValidator(_host)] = Field(description='the broker, such as "127.0.0.1"')
    port: Port = 1883
    user: Text | None = None
    password_env: Text | None = None
    password_file: Text | None = None
    tls: Flag = False
    ca_file: Text | None = None
    client_id: Annotated[Text, AfterValidator(_client_id)] | None = None
    # A two-byte number of seconds, MQTT 5.0 section 3.1.2.10; below 5 s a slow board drops its own connection.
    keep_alive_s: Annotated[int, amount(Dimension.TIME, "s", "60 s", Span(5, 65535), whole=True)] = Field(
        default=60, alias="keep_alive"
    )
    # A four-byte number of seconds whose highest value means "never", MQTT 5.0 section 3.1.2.11.2.
    session_expiry_s: Annotated[int, amount(Dimension.TIME, "s", "30 d", Span(0, 4294967295), whole=True)] = Field(
        default=30 * DAY_S, alias="session_expiry"
    )
    # Receive Maximum is a two-byte number that is not 0, MQTT 5.0 section 3.1.2.11.3.
    window: Annotated[int, Field(strict=True, ge=1, le=65535)] = 2000

    def password(self, environ: Mapping[str, str], base: Path) -> str | None:
        """Read the password from the environment or its file; None where no user is given.

        base: the cellar file's folder. Raises SourceError that says what is missing.
        """
        try:
            return read_password("[mqtt]", self.password_env, self.password_file, environ, base)
        except IngestError as error:
            raise SourceError(str(error)) from None


class SerialSettings(Table):
    """``[[serial]]``: one line, to a port of this machine or to a network port by a pyserial URL.

    poll: what is sent to an instrument that speaks only when asked; each of them once in poll_every_s.
    """

    id: Identifier = Field(description="a short name of the line, such as bench-line")
    device: Text = Field(description='the port, such as "/dev/serial/by-id/..." or "socket://host:port"')
    baud: Annotated[int, Field(strict=True, ge=50, le=4_000_000)] = 9600
    bytesize: Literal[5, 6, 7, 8] = 8
    parity: Literal["none", "even", "odd"] = "none"
    stopbits: Annotated[float, AfterValidator(_stopbits)] = 1
    encoding: Encoding = "utf-8"
    settle_s: Annotated[float, amount(Dimension.TIME, "s", "2 s", Span(0.0, 60.0))] = Field(default=2.0, alias="settle")
    poll: Annotated[tuple[Question, ...], BeforeValidator(_one_or_many)] = ()
    poll_every_s: Annotated[float, amount(Dimension.TIME, "s", "10 s", Span(0.1, DAY_S))] = Field(
        default=10.0, alias="poll_every"
    )


class W1Settings(Table):
    """``[w1]``: the one-wire bus of this machine. It may be left out."""

    path: Text = Field(default="/sys/bus/w1/devices", description="the folder in which the kernel shows the chips")


class MailSettings(Table):
    """``[mail]``: the mail server that messages are handed to. The password is never in the file: see ``password``."""

    host: Annotated[Text, AfterValidator(_host)] = Field(description='the mail server, such as "127.0.0.1"')
    port: Port = 25
    sender: MailAddress = Field(alias="from", description="the address that messages come from")
    to: Annotated[
        tuple[MailAddress, ...], Field(min_length=1, description="a list of addresses that get messages")
    ] = ()
    security: Literal["none", "starttls", "tls"] = "none"
    user: Text | None = None
    password_env: Text | None = None
    password_file: Text | None = None
    timeout_s: Annotated[float, amount(Dimension.TIME, "s", "20 s", Span(1.0, 300.0))] = Field(
        default=20.0, alias="timeout"
    )

    def password(self, environ: Mapping[str, str], base: Path) -> str | None:
        """Read the password from the environment or its file; None where no user is given.

        base: the cellar file's folder. Raises IngestError that says what is missing.
        """
        return read_password("[mail]", self.password_env, self.password_file, environ, base)


class MirrorSettings(Table):
    """``[mirror]``: a server that takes the InfluxDB v2 write protocol. The token is never in the file: see ``token``.

    every_s: how often new readings are sent; batch: the most lines in one request.
    """

    url: Annotated[
        Text, AfterValidator(_server), Field(description='the server, such as "https://influx.example:8086"')
    ]
    org: Text = Field(description="the organisation that the bucket belongs to")
    bucket: Text = Field(description="the bucket that is written to")
    token_env: Text | None = None
    token_file: Text | None = None
    ca_file: Text | None = None
    every_s: Annotated[float, amount(Dimension.TIME, "s", "10 s", Span(1.0, 3600.0))] = Field(
        default=10.0, alias="every"
    )
    timeout_s: Annotated[float, amount(Dimension.TIME, "s", "10 s", Span(1.0, 300.0))] = Field(
        default=10.0, alias="timeout"
    )
    batch: Annotated[int, Field(strict=True, ge=1, le=50_000)] = 5000

    @property
    def host(self) -> str:
        """The host of the url."""
        return urlsplit(self.url).hostname or ""

    @property
    def encrypted(self) -> bool:
        """Whether the url is https."""
        return urlsplit(self.url).scheme == "https"

    def token(self, environ: Mapping[str, str], base: Path) -> str | None:
        """Read the token from the environment or its file; None where neither is named. It may change at any time.

        base: the cellar file's folder. Raises IngestError that says what is missing.
        """
        token = read_password("[mirror]", self.token_env, self.token_file, environ, base, what="token")
        # It travels in a header of HTTP.
        if token is not None and not (token.isascii() and token.isprintable() and " " not in token):
            key = "token_env" if self.token_env is not None else "token_file"
            raise IngestError(f"[mirror] {key}: a token is letters, digits and signs, without spaces; look at its end")
        return token
