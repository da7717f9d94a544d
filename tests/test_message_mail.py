"""Mail against a real SMTP server."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta, timezone
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from mail_server import STORED, Inbox, mail_server, only_ana, route, self_made_certificate
from peak_memory import PeakMemory
from rude_server import rude_server

from alerts.message import MailChannel
from alerts.message.mail import Patience, build_mail, send
from alerts.message.outbox import Delivered, DeliveryFailure
from ingest.cellar import MailSettings
from ingest.errors import IngestError
from ingest.simulation.loopback import free_port

SENT_AT = datetime(2026, 11, 25, 9, 30, tzinfo=timezone(timedelta(hours=1)))


def outcome(settings: MailSettings, password: str | None = None, tls: Any = None) -> Delivered | DeliveryFailure:
    return send(build_mail(STORED, settings, SENT_AT), settings, password, tls)


def refusal(settings: MailSettings, password: str | None = None, tls: Any = None) -> DeliveryFailure:
    result = outcome(settings, password, tls)
    assert isinstance(result, DeliveryFailure)
    return result


def test_a_mail_arrives_as_it_was_written() -> None:
    inbox, port = Inbox(), free_port()
    with mail_server(inbox, port):
        assert outcome(route(port)) == Delivered()
    (mail,) = inbox.mails
    assert inbox.recipients == [["ana@cellar.example"]]
    assert mail["Subject"] == STORED.subject
    assert mail["From"] == "leeside@cellar.example"
    assert mail["To"] == "ana@cellar.example"
    assert mail["Message-ID"] == STORED.message_id
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail["In-Reply-To"] is None
    assert mail["Date"] == "Wed, 25 Nov 2026 09:30:00 +0100"
    assert mail.get_content_type() == "text/plain"
    assert mail.get_content().replace("\r\n", "\n") == STORED.body
    assert inbox.raw[0].isascii(), "every relay passes it on"


def test_later_messages_of_an_occurrence_name_the_one_that_raised_it() -> None:
    mail = build_mail(STORED._replace(message_id="<b@x.example>"), route(), SENT_AT)
    assert (mail["Message-ID"], mail["In-Reply-To"], mail["References"]) == (
        "<b@x.example>",
        STORED.thread_id,
        STORED.thread_id,
    )
    assert build_mail(STORED._replace(thread_id=None), route(), SENT_AT)["References"] is None


def test_a_retry_keeps_its_id_and_has_its_own_date() -> None:
    first = build_mail(STORED, route(), SENT_AT)
    second = build_mail(STORED._replace(attempts=3), route(), SENT_AT + timedelta(minutes=7))
    assert first["Message-ID"] == second["Message-ID"]
    assert parsedate_to_datetime(second["Date"]) - parsedate_to_datetime(first["Date"]) == timedelta(minutes=7)


@given(st.text(max_size=120))
def test_no_text_can_begin_a_header(text: str) -> None:
    subject = f"HIGH: {text}\r\nBcc: everyone@elsewhere.example"
    wire = build_mail(STORED._replace(subject=subject, body=text), route(), SENT_AT).as_bytes()
    head = wire.partition(b"\r\n\r\n")[0].split(b"\r\n")
    names = {line.partition(b":")[0] for line in head if not line.startswith((b" ", b"\t"))}
    assert names == {
        *(b"From", b"To", b"Subject", b"Date", b"Message-ID", b"Auto-Submitted"),
        *(b"Content-Type", b"Content-Transfer-Encoding", b"MIME-Version"),
    }


def test_surrogates_and_direction_marks_do_no_harm() -> None:
    mail = build_mail(STORED._replace(subject="K1 \udcff\u202eevil\x00", body="a\udcffb\x00"), route(), SENT_AT)
    assert mail["Subject"] == "K1 ? evil"
    assert b"\x00" not in mail.as_bytes()


@pytest.mark.parametrize(("answer", "permanent"), [("450 busy, later", False), ("550 no such user", True)])
def test_a_refused_recipient(answer: str, permanent: bool) -> None:
    inbox, port = Inbox(rcpt_answer=answer), free_port()
    with mail_server(inbox, port):
        result = refusal(route(port))
    assert (result.permanent, result.unreachable) == (permanent, False)
    assert result.text == f"mail server 127.0.0.1 port {port} does not take mail for ana@cellar.example: {answer}"


@pytest.mark.parametrize(("answer", "permanent"), [("451 disk full", False), ("554 looks like spam", True)])
def test_refused_content(answer: str, permanent: bool) -> None:
    inbox, port = Inbox(data_answer=answer), free_port()
    with mail_server(inbox, port):
        result = refusal(route(port))
    assert result == DeliveryFailure(permanent, f"mail server 127.0.0.1 port {port} did not take the mail: {answer}")
    assert inbox.mails == []


@pytest.mark.parametrize(("answer", "permanent"), [("451 later", False), ("550 not from here", True)])
def test_a_refused_sender(answer: str, permanent: bool) -> None:
    inbox, port = Inbox(mail_answer=answer), free_port()
    with mail_server(inbox, port):
        result = refusal(route(port))
    assert result.permanent == permanent
    assert result.text.endswith(f"does not take mail from leeside@cellar.example: {answer}")


def test_nothing_listens() -> None:
    port = free_port()
    assert refusal(route(port)) == DeliveryFailure(False, f"nothing listens at mail server 127.0.0.1 port {port}", True)


HURRIED = Patience(0.2, 0.3, 0.4, 0.5, 0.6, 0.7)


@pytest.mark.parametrize(
    ("answers", "wait_s"),
    [
        (0, 0.2),  # the greeting
        (1, 0.1),  # EHLO has the time of the cellar file
        (2, 0.3),  # MAIL
        (3, 0.4),  # RCPT
        (4, 0.5),  # DATA
        (5, 0.7),  # its end
    ],
)
def test_a_server_that_says_nothing_costs_one_time_out_for_each_step_its_own(answers: int, wait_s: float) -> None:
    told = [b"220 here", b"250 hello", b"250 OK", b"250 OK", b"354 go on", b"250 taken"][:answers]
    with socket.create_server(("127.0.0.1", 0)) as listener, ThreadPoolExecutor(1) as threads:

        def answer() -> None:
            connection, _ = listener.accept()
            with connection, connection.makefile("rb") as lines:
                for words in told:
                    connection.sendall(words + b"\r\n")
                    lines.readline()
                while lines.readline():
                    pass

        threads.submit(answer)
        port = listener.getsockname()[1]
        settings = route(port, timeout_s=0.1)
        result = send(build_mail(STORED, settings, SENT_AT), settings, None, patience=HURRIED)
    where = f"mail server 127.0.0.1 port {port}"
    assert result == DeliveryFailure(False, f"{where} did not answer within {wait_s:g} s", True)


def test_nobody_gives_up_sooner_than_the_standard_asks() -> None:
    """RFC 5321, sections 4.5.3.2.1 to 4.5.3.2.6, in minutes."""
    assert [seconds / 60 for seconds in Patience()] == [5, 5, 5, 2, 3, 10]


def test_a_server_that_takes_its_time_after_the_mail_has_it_once() -> None:
    """It takes twice as long as ``timeout``; a minute's answer is the same to a client that waits for ten."""
    inbox, port = Inbox(data_wait_s=2.0), free_port()
    with mail_server(inbox, port):
        assert outcome(route(port, timeout_s=1.0)) == Delivered()
    assert len(inbox.mails) == 1


def greeted_with(words: bytes) -> DeliveryFailure:
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def answer() -> None:
            connection, _ = listener.accept()
            with connection:
                connection.sendall(words)

        thread = threading.Thread(target=answer)
        thread.start()
        result = refusal(route(listener.getsockname()[1]))
        thread.join()
    return result


def test_a_server_that_hangs_up_or_turns_us_away() -> None:
    assert "closed the connection" in greeted_with(b"").text
    assert greeted_with(b"").unreachable
    away = greeted_with(b"554 closed on Sundays\r\n")
    assert "is not ready for mail: 554 closed on Sundays" in away.text
    assert (away.permanent, away.unreachable) == (False, True)


def endless_greeting(connection: socket.socket) -> None:
    for _ in range(300):
        connection.sendall(b"220-" + b"x" * 500 + b"\r\n" + b"220-welcome\r\n" * 80_000)


def endless_ehlo(connection: socket.socket) -> None:
    connection.sendall(b"220 here\r\n")
    connection.recv(4096)
    for _ in range(300):
        connection.sendall(b"250-X-FEATURE\r\n" * 80_000)


@pytest.mark.parametrize("speak", [endless_greeting, endless_ehlo])
def test_a_reply_without_end_costs_no_memory(speak: Callable[[socket.socket], None]) -> None:
    with rude_server(speak) as port, PeakMemory() as memory:
        result = refusal(route(port))
    assert result.text == f"mail server 127.0.0.1 port {port} sent a reply of more than 64 KiB; is it a mail server?"
    assert (result.permanent, result.unreachable) == (False, True)
    assert memory.grown_bytes < 30_000_000


def test_a_reply_that_trickles_ends_in_time() -> None:
    ended = threading.Event()

    def speak(connection: socket.socket) -> None:
        while not ended.wait(0.02):
            connection.sendall(b"220-slow\r\n")

    with rude_server(speak) as port:
        mail = build_mail(STORED, route(port), SENT_AT)
        result = send(mail, route(port, timeout_s=0.1), None, patience=HURRIED)
        ended.set()
    assert isinstance(result, DeliveryFailure)
    assert result.text == f"mail server 127.0.0.1 port {port} did not answer within 0.2 s"


def test_the_words_of_a_server_are_one_short_line() -> None:
    def speak(connection: socket.socket) -> None:
        connection.sendall(b"554-no\x1b[31m \xe2\x80\xaeentry\r\n554-" + b"x" * 5000 + b"\r\n554 end\r\n")

    with rude_server(speak) as port:
        result = refusal(route(port))
    words = result.text.partition("is not ready for mail: ")[2]
    assert words.startswith("554 no\\x1b[31m \\u202eentry xxxx")
    assert (len(words.splitlines()), len(words) < 400) == (1, True)


def test_a_name_that_cannot_be_resolved() -> None:
    for host in ("mail.invalid", "a..b", "x" * 70 + ".example"):
        result = refusal(route(25, host=host))
        assert f"mail server {host} port 25: the name cannot be resolved" in result.text
        assert (result.permanent, result.unreachable) == (False, True)


def test_starttls_and_login(tmp_path: Path) -> None:
    at_server, trusting = self_made_certificate(tmp_path)
    inbox, port = Inbox(), free_port()
    settings = route(port, security="starttls", user="ana")
    with mail_server(
        inbox, port, tls_context=at_server, require_starttls=True, authenticator=only_ana, auth_required=True
    ):
        assert outcome(settings, "opensesame", trusting) == Delivered()
        wrong = refusal(settings, "sesame", trusting)
        assert "refused user and password: 535" in wrong.text
        assert (wrong.permanent, wrong.unreachable) == (False, True), "a mended password still brings the alarm"
        assert "must be ASCII" in refusal(settings, "geheimnisträger", trusting).text
        unknown = refusal(settings, "opensesame")
        assert "shows a certificate that is not trusted: self-signed certificate" in unknown.text
        assert not unknown.permanent
        assert not isinstance(outcome(route(port)), Delivered), "this server takes nothing in the clear"
    assert len(inbox.mails) == 1


def test_tls_from_the_first_byte(tmp_path: Path) -> None:
    at_server, trusting = self_made_certificate(tmp_path)
    inbox, port = Inbox(), free_port()
    with mail_server(inbox, port, ssl_context=at_server):
        assert outcome(route(port, security="tls"), None, trusting) == Delivered()
    assert len(inbox.mails) == 1


def test_a_server_without_what_the_cellar_file_asks_for() -> None:
    inbox, port = Inbox(), free_port()
    with mail_server(inbox, port):
        assert "cannot do what [mail] asks for: STARTTLS" in refusal(route(port, security="starttls")).text
        assert "cannot do what [mail] asks for: SMTP AUTH" in refusal(route(port, user="ana"), "x").text
        wrong_port = refusal(route(port, security="tls", timeout_s=2.0))
    assert "no encrypted connection with security 'tls'" in wrong_port.text
    assert inbox.mails == []


def test_the_channel_works_with_the_cellar_files_settings() -> None:
    inbox, port = Inbox(), free_port()
    settings = MailSettings.model_validate(
        {"host": "127.0.0.1", "port": port, "from": "leeside@cellar.example", "to": ["ana@cellar.example"]}
    )
    channel = MailChannel(settings, lambda: None, UTC)
    with mail_server(inbox, port):
        assert channel.deliver(STORED, 1_700_000_000_000) == Delivered()
    assert inbox.mails[0]["Date"] == "Tue, 14 Nov 2023 22:13:20 +0000"


def test_the_channel_turns_its_own_troubles_into_words() -> None:
    def no_password() -> str | None:
        raise IngestError("the environment has no MAIL_PASSWORD")

    lost = MailChannel(route(), no_password, UTC).deliver(STORED, 0)
    assert lost == DeliveryFailure(False, "the environment has no MAIL_PASSWORD", True)


@pytest.mark.parametrize("to", ["žana@cellar.example", "ana@klet-žička.example"])
def test_letters_beyond_ascii_go_where_the_server_takes_them_and_hold_up_no_other_mail_elsewhere(to: str) -> None:
    """RFC 6531: a server says by SMTPUTF8 that it takes them."""
    message, inbox, port = STORED._replace(recipient=to), Inbox(), free_port()
    channel = MailChannel(route(port), lambda: None, UTC)
    with mail_server(inbox, port, enable_SMTPUTF8=True):
        assert channel.deliver(message, 0) == Delivered()
    assert inbox.recipients == [[to]]
    with mail_server(inbox, port, enable_SMTPUTF8=False):
        refused = channel.deliver(message, 0)
        assert channel.deliver(STORED, 0) == Delivered()
    assert isinstance(refused, DeliveryFailure)
    assert (refused.permanent, refused.unreachable) == (True, False)
    assert "does not take addresses with letters beyond ASCII; write the part behind the @ as xn--..." in refused.text
