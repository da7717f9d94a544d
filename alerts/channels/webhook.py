"""A message posted to somebody's own program over HTTP.

Redirects are not followed, the certificate is checked, and the whole exchange has one bound in time and in bytes. What
an answer calls for: RFC 9110 section 15; Retry-After: section 10.2.3.
"""

from __future__ import annotations

__all__ = ["WebhookChannel", "post", "reach"]

import socket
import ssl
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from pathlib import Path
from threading import Timer
from typing import Final, NamedTuple, Protocol
from urllib.parse import urlsplit

from alerts.channels.alarms_of import AlarmOf
from alerts.channels.webhook_body import headers_of, webhook_body
from alerts.message.outbox import Delivered, DeliveryFailure
from ingest.cellar import ChannelSettings, Recipient
from ingest.errors import IngestError
from ingest.plain_text import one_line
from ingest.retry_after import retry_after_s
from ingest.store.alarms.messages import MessageRow

TIMEOUT_S: Final = 10.0
# What is read and kept of an answer.
_LONGEST_READ_BYTES: Final = 4096
_LONGEST_ANSWER: Final = 200
# Nobody can say whether the message was taken, or the server is busy: the same again, later.
_AGAIN: Final = (408, 425, 429)
# The server does not take us: mostly a wrong secret. Somebody has to mend it, and the next message fares no better.
_SHUT: Final = (401, 403)
_BUSY: Final = (429, 503)


class Answer(NamedTuple):
    """What a server answered. retry_after, location: headers, "" without; text: the beginning of the body."""

    status: int
    retry_after: str = ""
    location: str = ""
    text: str = ""


class Alarms(Protocol):
    """Gives the alarms that a message is about."""

    def __call__(self, message: MessageRow) -> Sequence[AlarmOf]: ...


class WebhookChannel:
    """The channel that the outbox works with.

    secret: read again for each message, so that a corrected one needs no restart; recipients: by their names in the
    outbox; alarms: what a message is about; ca_file: the certificates to trust, None for the system's.
    """

    def __init__(
        self,
        settings: ChannelSettings,
        secret: Callable[[], str],
        recipients: Mapping[str, Recipient],
        site: str,
        alarms: Alarms = lambda message: (),
        ca_file: Path | None = None,
    ) -> None:
        self._settings = settings
        self._secret = secret
        self._recipients = recipients
        self._site = site
        self._alarms = alarms
        self._ca_file = ca_file

    def deliver(self, message: MessageRow, now_ms: int) -> Delivered | DeliveryFailure:
        """Post a message, signed at ``now_ms`` (UTC ms)."""
        recipient = self._recipients.get(message.recipient)
        if recipient is None:
            return DeliveryFailure(True, f"{message.recipient} is no longer in the cellar file")
        try:
            secret = self._secret()
        except IngestError as error:
            return DeliveryFailure(False, str(error), unreachable=True)
        body = webhook_body(message, recipient, self._site, self._alarms(message))
        headers = headers_of(message.message_id, secret, now_ms, body)
        assert self._settings.url is not None
        answer = post(self._settings.url, headers, body, self._settings.timeout_s or TIMEOUT_S, self._ca_file)
        return meaning(answer, where(self._settings), now_ms)


def where(settings: ChannelSettings) -> str:
    """Name a webhook without its path, which may be as good as a password."""
    return f"webhook {settings.id} at {urlsplit(settings.url or '').netloc}"


def meaning(answer: Answer | str, name: str, now_ms: int) -> Delivered | DeliveryFailure:
    """Say what an answer means for the message, or why there is none. name: of the webhook; now_ms: UTC ms."""
    if isinstance(answer, str):
        return DeliveryFailure(False, f"{name}: {answer}", unreachable=True)
    status = answer.status
    if 200 <= status < 300:
        return Delivered()
    reply = one_line(f"{status} {' '.join(answer.text.split())}".strip(), _LONGEST_ANSWER)
    if 300 <= status < 400:
        text = (
            f"{name} answered {status}, a redirect to {_elsewhere(answer.location)}: not followed; if that is right, "
            "put it into url"
        )
        return DeliveryFailure(True, text, unreachable=True)
    if status in _SHUT:
        return DeliveryFailure(False, f"{name} does not take our messages: {reply}; is the secret right?", True)
    if status in _AGAIN or status >= 500:
        wait_s = retry_after_s(answer.retry_after, now_ms) if answer.retry_after else None
        is_busy = status in _BUSY or wait_s is not None
        return DeliveryFailure(False, f"{name} is not ready: {reply}", is_busy, wait_s)
    return DeliveryFailure(True, f"{name} refused the message: {reply}")


def _elsewhere(location: str) -> str:
    """Where a redirect leads, without its path, which may be as good as a password."""
    try:
        to = urlsplit(location)
    except ValueError:  # a bracket that does not close
        return "what is no address"
    if not to.netloc:
        return "another path"
    return one_line(f"{to.scheme}://{to.netloc}/..." if to.scheme else f"the host {to.netloc}", _LONGEST_ANSWER)


def post(
    url: str, headers: Mapping[str, str], body: bytes, timeout_s: float, ca_file: Path | None = None
) -> Answer | str:
    """Post a body and read the answer, or say why there is none. timeout_s: for the whole of it."""
    parts = urlsplit(url)
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return _exchange(url, timeout_s, ca_file, lambda connection: _answer(connection, path, headers, body))


def reach(url: str, timeout_s: float, ca_file: Path | None = None) -> str:
    """Connect and encrypt as for a message, and ask nothing. "" if that works, else why not."""
    answer = _exchange(url, timeout_s, ca_file, lambda connection: Answer(0))
    return answer if isinstance(answer, str) else ""


def _answer(connection: HTTPConnection, path: str, headers: Mapping[str, str], body: bytes) -> Answer:
    connection.request("POST", path, body, dict(headers))
    response = connection.getresponse()
    text = b""
    if not 200 <= response.status < 300:
        with suppress(OSError, HTTPException):  # the status has been said; the rest would only explain it
            text = response.read(_LONGEST_READ_BYTES)
    header = response.headers.get
    return Answer(response.status, header("Retry-After", ""), header("Location", ""), text.decode("utf-8", "replace"))


def _exchange(
    url: str, timeout_s: float, ca_file: Path | None, say: Callable[[HTTPConnection], Answer]
) -> Answer | str:
    parts = urlsplit(url)
    host = parts.hostname or ""
    try:
        if parts.scheme == "https":
            tls = ssl.create_default_context(cafile=None if ca_file is None else str(ca_file))
            connection: HTTPConnection = HTTPSConnection(host, parts.port, timeout=timeout_s, context=tls)
        else:
            connection = HTTPConnection(host, parts.port, timeout=timeout_s)
    except OSError as error:  # a file of certificates that is not there, or holds none
        return f"{ca_file} cannot be read as certificates: {error.strerror or error}"
    # The library's time-out is for each step: a server that sends byte after byte would never run into it.
    late: list[bool] = []

    def hang_up() -> None:
        late.append(True)
        if connection.sock is not None:
            with suppress(OSError):
                connection.sock.shutdown(socket.SHUT_RDWR)

    timer = Timer(timeout_s, hang_up)
    timer.daemon = True
    timer.start()
    try:
        connection.connect()
        return say(connection)
    except (OSError, HTTPException, ValueError) as error:
        if late or isinstance(error, TimeoutError):
            return f"did not answer within {timeout_s:g} s"
        return _words(error)
    finally:
        timer.cancel()
        connection.close()


def _words(error: Exception) -> str:
    match error:
        case ssl.SSLCertVerificationError():
            return f"shows a certificate that is not trusted: {error.verify_message}"
        case ssl.SSLError():
            return f"no encrypted connection: {error.reason or error}; is it the right port?"
        case ConnectionRefusedError():
            return "nothing listens there"
        case socket.gaierror() | UnicodeError():
            return f"the name cannot be resolved: {getattr(error, 'strerror', None) or error}"
        case OSError():
            return f"cannot be reached: {error.strerror or error or type(error).__name__}"
        case _:
            return f"does not answer as a web server does: {one_line(str(error) or type(error).__name__, 100)}"
