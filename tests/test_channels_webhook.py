"""A webhook against a real server: what is posted, how it is signed, and what each answer calls for."""

from __future__ import annotations

import hashlib
import hmac
import socket
import ssl
import threading
from collections.abc import Mapping
from pathlib import Path

import pytest
from cellar_text import BASE, cellar, table
from hook_server import HOOK_SECRET, Hook, hold, hook_server
from mail_server import STORED, self_made_certificate
from rude_server import rude_server

from alerts.channels.alarms_of import AlarmOf
from alerts.channels.webhook import WebhookChannel, post, reach
from alerts.channels.webhook_body import signature
from alerts.message.outbox import Delivered, DeliveryFailure
from ingest.errors import IngestError
from ingest.simulation.loopback import free_port

NOW = 1_750_000_000_123
MESSAGE = STORED._replace(recipient="ana by hook", channel="hook", created_ms=NOW)
ALARM = AlarmOf("7f3k", "K1/temperature/high", "unacknowledged", 21.4, "degC", NOW)


def channel(url: str, secret: str = HOOK_SECRET, timeout: str = "5 s") -> WebhookChannel:
    hook = {"id": "hook", "kind": "webhook", "url": url, "secret_env": "HOOK", "timeout": timeout}
    person = table("[[person]]", id="ana", name="Ana") + 'channels = { hook = "ana-7" }\n'
    read = cellar(BASE, table("[[channel]]", **hook), person)
    recipients = {each.name: each for each in read.recipients}
    environ: Mapping[str, str] = {"HOOK": secret}
    settings = read.channel[0]
    return WebhookChannel(
        settings, lambda: settings.secret(environ, read.base), recipients, "Mill Lane", lambda message: [ALARM]
    )


def refusal(url: str, **keys: str) -> DeliveryFailure:
    result = channel(url, **keys).deliver(MESSAGE, NOW)
    assert isinstance(result, DeliveryFailure)
    assert "geheim" not in result.text
    return result


def test_a_message_is_posted_as_documented_and_its_signature_can_be_checked() -> None:
    with hook_server(Hook()) as hook:
        assert channel(hook.url).deliver(MESSAGE, NOW) == Delivered()
        (got,) = hook.posts
    assert got.path == "/leeside/geheim?x=1"
    assert got.json == {
        "id": MESSAGE.message_id,
        "thread": MESSAGE.thread_id,
        "site": "Mill Lane",
        "person": "ana",
        "name": "Ana",
        "address": "ana-7",
        "occasion": "raised",
        "priority": "high",
        "subject": MESSAGE.subject,
        "text": MESSAGE.body,
        "written_at": "2025-06-15T15:06:40.123Z",
        "alarms": [
            {
                "occurrence": "7f3k",
                "limit": "K1/temperature/high",
                "state": "unacknowledged",
                "value": 21.4,
                "unit": "degC",
                "at": "2025-06-15T15:06:40.123Z",
            }
        ],
    }
    stamp = got.headers["Leeside-Timestamp"]
    assert stamp == "1750000000"
    wanted = hmac.new(HOOK_SECRET.encode(), stamp.encode() + b"." + got.body, hashlib.sha256).hexdigest()
    assert got.headers["Leeside-Signature"] == f"sha256={wanted}"
    assert got.headers["Idempotency-Key"] == f'"{MESSAGE.message_id}"'
    assert got.headers["Content-Type"] == "application/json"


def test_a_later_try_differs_in_its_signature_alone() -> None:
    with hook_server(Hook()) as hook:
        for later_ms in (0, 60_000):
            channel(hook.url).deliver(MESSAGE, NOW + later_ms)
        first, second = hook.posts
    assert first.body == second.body
    assert first.headers["Idempotency-Key"] == second.headers["Idempotency-Key"]
    assert first.headers["Leeside-Signature"] != second.headers["Leeside-Signature"]


def test_the_signature_is_that_of_rfc_4231() -> None:
    # RFC 4231 section 4.3: key "Jefe", data "what do ya want for nothing?". Ours has a full stop after the stamp.
    wanted = hmac.new(b"Jefe", b"what.do ya want", hashlib.sha256).hexdigest()
    assert signature("Jefe", "what", b"do ya want") == f"sha256={wanted}"


@pytest.mark.parametrize(
    ("status", "headers", "permanent", "unreachable", "wait_s", "words"),
    [
        (500, {}, False, False, None, "is not ready: 500 oh"),
        (503, {}, False, True, None, "is not ready: 503 oh"),
        (429, {"Retry-After": "17"}, False, True, 17.0, "is not ready: 429 oh"),
        (429, {"Retry-After": "Sun, 15 Jun 2025 15:08:00 GMT"}, False, True, 79.877, "is not ready: 429 oh"),
        (429, {"Retry-After": "soon"}, False, True, None, "is not ready: 429 oh"),
        (401, {}, False, True, None, "does not take our messages: 401 oh; is the secret right?"),
        (403, {}, False, True, None, "does not take our messages: 403 oh; is the secret right?"),
        (400, {}, True, False, None, "refused the message: 400 oh"),
        (410, {}, True, False, None, "refused the message: 410 oh"),
        (
            308,
            {"Location": "https://elsewhere.example/geheim"},
            True,
            True,
            None,
            "answered 308, a redirect to https://elsewhere.example/...: not followed; if that is right, put it into",
        ),
        (302, {"Location": "/geheim"}, True, True, None, "answered 302, a redirect to another path: not fol"),
        (
            302,
            {"Location": "//evil.example/geheim"},
            True,
            True,
            None,
            "answered 302, a redirect to the host evil.example",
        ),
        (302, {"Location": "http://[geheim/"}, True, True, None, "answered 302, a redirect to what is no address: not"),
        (302, {}, True, True, None, "answered 302, a redirect to another path: not followed"),
    ],
)
def test_each_answer_calls_for_something(
    status: int, headers: dict[str, str], permanent: bool, unreachable: bool, wait_s: float | None, words: str
) -> None:
    with hook_server(Hook(status, headers, "oh\n")) as hook:
        result = refusal(hook.url)
        assert len(hook.posts) == 1
    assert (result.permanent, result.unreachable) == (permanent, unreachable)
    assert result.retry_after_s == pytest.approx(wait_s)
    assert f"webhook hook at 127.0.0.1:{hook.port} {words}" in result.text


def test_a_redirect_is_not_followed() -> None:
    with hook_server(Hook()) as other, hook_server(Hook(307, {"Location": other.url})) as hook:
        assert refusal(hook.url).permanent
        assert not other.posts


def test_a_server_that_hangs_costs_no_more_than_the_time_out() -> None:
    release = threading.Event()
    with hook_server(Hook(before=lambda post: hold(release))) as hook:
        result = refusal(hook.url, timeout="1 s")
        release.set()
    assert result == DeliveryFailure(
        False, f"webhook hook at 127.0.0.1:{hook.port}: did not answer within 1 s", unreachable=True
    )


def test_a_huge_body_is_read_no_further_than_it_explains_something() -> None:
    with hook_server(Hook(500, text="x" * 5_000_000)) as hook:
        result = refusal(hook.url, timeout="10 s")
    assert result.text.startswith(f"webhook hook at 127.0.0.1:{hook.port} is not ready: 500 xxx")
    assert len(result.text) < 300


def test_an_answer_that_trickles_ends_in_time() -> None:
    done = threading.Event()

    def trickle(connection: socket.socket) -> None:
        while not done.is_set():
            connection.sendall(b"H")
            done.wait(0.05)

    with rude_server(trickle) as port:
        result = refusal(f"http://127.0.0.1:{port}/", timeout="1 s")
        done.set()
    assert "did not answer within 1 s" in result.text


def test_what_is_no_web_server_and_what_is_not_there_are_named() -> None:
    def mail_server(connection: socket.socket) -> None:
        connection.recv(4096)
        connection.sendall(b"220 mail.example ESMTP\r\n")

    with rude_server(mail_server) as port:
        assert "does not answer as a web server does" in refusal(f"http://127.0.0.1:{port}/").text
    assert "nothing listens there" in refusal(f"http://127.0.0.1:{free_port()}/").text
    assert "the name cannot be resolved" in refusal("https://no-such-host.invalid/").text


def test_a_certificate_is_checked(tmp_path: Path) -> None:
    server, _ = self_made_certificate(tmp_path)

    def speak(connection: socket.socket) -> None:
        with server.wrap_socket(connection, server_side=True) as wire:
            request = b""
            while not request.endswith(b"{}"):  # what is left unread would reset the connection
                request += wire.recv(4096)
            wire.sendall(b"HTTP/1.1 204 No Content\r\n\r\n")

    def rude(connection: socket.socket) -> None:
        try:
            speak(connection)
        except ssl.SSLError:
            pass

    with rude_server(rude) as port:
        answer = post(f"https://127.0.0.1:{port}/", {}, b"{}", 5.0)
        assert isinstance(answer, str)
        assert "shows a certificate that is not trusted" in answer
    with rude_server(rude) as port:
        trusted = post(f"https://127.0.0.1:{port}/", {}, b"{}", 5.0, tmp_path / "certificate.pem")
        assert not isinstance(trusted, str)
        assert trusted.status == 204
    missing = post("https://127.0.0.1/", {}, b"{}", 5.0, tmp_path / "none.pem")
    assert missing == f"{tmp_path / 'none.pem'} cannot be read as certificates: No such file or directory"


def test_a_missing_secret_is_said_and_nothing_is_posted() -> None:
    with hook_server(Hook()) as hook:
        result = refusal(hook.url, secret="short")
        assert "its secret must have at least 16 characters" in result.text
        assert not hook.posts


def test_who_has_left_the_cellar_file_gets_nothing() -> None:
    result = channel("http://127.0.0.1:1/").deliver(MESSAGE._replace(recipient="ben by hook"), NOW)
    assert result == DeliveryFailure(True, "ben by hook is no longer in the cellar file")


def test_reaching_posts_nothing() -> None:
    with hook_server(Hook()) as hook:
        assert reach(hook.url, 5.0) == ""
        assert not hook.posts
    assert reach(hook.url, 5.0) == "nothing listens there"


def test_the_secret_is_read_for_each_message(tmp_path: Path) -> None:
    read = cellar(BASE, table("[[channel]]", id="h", kind="webhook", url="http://127.0.0.1/", secret_file="s"))
    with pytest.raises(IngestError):
        read.channel[0].secret({}, tmp_path)
    (tmp_path / "s").write_text(f"{HOOK_SECRET}\n", encoding="utf-8")
    assert read.channel[0].secret({}, tmp_path) == HOOK_SECRET
