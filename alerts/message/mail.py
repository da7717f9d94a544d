"""Mail as a channel: a message in the form of RFC 5322, handed to the next hop over SMTP.

Every error of ``smtplib``, ``ssl`` and the socket becomes plain words here and nowhere else.
"""

from __future__ import annotations

__all__ = ["MailChannel", "Patience", "build_mail", "send", "try_login"]

import logging
import re
import smtplib
import socket
import ssl
import unicodedata
from collections.abc import Callable
from datetime import datetime, tzinfo
from email import policy
from email.message import EmailMessage
from email.utils import format_datetime
from typing import Any, NamedTuple

from alerts.message.alarm_pictures import AlarmPictures
from alerts.message.mail_picture import add_picture, late_picture
from alerts.message.outbox import Delivered, DeliveryFailure
from alerts.message.smtp_client import ReplyTooLong, Smtp
from ingest.cellar import MailSettings
from ingest.errors import IngestError
from ingest.plain_text import one_line, plain_lines
from ingest.store.alarms.messages import MessageRow

_log = logging.getLogger(__name__)

# What is kept of a server's words, in characters.
_LONGEST_ANSWER = 300


class Patience(NamedTuple):
    """How long the server may take for each step of a mail, in seconds; ``[mail] timeout`` where that is longer.

    The defaults are the least that RFC 5321 section 4.5.3.2 asks for. Who gives up sooner, above all after the mail's
    end, sends again what the server has taken.
    """

    greeting_s: float = 300.0  # 4.5.3.2.1, initial 220 message: 5 minutes
    sender_s: float = 300.0  # 4.5.3.2.2, MAIL command: 5 minutes
    recipient_s: float = 300.0  # 4.5.3.2.3, RCPT command: 5 minutes
    data_s: float = 120.0  # 4.5.3.2.4, DATA initiation: 2 minutes
    block_s: float = 180.0  # 4.5.3.2.5, data block: 3 minutes
    end_s: float = 600.0  # 4.5.3.2.6, DATA termination: 10 minutes


USUAL = Patience()
# A picture that comes late is tried once, and must not hold up the next alarm: each step has ``[mail] timeout``.
HURRIED = Patience(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def build_mail(
    message: MessageRow, settings: MailSettings, sent_at: datetime, picture: bytes | None = None
) -> EmailMessage:
    """The mail. sent_at: an aware time, shown with its zone; each try has its own Date but the same Message-ID.

    picture: a PNG that belongs to it; the plain text is complete without.
    Raises ValueError where an address or id cannot be put into a header.
    """
    mail = EmailMessage(policy=policy.SMTP)
    mail["From"] = _one_line(settings.sender)
    mail["To"] = _one_line(message.recipient)
    mail["Subject"] = _one_line(message.subject)
    mail["Date"] = format_datetime(sent_at)
    mail["Message-ID"] = _one_line(message.message_id)
    if message.thread_id is not None and message.thread_id != message.message_id:
        mail["In-Reply-To"] = _one_line(message.thread_id)
        mail["References"] = _one_line(message.thread_id)
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: no vacation replies to us
    # Quoted-printable passes every relay, also one without 8BITMIME.
    body = plain_lines(_sendable(message.body))
    mail.set_content(body, charset="utf-8", cte="quoted-printable")
    if picture is not None:
        add_picture(mail, body, picture)
    return mail


def send(
    mail: EmailMessage,
    settings: MailSettings,
    password: str | None,
    tls: ssl.SSLContext | None = None,
    patience: Patience = USUAL,
) -> Delivered | DeliveryFailure:
    """Hand the mail to the server of the cellar file.

    tls: whom to trust; by default the machine's certificate authorities, host name checked.
    """
    where = _where(settings)
    refused: dict[str, tuple[int, bytes]] = {}
    trouble = _talk(settings, password, tls, patience, lambda server: refused.update(server.send_message(mail)))
    if trouble is not None:
        return trouble
    # One recipient a mail: a server that refused it has raised; a non-empty answer would still be no delivery.
    return Delivered() if not refused else _recipient_refused(refused, where)


def try_login(settings: MailSettings, password: str | None, tls: ssl.SSLContext | None = None) -> str:
    """Connect, encrypt and log in as for a mail, and send none. "" if all that works, else why not."""

    def nothing(server: smtplib.SMTP) -> None:
        server.ehlo_or_helo_if_needed()

    trouble = _talk(settings, password, tls, USUAL._replace(greeting_s=settings.timeout_s), nothing)
    return "" if trouble is None else trouble.text


def _talk(
    settings: MailSettings,
    password: str | None,
    tls: ssl.SSLContext | None,
    patience: Patience,
    say: Callable[[smtplib.SMTP], None],
) -> DeliveryFailure | None:
    """Connect, encrypt, log in, ``say`` what there is to say, leave; None if all of it went well."""
    where = _where(settings)
    if not f"{settings.user or ''}{password or ''}".isascii():
        return DeliveryFailure(
            False, f"{where}: user and password must be ASCII, since smtplib can send no other", True
        )
    server = _new_client(settings, patience, tls or ssl.create_default_context())
    try:
        try:
            server.greet(settings.host, settings.port)
            if settings.security == "starttls":
                server.starttls(context=tls or ssl.create_default_context())
            if settings.user is not None:
                server.login(settings.user, password or "")
            say(server)
        except BaseException:
            server.close()
            raise
        _take_leave(server)
    except smtplib.SMTPException as error:
        if isinstance(error.__context__, TimeoutError | ReplyTooLong):  # smtplib calls it a connection that was closed
            return DeliveryFailure(
                False, _network_words(error.__context__, where, settings, server.wait_s), unreachable=True
            )
        return _in_words(error, where)
    except (OSError, UnicodeError) as error:
        return DeliveryFailure(False, _network_words(error, where, settings, server.wait_s), unreachable=True)
    return None


def _where(settings: MailSettings) -> str:
    return f"mail server {settings.host} port {settings.port}"


class MailChannel:
    """The channel that the outbox works with.

    password: read again for each mail, so that a corrected secret needs no restart; tz: the zone of the Date header;
    pictures: what gives mails their pictures, None for mails of text alone.
    """

    def __init__(
        self,
        settings: MailSettings,
        password: Callable[[], str | None],
        tz: tzinfo,
        tls: ssl.SSLContext | None = None,
        pictures: AlarmPictures | None = None,
    ) -> None:
        self._settings = settings
        self._pictures = pictures
        self._password = password
        self._tz = tz
        self._tls = tls

    def deliver(self, message: MessageRow, now_ms: int) -> Delivered | DeliveryFailure:
        """Write the mail with its Date at ``now_ms`` (UTC milliseconds) and send it."""
        try:
            password = self._password()
        except IngestError as error:
            return DeliveryFailure(False, str(error), unreachable=True)
        picture = None if self._pictures is None else self._pictures.of(message)
        result = self._deliver(message, now_ms, password, picture)
        if self._pictures is not None and isinstance(result, DeliveryFailure):
            self._pictures.not_sent(message)
        return result

    def send_late_pictures(self, now_ms: int) -> None:
        """Send the pictures that were late, each as an answer to the mail that went without it; each is tried once."""
        for message, picture in () if self._pictures is None else self._pictures.late():
            try:
                password = self._password()
            except IngestError as error:
                result: Delivered | DeliveryFailure = DeliveryFailure(False, str(error))
            else:
                result = self._deliver(late_picture(message), now_ms, password, picture, HURRIED)
            if isinstance(result, DeliveryFailure):
                _log.warning("the picture of message '%s' not sent: %s", message.subject, result.text)

    def _deliver(
        self,
        message: MessageRow,
        now_ms: int,
        password: str | None,
        picture: bytes | None,
        patience: Patience = USUAL,
    ) -> Delivered | DeliveryFailure:
        sent_at = datetime.fromtimestamp(now_ms / 1000, self._tz)
        try:
            mail = build_mail(message, self._settings, sent_at, picture)
        except ValueError as error:
            return DeliveryFailure(True, f"the mail to {message.recipient!r} cannot be written: {error}")
        return send(mail, self._settings, password, self._tls, patience)


class _Client(Smtp):
    """The library's client, which gives each step its own time. wait_s: how long the present one may take."""

    def __init__(self, patience: Patience, timeout_s: float, **settings: Any) -> None:
        self._timeout_s = timeout_s
        self._step_s = {
            "mail": max(timeout_s, patience.sender_s),
            "rcpt": max(timeout_s, patience.recipient_s),
            "data": max(timeout_s, patience.data_s),
        }
        self._greeting_s = max(timeout_s, patience.greeting_s)
        self._block_s, self._end_s = max(timeout_s, patience.block_s), max(timeout_s, patience.end_s)
        self.wait_s = timeout_s
        self._is_greeted = False
        super().__init__(timeout=timeout_s, **settings)

    def greet(self, host: str, port: int) -> None:
        """Connect and take the greeting; SMTPConnectError if it turns us away."""
        code, words = self.connect(host, port)
        self._is_greeted = True
        if code != 220:
            raise smtplib.SMTPConnectError(code, words)

    def putcmd(self, cmd: str, args: str = "") -> None:
        self.wait_s = self._step_s.get(cmd.lower(), self._timeout_s)
        super().putcmd(cmd, args)

    def send(self, s: Any) -> None:
        is_mail = isinstance(s, bytes)  # commands come as text
        if is_mail:
            self.wait_s = self._block_s
        if self.sock is not None:
            self.sock.settimeout(self.wait_s)
        super().send(s)
        if is_mail:
            self.wait_s = self._end_s

    def getreply(self) -> tuple[int, bytes]:
        if not self._is_greeted:
            self.wait_s = self._greeting_s
        if self.sock is not None:
            self.sock.settimeout(self.wait_s)
        return super().getreply()


class _TlsClient(_Client, smtplib.SMTP_SSL):
    """The same, encrypted from the first byte."""


def _new_client(settings: MailSettings, patience: Patience, tls: ssl.SSLContext) -> _Client:
    # smtplib would ask the resolver for our full name, which can hang for long where there is no DNS.
    name = re.sub(r"[^A-Za-z0-9.-]+", "-", socket.gethostname()) or "localhost"
    if settings.security == "tls":
        client: _Client = _TlsClient(patience, settings.timeout_s, local_hostname=name, context=tls)
    else:
        client = _Client(patience, settings.timeout_s, local_hostname=name)
    # What the certificate must name; the library sets it only where it connects at once.
    client._host = settings.host  # type: ignore[attr-defined]  # its hints leave it out
    return client


def _take_leave(server: smtplib.SMTP) -> None:
    try:
        server.quit()
    except (smtplib.SMTPException, OSError):
        server.close()  # the mail was taken; a rude goodbye does not undo that


def _in_words(error: smtplib.SMTPException, where: str) -> DeliveryFailure:  # noqa: PLR0911  # a table, one row a return
    match error:
        case smtplib.SMTPRecipientsRefused():
            return _recipient_refused(error.recipients, where)
        case smtplib.SMTPSenderRefused():
            said = _answer(error.smtp_code, error.smtp_error)
            return DeliveryFailure(error.smtp_code >= 500, f"{where} does not take mail from {error.sender}: {said}")
        case smtplib.SMTPAuthenticationError():
            # Not permanent: the alarm is still worth a mail once the password is mended.
            said = _answer(error.smtp_code, error.smtp_error)
            return DeliveryFailure(
                False, f"{where} refused user and password: {said}; look at [mail]", unreachable=True
            )
        case smtplib.SMTPDataError():
            said = _answer(error.smtp_code, error.smtp_error)
            return DeliveryFailure(error.smtp_code >= 500, f"{where} did not take the mail: {said}")
        case smtplib.SMTPResponseException():
            said = _answer(error.smtp_code, error.smtp_error)
            return DeliveryFailure(False, f"{where} is not ready for mail: {said}", unreachable=True)
        case smtplib.SMTPServerDisconnected():
            return DeliveryFailure(False, f"{where} closed the connection: {error}", unreachable=True)
        case smtplib.SMTPNotSupportedError() if "SMTPUTF8" in str(error):
            return DeliveryFailure(
                True,
                f"{where} does not take addresses with letters beyond ASCII; write the part behind the @ as xn--..., "
                "or use another address",
            )
        case smtplib.SMTPNotSupportedError():
            return DeliveryFailure(False, f"{where} cannot do what [mail] asks for: {error}", unreachable=True)
        case _:
            return DeliveryFailure(False, f"{where}: {error}", unreachable=True)


def _recipient_refused(refused: dict[str, tuple[int, bytes]], where: str) -> DeliveryFailure:
    recipient, (code, text) = next(iter(refused.items()))
    return DeliveryFailure(code >= 500, f"{where} does not take mail for {recipient}: {_answer(code, text)}")


def _answer(code: int, text: bytes | str) -> str:
    words = text.decode("utf-8", "replace") if isinstance(text, bytes) else text
    return one_line(f"{code} {' '.join(words.split())}".strip(), _LONGEST_ANSWER)


def _network_words(error: OSError | UnicodeError, where: str, settings: MailSettings, wait_s: float) -> str:  # noqa: PLR0911
    match error:
        case ssl.SSLCertVerificationError():
            return f"{where} shows a certificate that is not trusted: {error.verify_message}"
        case ssl.SSLError():
            return (
                f"{where}: no encrypted connection with security '{settings.security}': "
                f"{error.reason or error}; is it the right port?"
            )
        case ReplyTooLong():
            return f"{where} sent a reply of {error}; is it a mail server?"
        case ConnectionRefusedError():
            return f"nothing listens at {where}"
        case TimeoutError():
            return f"{where} did not answer within {wait_s:g} s"
        case socket.gaierror() | UnicodeError():
            return f"{where}: the name cannot be resolved: {error}"
        case _:
            return f"{where} cannot be reached: {error.strerror or error}"


def _one_line(text: str) -> str:
    """Header text without control, line-breaking and direction-changing characters: none of it can begin a header."""
    clean = "".join(
        " " if unicodedata.category(character) in {"Cc", "Cf", "Zl", "Zp"} else character for character in text
    )
    return " ".join(_sendable(clean).split())


def _sendable(text: str) -> str:
    """The text with everything replaced that UTF-8 cannot carry, and without NUL."""
    return text.encode("utf-8", "replace").decode("utf-8").replace("\0", "�")
