"""The page over TLS and behind a proxy, in a process of its own."""

from __future__ import annotations

import signal
import socket
import ssl
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import NamedTuple

import httpx
import pytest
from a_page import PASSWORD, PASSWORD_HASH
from a_store import new_store
from cellar_text import SITE, cellar, table, write_cellar
from eventually import eventually

from alerts.command.checks.check_page import check_page
from alerts.page.connections import MOST_CONNECTIONS
from alerts.page.serving import PageProcess
from ingest.cellar import PageSettings, load_cellar
from ingest.errors import IngestError
from ingest.simulation.loopback import free_port


class Served(NamedTuple):
    """A page that is served. context: of a visitor who trusts its certificate."""

    port: int
    page: PageSettings
    context: ssl.SSLContext
    folder: Path


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with ``cert.pem`` for 127.0.0.1 and its ``key.pem``."""
    folder = tmp_path_factory.mktemp("certificate")
    subprocess.run(
        [
            "openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
            "-keyout", "key.pem", "-out", "cert.pem", "-days", "2", "-subj", "/CN=cellar",
            "-addext", "subjectAltName=IP:127.0.0.1",
        ],
        cwd=folder, check=True, capture_output=True,
    )  # fmt: skip
    return folder


@contextmanager
def serving(folder: Path, authority: Path, **keys: object) -> Iterator[Served]:
    port = free_port()
    (folder / "hash").write_text(PASSWORD_HASH + "\n")
    file = write_cellar(folder, SITE, table("[page]", address=f"127.0.0.1:{port}", password_hash_file="hash", **keys))
    new_store(folder).close()
    log = folder / "page.log"
    with log.open("wb") as out:
        process = subprocess.Popen(
            ["prlimit", "--nofile=256", sys.executable, "-m", "alerts.page.serving", str(file)], stderr=out
        )
    try:
        eventually(lambda: "the page is at" in log.read_text(), within_s=60)
        page = cellar(file.read_text()).page
        assert page is not None
        yield Served(port, page, ssl.create_default_context(cafile=authority / "cert.pem"), folder)
        process.send_signal(signal.SIGTERM)
        assert process.wait(60) == 0
        assert len(log.read_text()) < 2_000, log.read_text()
        assert "out of system resource" not in log.read_text()
    finally:
        process.kill()
        process.wait()


@pytest.fixture
def encrypted(tmp_path: Path, certificate: Path) -> Iterator[Served]:
    keys = {name: str(certificate / file) for name, file in (("certificate", "cert.pem"), ("key", "key.pem"))}
    with serving(tmp_path, certificate, **keys) as served:
        yield served


def _is_closed(connection: socket.socket) -> bool:
    try:
        return connection.recv(1) == b""
    except ConnectionResetError:
        return True


def test_a_certificate_encrypts_the_page_and_a_flood_of_handshakes_does_not_stop_it(encrypted: Served) -> None:
    with httpx.Client(base_url=f"https://127.0.0.1:{encrypted.port}", verify=encrypted.context) as client:
        token = client.get("/api/session").json()["token"]
        done = client.post("/api/session", json={"password": PASSWORD}, headers={"X-Leeside-Token": token})
        assert done.status_code == 200
        assert "Secure" in done.headers["set-cookie"]
        assert client.get("/").status_code == 200
    results = list(check_page(encrypted.page, {}, encrypted.folder))
    assert [str(result) for result in results if not result.ok] == []
    assert [result.text for result in results] == [
        "its hash can be read",
        "is a certificate with its key",
        "is served by leeside",
    ]
    with ExitStack() as stack:
        silent = [
            stack.enter_context(socket.create_connection(("127.0.0.1", encrypted.port), timeout=30))
            for _ in range(MOST_CONNECTIONS + 300)
        ]
        # asyncio takes up to a minute for a handshake; the page gives each 10 s.
        assert all(_is_closed(connection) for connection in silent)
        assert httpx.get(f"https://127.0.0.1:{encrypted.port}/", verify=encrypted.context).status_code == 401


def test_only_the_trusted_proxy_says_who_asks_and_how(tmp_path: Path, certificate: Path) -> None:
    with serving(tmp_path, certificate, trusted_proxy=["127.0.0.1"]) as served:
        for_ana = {"X-Forwarded-For": "6.6.6.6, 192.0.2.1", "X-Forwarded-Proto": "https"}
        with httpx.Client(base_url=f"http://127.0.0.1:{served.port}", headers=for_ana) as client:
            asked = client.get("/api/session")
            assert "Secure" in asked.headers["set-cookie"]
            cookie = asked.headers["set-cookie"].partition(";")[0]
            headers = {"X-Leeside-Token": asked.json()["token"], "Cookie": cookie}
            for _ in range(5):
                assert client.post("/api/session", json={"password": "x"}, headers=headers).status_code == 401
            assert client.post("/api/session", json={"password": "x"}, headers=headers).status_code == 429
            headers["X-Forwarded-For"] = "192.0.2.2"
            assert client.post("/api/session", json={"password": "x"}, headers=headers).status_code == 401
        assert "somebody at 192.0.2.1 tried a wrong password" in (tmp_path / "page.log").read_text()


def test_without_a_trusted_proxy_nobody_is_believed(tmp_path: Path, certificate: Path) -> None:
    with serving(tmp_path, certificate) as served:
        forged = {"X-Forwarded-For": "192.0.2.1", "X-Forwarded-Proto": "https"}
        with httpx.Client(base_url=f"http://127.0.0.1:{served.port}", headers=forged) as client:
            asked = client.get("/api/session")
            assert "Secure" not in asked.headers["set-cookie"]
            headers = {"X-Leeside-Token": asked.json()["token"]}
            codes = []
            for number in range(7):
                headers["X-Forwarded-For"] = f"192.0.2.{number}"
                codes.append(client.post("/api/session", json={"password": "x"}, headers=headers).status_code)
            assert codes == [401] * 5 + [429] * 2


@pytest.mark.parametrize(
    ("keys", "files", "problem"),
    [
        ({"password_hash_file": "hash"}, {}, "[page] password_hash_file: {folder}/hash cannot be read"),
        ({"password_hash_file": "hash"}, {"hash": "secret"}, "[page] password_hash_file: it is not a hash of Argon2;"),
        ({"password_hash_file": "hash"}, {"hash": "a\nb"}, "must hold one line, the password hash"),
        (
            {"password_hash_file": "hash"},
            {"hash": "$argon2id$v=19$m=4194304,t=2,p=1$c2FsdHNhbHQ$aGFzaGhhc2g"},
            "it takes more work than the page would do for each log-in",
        ),
        ({"password_hash_file": "hash"}, {"hash": "$argon2i$v=19$m=64,t=2,p=1$c2FsdHNhbHQ$aGFzaGhhc2g"}, "Argon2id"),
        ({"password_hash_env": "NOT_SET"}, {}, "the environment has no NOT_SET"),
        ({"certificate": "c", "key": "k"}, {}, "[page] certificate: {folder}/c cannot be read"),
        ({"certificate": "c", "key": "k"}, {"c": "x", "k": "y"}, "are not a certificate and its key"),
    ],
)
def test_what_is_wrong_with_password_and_certificate_is_said_at_the_start(
    tmp_path: Path, keys: dict[str, object], files: dict[str, str], problem: str
) -> None:
    for name, text in files.items():
        (tmp_path / name).write_text(text)
    loaded = load_cellar(write_cellar(tmp_path, SITE, table("[page]", **keys)))
    with pytest.raises(IngestError) as caught:
        PageProcess(loaded, {})
    assert problem.format(folder=tmp_path) in str(caught.value)
    assert loaded.page is not None
    failed = [result.text for result in check_page(loaded.page, {}, tmp_path) if not result.ok]
    assert str(caught.value) in failed
