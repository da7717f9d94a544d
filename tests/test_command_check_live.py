"""`leeside check --live` and `--store` against real brokers, mail servers, pseudo-terminals and files."""

from __future__ import annotations

import json
import socket
from collections.abc import Sequence
from pathlib import Path

import pytest
from a_cellar_on_disk import NOW, CellarOnDisk
from brokers import Mosquitto, dynamic_security
from cellar_text import KEG, SITE, mail, mqtt, probe, serial, table, write_cellar
from eventually import eventually
from influx_server import InfluxServer, Says
from listening import Cable, Listener
from mail_server import Inbox, mail_server, only_ana, self_made_certificate
from running import Leeside, leeside

from alerts.command.checks.check_live import check_live
from alerts.command.checks.check_result import CheckResult
from alerts.command.checks.check_store import check_store
from alerts.page.serving import PageProcess
from ingest.cellar import Cellar, load_cellar
from ingest.simulation.loopback import free_port
from ingest.store import create_or_open

NOW_MS = 1_795_595_400_000
PRESSURE = probe(topic="cellar/K1/pressure")
CHIP = table("[[probe]]", id="t", at="K1", quantity="temperature", w1="28-3c01f0964f2b")


def mail_at(port: int, **keys: str) -> str:
    return mail(port, timeout="5 s", **keys)


def cellar(folder: Path, *pieces: str) -> Cellar:
    return load_cellar(write_cellar(folder, SITE, KEG, *pieces))


def tried(cellar: Cellar, environ: dict[str, str] | None = None) -> list[CheckResult]:
    return list(check_live(cellar, environ or {}, NOW_MS))


def only(findings: Sequence[CheckResult]) -> CheckResult:
    (finding,) = findings
    return finding


# ---- broker --------------------------------------------------------------------------------------------------------


def test_a_broker_that_lets_us_in_and_grants(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as broker:
        found = tried(cellar(tmp_path, mqtt(broker.port), PRESSURE))
    assert found == [
        CheckResult("broker", f"127.0.0.1:{broker.port}", True, "lets us in, MQTT 5"),
        CheckResult("topic", "cellar/K1/pressure", True, "allowed, nothing heard yet"),
    ]


def test_a_broker_that_is_not_there(tmp_path: Path) -> None:
    found = only(tried(cellar(tmp_path, mqtt(free_port()), PRESSURE)))
    assert not found.ok
    assert found.text == f"Nothing listens at {found.name}: is the broker running, and is the port right?"


def test_a_wrong_host(tmp_path: Path) -> None:
    found = only(tried(cellar(tmp_path, mqtt(host="nowhere.invalid"), PRESSURE)))
    assert not found.ok
    assert "look at [mqtt] host" in found.text


def test_a_wrong_password(tmp_path: Path) -> None:
    login = 'user = "ana"\npassword_env = "SECRET"\n'
    with Mosquitto(tmp_path, password=("ana", "opensesame")) as broker:
        house = cellar(tmp_path, mqtt(broker.port), login, PRESSURE)
        assert [finding.ok for finding in tried(house, {"SECRET": "opensesame"})] == [True, True]
        wrong = only(tried(house, {"SECRET": "no"}))
        assert not wrong.ok
        assert "does not let user 'ana'" in wrong.text
        assert "goes on trying" not in wrong.text
        missing = only(tried(house))
        assert not missing.ok
        assert "SECRET" in missing.text


def test_a_refused_topic(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, options=dynamic_security(tmp_path)) as broker:
        found = tried(cellar(tmp_path, mqtt(broker.port), PRESSURE))
    assert [finding.ok for finding in found] == [True, False]
    assert found[1].text.startswith("refused (")
    assert "look at the broker's access rules" in found[1].text


# ---- lines and chips -------------------------------------------------------------------------------------------------


def test_a_free_line_and_none(tmp_path: Path) -> None:
    with Cable() as cable:
        found = tried(cellar(tmp_path, serial(cable.device), serial(str(tmp_path / "ttyUSB7"), "other")))
    assert found[0] == CheckResult("line", "bench-line", True, f"{cable.device} can be opened")
    assert not found[1].ok
    assert "There is no device" in found[1].text
    assert "goes on trying" not in found[1].text


def test_a_line_that_another_program_has(tmp_path: Path) -> None:
    with Cable() as cable:
        house = cellar(tmp_path, serial(cable.device))
        with Listener(house.file) as other:
            other.await_words("is open")
            found = only(tried(house))
            assert not found.ok
            assert f"is in use by process {other.pid} (" in found.text
            other.interrupt()


def test_a_line_that_leeside_itself_reads_is_fine(tmp_path: Path) -> None:
    with Cable() as cable:
        house = cellar(tmp_path, serial(cable.device))
        with Leeside(Path(house.file)) as running:
            eventually(lambda: "is open" in running.said())
            found = only(tried(house))
            assert found == CheckResult(
                "line",
                "bench-line",
                True,
                f"{cable.device} is read by leeside itself (process {running.pid_of('ingest')})",
            )


@pytest.mark.parametrize(
    ("text", "ok", "told"),
    [
        ("12500\n", True, "says 12.5 °C, good"),
        ("-127000\n", False, "the chip did not answer (-127 °C)"),
        (None, False, "There is no one-wire chip 28-3c01f0964f2b"),
    ],
)
def test_a_one_wire_chip_is_read_once(tmp_path: Path, text: str | None, ok: bool, told: str) -> None:
    folder = tmp_path / "chips"
    folder.mkdir()
    if text is not None:
        (folder / "28-3c01f0964f2b").mkdir()
        (folder / "28-3c01f0964f2b/temperature").write_text(text)
    found = only(tried(cellar(tmp_path, table("[w1]", path="chips"), CHIP)))
    assert (found.part, found.ok) == ("chip", ok)
    assert told in found.text


# ---- mail ------------------------------------------------------------------------------------------------------------


def test_a_mail_server_that_is_there_gets_no_mail(tmp_path: Path) -> None:
    inbox, port = Inbox(), free_port()
    with mail_server(inbox, port):
        found = only(tried(cellar(tmp_path, mail_at(port))))
    assert found == CheckResult("mail", f"127.0.0.1:{port}", True, "connected; no mail was sent")
    assert inbox.mails == []


def test_no_mail_server(tmp_path: Path) -> None:
    port = free_port()
    found = only(tried(cellar(tmp_path, mail_at(port))))
    assert found == CheckResult(
        "mail", f"127.0.0.1:{port}", False, f"nothing listens at mail server 127.0.0.1 port {port}"
    )


def test_encryption_and_login(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    server, _ = self_made_certificate(tmp_path)
    inbox, port = Inbox(), free_port()
    house = cellar(tmp_path, mail_at(port, security="starttls", user="ana", password_env="SECRET"))
    with mail_server(
        inbox, port, tls_context=server, require_starttls=True, authenticator=only_ana, auth_required=True
    ):
        untrusted = only(tried(house, {"SECRET": "opensesame"}))
        assert not untrusted.ok
        assert "shows a certificate that is not trusted" in untrusted.text
        monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "certificate.pem"))
        right = only(tried(house, {"SECRET": "opensesame"}))
        assert (right.ok, right.text) == (True, "connected, encrypted (STARTTLS), logged in; no mail was sent")
        wrong = only(tried(house, {"SECRET": "no"}))
        assert not wrong.ok
        assert "refused user and password" in wrong.text
        assert not only(tried(house)).ok
    assert inbox.mails == []


# ---- mirror ----------------------------------------------------------------------------------------------------------


def test_a_mirror_is_tried_with_its_token_and_gets_no_point(tmp_path: Path) -> None:
    with InfluxServer() as server:
        table = f'\n[mirror]\nurl = "{server.url}"\norg = "home"\nbucket = "cellar"\ntoken_env = "TOKEN"\n'
        server.judge = lambda request: Says() if request.token == "Token abc" else Says(401)
        house = cellar(tmp_path, table)
        taken = "would take what we send into bucket cellar; nothing was written"
        assert only(tried(house, {"TOKEN": "abc"})) == CheckResult("mirror", server.url, True, taken)
        wrong = only(tried(house, {"TOKEN": "x"}))
        assert not wrong.ok
        assert "does not know the token" in wrong.text
        assert server.points == {}
    assert "TOKEN" in only(tried(house)).text
    assert "Does the server run" in only(tried(house, {"TOKEN": "abc"})).text


# ---- store -----------------------------------------------------------------------------------------------------------


def test_a_whole_store(tmp_path: Path) -> None:
    house = CellarOnDisk(tmp_path)
    house.reading("k1-pressure", 50.0, 60)
    found = next(check_store(house.cellar, NOW_MS))
    assert found.ok
    assert found.text.startswith("integrity_check finds no damage; 0.")
    assert "readings from " in found.text
    house.store.close()


def test_no_store_yet(tmp_path: Path) -> None:
    found = next(check_store(cellar(tmp_path), NOW_MS))
    assert (found.ok, "there is no store yet" in found.text) == (False, True)


def test_a_file_that_is_no_store(tmp_path: Path) -> None:
    (tmp_path / "cellar.db").write_bytes(b"not a database" * 500)
    found = next(check_store(cellar(tmp_path), NOW_MS))
    assert (found.ok, "not a readable leeside store" in found.text) == (False, True)


# ---- the command -----------------------------------------------------------------------------------------------------


def test_the_command_says_each_in_a_line_and_its_exit_code(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as broker, Cable() as cable:
        house = cellar(tmp_path, mqtt(broker.port), PRESSURE, serial(cable.device))
        good = leeside("check", house.file, "--live")
        assert good.returncode == 0, good.stdout + good.stderr
        assert good.stdout.split("\nTried out:\n")[1].splitlines() == [
            f"  ok     broker 127.0.0.1:{broker.port}: lets us in, MQTT 5",
            "  ok     topic cellar/K1/pressure: allowed, nothing heard yet",
            f"  ok     line bench-line: {cable.device} can be opened",
        ]
    bad = leeside("check", house.file, "--live", "--store", "--json")
    assert bad.returncode == 1
    told = json.loads(bad.stdout)
    assert told["ok"] is False
    assert [(row["part"], row["ok"]) for row in told["tried"]][:3] == [
        ("broker", False),
        ("line", False),
        ("store", False),
    ]
    shown = leeside("check", house.file, "--live")
    assert shown.returncode == 1
    assert "  FAILS  broker 127.0.0.1:" in shown.stdout
    assert not house.store_path.exists()


def test_without_live_nothing_is_tried(tmp_path: Path) -> None:
    done = leeside("check", write_cellar(tmp_path, SITE, KEG, mqtt(free_port()), PRESSURE))
    assert done.returncode == 0
    assert "Tried out" not in done.stdout


# ---- the page ------------------------------------------------------------------------------------------------------


def page_at(port: int) -> str:
    return table("[page]", address=f"127.0.0.1:{port}")


def test_a_free_port_is_where_the_page_will_be(tmp_path: Path) -> None:
    found = only(tried(cellar(tmp_path, page_at(free_port()))))
    assert (found.part, found.ok) == ("page", True)
    assert "the port is free" in found.text


def test_a_port_that_another_program_has_is_named(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        found = only(tried(cellar(tmp_path, page_at(other.getsockname()[1]))))
    assert not found.ok
    assert "another program has this port" in found.text


def test_a_page_that_leeside_serves_is_in_order(tmp_path: Path) -> None:
    here = cellar(tmp_path, page_at(free_port()))
    create_or_open(here.store_path, NOW_MS).close()
    assert here.page is not None
    page = PageProcess(here, {})
    page.start()
    try:
        eventually(lambda: only(tried(here))[2:] == (True, "is served by leeside"))
    finally:
        page.stop()


def test_a_topic_that_was_heard_says_when(tmp_path: Path) -> None:
    on_disk = CellarOnDisk(tmp_path)
    on_disk.reading("k1-pressure", 55.0, seconds_ago=90)
    on_disk.store.close()
    with Mosquitto(tmp_path) as broker:
        here = cellar(tmp_path, mqtt(broker.port), probe(topic="k1/p"))
        found = list(check_live(here, {}, NOW))
    assert found[1].text == "allowed, last heard 1 min ago"
