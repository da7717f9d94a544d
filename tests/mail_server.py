"""A real SMTP server on a free port of the loopback that answers as a test asks and keeps what it received."""

from __future__ import annotations

import asyncio
import ssl
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, LoginPassword

from ingest.cellar import MailSettings
from ingest.store.alarms.messages import MessageRow

_MAIL = MailSettings.model_validate(
    {"host": "127.0.0.1", "from": "leeside@cellar.example", "to": ["ana@cellar.example"], "timeout": "5 s"}
)


def route(port: int = 25, **changes: object) -> MailSettings:
    """Make a ``[mail]`` table."""
    return _MAIL.model_copy(update={"port": port, **changes})


STORED = MessageRow(
    id=1,
    message_id="<7f3k.raised.1@cellar.example>",
    thread_id="<7f3k.raised.1@cellar.example>",
    occurrence="7f3k",
    occasion="raised",
    channel="mail",
    recipient="ana@cellar.example",
    subject="HIGH PRIORITY: K1 temperature 21.4 °C, above 20 °C",
    body="K1: temperature is 21.4 °C.\n.\nA line with a dot above.\n",
    created_ms=0,
    not_before_ms=0,
    hold="",
    priority="high",
    state="waiting",
    attempts=0,
    next_try_ms=0,
    last_error=None,
    ended_ms=None,
    closed_ms=None,
)


@dataclass
class Inbox:
    """What the server has taken, and how it answers. late_pictures: those that came in a mail of their own."""

    rcpt_answer: str = "250 OK"
    data_answer: str = "250 taken"
    mail_answer: str = "250 OK"
    data_wait_s: float = 0.0
    mails: list[EmailMessage] = field(default_factory=list)
    late_pictures: list[EmailMessage] = field(default_factory=list)
    raw: list[bytes] = field(default_factory=list)
    recipients: list[list[str]] = field(default_factory=list)

    async def handle_MAIL(self, server: Any, session: Any, envelope: Any, address: str, options: list[str]) -> str:
        if self.mail_answer.startswith("250"):
            envelope.mail_from = address
        return self.mail_answer

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: list[str]) -> str:
        if self.rcpt_answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        return self.rcpt_answer

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        if self.data_answer.startswith("250"):
            self.raw.append(envelope.content)
            mail = message_from_bytes(envelope.content, policy=policy.SMTP)
            assert isinstance(mail, EmailMessage)
            if str(mail["Subject"]).startswith("PICTURE: "):
                # On a machine that is busy a picture is late and follows by itself.
                self.late_pictures.append(mail)
            else:
                self.mails.append(mail)
                self.recipients.append(envelope.rcpt_tos)
        await asyncio.sleep(self.data_wait_s)
        return self.data_answer


def plain_text(mail: EmailMessage) -> str:
    """The plain text of a mail, with or without a picture."""
    plain = mail.get_body(("plain",))
    assert isinstance(plain, EmailMessage)
    return str(plain.get_content())


@contextmanager
def mail_server(inbox: object, port: int, **options: Any) -> Iterator[None]:
    """Run the server on that port inside the block."""
    controller = Controller(inbox, hostname="127.0.0.1", port=port, **options)
    controller.start()
    try:
        yield
    finally:
        controller.stop()


def only_ana(server: Any, session: Any, envelope: Any, mechanism: str, login: Any) -> AuthResult:
    """Accept only the user ana with the password opensesame."""
    known = isinstance(login, LoginPassword) and (login.login, login.password) == (b"ana", b"opensesame")
    return AuthResult(success=known, handled=False)


def self_made_certificate(folder: Path) -> tuple[ssl.SSLContext, ssl.SSLContext]:
    """Make the contexts of a server and of a client that trusts it, with a certificate for 127.0.0.1 (openssl)."""
    key, certificate = folder / "key.pem", folder / "certificate.pem"
    subject = ["-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1"]
    command = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    subprocess.run(
        [*command, "-days", "2", "-keyout", str(key), "-out", str(certificate), *subject],
        check=True,
        capture_output=True,
    )
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(certificate, key)
    return server, ssl.create_default_context(cafile=str(certificate))
