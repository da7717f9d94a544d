"""A mail server on loopback that delivers nothing: each message is handed to a function."""

from __future__ import annotations

__all__ = ["Mailbox", "ReceivedMail"]

import logging
from collections.abc import Callable
from dataclasses import dataclass
from email import policy
from email.message import EmailMessage
from email.parser import BytesParser
from typing import Any

from ingest.errors import SourceError
from ingest.simulation.loopback import LOOPBACK, free_port

_log = logging.getLogger(__name__)

_ATTEMPTS = 5


@dataclass(frozen=True, slots=True)
class ReceivedMail:
    """sender and recipients as the SMTP dialogue named them (RFC 5321); message: headers and body (RFC 5322)."""

    sender: str
    recipients: tuple[str, ...]
    message: EmailMessage


class Mailbox:
    """A mail server on 127.0.0.1 that takes mail for any address.

    deliver: called once for each message, from the server's thread; what it raises is logged, and the sender gets 451,
    so that it tries again. ``start`` returns once it listens on ``port``. Needs the ``demo`` extra.
    """

    def __init__(self, deliver: Callable[[ReceivedMail], None]) -> None:
        self.port = 0
        self._deliver = deliver
        self._controller: Any = None

    def start(self) -> None:
        """Start listening. SourceError if there is no free port or aiosmtpd is not installed."""
        try:
            from aiosmtpd.controller import Controller
        except ImportError as error:
            raise SourceError("the demo's mail sink needs aiosmtpd: install leeside with its demo extra") from error
        for attempt in range(_ATTEMPTS):
            port = free_port()
            controller = Controller(_MailHandler(self._deliver), hostname=LOOPBACK, port=port)
            try:
                controller.start()
            except OSError as error:
                controller.loop.close()
                if attempt == _ATTEMPTS - 1:
                    raise SourceError(f"the demo's mail sink cannot listen on {LOOPBACK}: {error}") from error
                continue
            self.port = port
            self._controller = controller
            return

    def stop(self) -> None:
        """Stop listening; do nothing if it is not running."""
        if self._controller is not None:
            self._controller.stop()
            self._controller = None


class _MailHandler:
    """The handler that aiosmtpd calls; it sets the method's name and signature."""

    def __init__(self, deliver: Callable[[ReceivedMail], None]) -> None:
        self._deliver = deliver

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        del server, session
        content = bytes(envelope.content).replace(b"\r\n", b"\n")  # line ends on the wire are not part of the text
        message = BytesParser(policy=policy.default).parsebytes(content)
        try:
            self._deliver(ReceivedMail(envelope.mail_from, tuple(envelope.rcpt_tos), message))
        except Exception:  # noqa: BLE001 - a function of the caller, in the server's thread: the sender must know
            _log.exception("the function that takes the demo's mail failed")
            return "451 the mail was not taken"
        return "250 taken"
