"""`leeside check --ring` and `--confirm`, and channels as `leeside check` tries them."""

from __future__ import annotations

import json
import threading
from pathlib import Path

import pytest
from brokers import Mosquitto
from cellar_text import BASE, KEG, SITE, mail, mqtt, probe, table, write_cellar
from hook_server import HOOK_SECRET, Hook, hold, hook_server
from mail_server import Inbox, mail_server
from running import Leeside, leeside

from alerts.channels.sending import Sending
from alerts.command.checks.check_channels import live_channels, read_channels
from alerts.command.checks.check_result import CheckResult
from alerts.command.checks.check_ring import check_ring, people_meant
from alerts.message import DirectMessages
from ingest.cellar import Cellar, load_cellar
from ingest.process import wall_ms
from ingest.simulation.loopback import free_port
from ingest.store import create_or_open

PUSH = table("[[channel]]", id="push", kind="apprise", url_env="PUSH")
FILED = table("[[channel]]", id="push", kind="apprise", url_file="push")
MAIL = mail(1)


def person(id: str, channels: str, **keys: object) -> str:
    return table("[[person]]", id=id, **keys) + f"channels = {channels}\n"


def cellar(folder: Path, *pieces: str) -> Cellar:
    return load_cellar(write_cellar(folder, BASE, *pieces))


# ---- channels ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("url", "address", "text"),
    [
        ("nosuch://geheim", "", "its url cannot be read: apprise knows no such service"),
        ("json://127.0.0.1/geheim/{who}", "", "its url has {who}, which leeside does not know; allowed: {address}"),
        (
            "json://127.0.0.1/{address}",
            "",
            "[[person]] ana: its url has {address}; give the address that it stands for",
        ),
        (
            "json://127.0.0.1/geheim",
            "ana-7",
            '[[person]] ana: its url has no {address}, so the address would not be used; write push = ""',
        ),
    ],
)
def test_an_apprise_url_that_cannot_be_used_is_refused_with_the_reason(
    tmp_path: Path, url: str, address: str, text: str
) -> None:
    read = cellar(tmp_path, MAIL, PUSH, person("ana", f'{{ push = "{address}" }}'))
    (result,) = read_channels(read, {"PUSH": url})
    assert (result.part, result.name, result.ok) == ("channel", "push", False)
    assert text in result.text
    assert "geheim" not in result.text


def test_what_is_not_there_to_be_read_is_left_to_where_leeside_runs(tmp_path: Path) -> None:
    assert list(read_channels(cellar(tmp_path, MAIL, PUSH), {})) == []
    (missing,) = read_channels(cellar(tmp_path, MAIL, FILED), {})
    assert "cannot be read: No such file or directory" in missing.text
    (tmp_path / "push").write_text("json://127.0.0.1/\n", encoding="utf-8")
    assert list(read_channels(cellar(tmp_path, MAIL, FILED), {})) == []


def test_channels_are_tried_live_without_sending_anything(tmp_path: Path) -> None:
    with hook_server(Hook()) as hook:
        webhook = table("[[channel]]", id="hook", kind="webhook", url=hook.url, secret_env="HOOK")
        read = cellar(tmp_path, MAIL, PUSH, webhook)
        environ = {"PUSH": f"json://127.0.0.1:{hook.port}/", "HOOK": HOOK_SECRET}
        assert list(live_channels(read, environ)) == [
            CheckResult("channel", "push", True, "its url can be read; nothing was sent"),
            CheckResult(
                "channel", "hook", True, "its server can be reached; nothing was posted, so its secret was not tried"
            ),
        ]
        assert not hook.posts
    assert [each.text for each in live_channels(read, {"PUSH": "json://127.0.0.1/", "HOOK": HOOK_SECRET})][1:] == [
        "nothing listens there"
    ]


def test_check_refuses_it_and_lists_who_gets_what(tmp_path: Path) -> None:
    ben = person("ben", '{ mail = "ben@x.example" }', after="30 min", woken_by=["high"], waking="06:00-23:00")
    file = write_cellar(tmp_path, BASE, MAIL, FILED, person("ana", '{ push = "" }'), ben)
    (tmp_path / "push").write_text("nosuch://geheim\n", encoding="utf-8")
    result = leeside("check", file)
    assert result.returncode == 1
    assert "FAILS  channel push: its url cannot be read: apprise knows no such service" in result.stdout
    assert (
        "Messages go to:\n"
        "  ana@cellar.example: all alarms; awake 07:00-22:00, woken by all alarms\n"
        "  ana by push: all alarms; awake 07:00-22:00, woken by all alarms\n"
        "  ben@x.example: alarms of high priority, if nobody acknowledges for 30 min; awake 06:00-23:00, woken by "
        "alarms of high priority\n"
    ) in result.stdout


# ---- ringing -------------------------------------------------------------------------------------------------------


def test_ringing_without_leeside_and_for_nobody_is_said(tmp_path: Path) -> None:
    file = write_cellar(tmp_path, BASE, MAIL)
    unknown = leeside("check", file, "--ring", "--person", "anna@cellar.example")
    assert unknown.returncode == 2
    assert "Did you mean ana@cellar.example?" in unknown.stderr
    for options, words in (
        (("--ring", "--person", ""), "there is no person ''. Known: ana@cellar.example"),
        (("--person", "ana@cellar.example"), "only with --ring"),
        (("--ring", "--confirm", "abcde"), "cannot be combined with --confirm"),
        (("--ring", "--live"), "cannot be combined with --ring"),
    ):
        refused = leeside("check", file, *options)
        assert refused.returncode == 2
        assert words in " ".join(refused.stderr.replace("│", " ").split())
    create_or_open(load_cellar(file).store_path, 0).close()
    empty = leeside("check", file, "--confirm", "")
    assert empty.returncode == 1
    assert "no test message has this code" in empty.stdout
    nobody = leeside("check", write_cellar(tmp_path, BASE), "--ring")
    assert nobody.returncode == 2
    assert "nobody gets messages" in nobody.stderr


def test_a_ring_names_each_channel_that_does_not_work_and_why_and_the_others_arrive(tmp_path: Path) -> None:
    inbox, mail_port, release = Inbox(), free_port(), threading.Event()
    with (
        mail_server(inbox, mail_port),
        hook_server(Hook(before=lambda post: hold(release))) as slow,
        hook_server(Hook(500, text="x" * 2_000_000)) as huge,
        hook_server(Hook(302, {"Location": "https://elsewhere.example/geheim"})) as moved,
        hook_server(Hook(200, text="x" * 2_000_000)) as good,
    ):
        urls = {"dead": f"http://127.0.0.1:{free_port()}/", "slow": slow.url, "huge": huge.url, "moved": moved.url}
        hooks = [
            table("[[channel]]", id=id, kind="webhook", url=url, secret_file="secret", timeout="1 s")
            for id, url in {**urls, "good": good.url}.items()
        ]
        people = [person(f"p-{id}", f'{{ {id} = "" }}') for id in (*urls, "good")]
        read = cellar(tmp_path, mail(mail_port), *hooks, *people)
        (tmp_path / "secret").write_text(HOOK_SECRET, encoding="utf-8")
        create_or_open(read.store_path, 0).close()
        works = Sending(read, {}, DirectMessages(lambda: 0.5), wall_ms)
        works.start()
        try:
            results = {each.name: each for each in check_ring(read, people_meant(read, None), "Ana")}
        finally:
            release.set()
            works.stop()
    words = {
        "p-dead by dead": "nothing listens there",
        "p-slow by slow": "did not answer within 1 s",
        "p-huge by huge": "is not ready: 500 xxx",
        "p-moved by moved": "answered 302, a redirect to https://elsewhere.example/...: not followed",
    }
    assert {name for name, each in results.items() if each.ok} == {"ana@cellar.example", "p-good by good"}
    for name, text in words.items():
        assert results[name].text.startswith("not sent, it is tried again: webhook ")
        assert text in results[name].text
        assert "geheim" not in results[name].text
        assert len(results[name].text) < 400
    assert len(inbox.mails) == len(good.posts) == 1


@pytest.mark.whole
def test_a_ring_is_open_until_its_code_is_said(tmp_path: Path) -> None:
    inbox, mail_port = Inbox(), free_port()
    with Mosquitto(tmp_path) as broker, mail_server(inbox, mail_port), hook_server(Hook()) as hook:
        webhook = table("[[channel]]", id="hook", kind="webhook", url=hook.url, secret_file="secret")
        (tmp_path / "secret").write_text(HOOK_SECRET, encoding="utf-8")
        ben = person("ben", '{ mail = "ben@cellar.example", hook = "" }', after="1 h")
        pieces = (SITE, mqtt(broker.port), KEG, probe(), mail(mail_port), webhook, ben)
        with Leeside(write_cellar(tmp_path, *pieces)) as running:
            rung = leeside("check", running.file, "--ring")
            assert rung.returncode == 0, rung.stdout
            for name in ("ana@cellar.example", "ben@cellar.example", "ben by hook"):
                assert f"ok     ring {name}: sent. Ask for the code in it" in rung.stdout
            by_mail = {str(each["To"]): str(each["Subject"]).split()[1].rstrip(":") for each in inbox.mails}
            codes = [*by_mail.values(), hook.posts[0].json["subject"].split()[1].rstrip(":")]
            assert len(set(codes)) == 3
            assert not any(code in rung.stdout for code in codes), "who did not get it must not know it"
            now = json.loads(leeside("now", running.file, "--json").stdout)
            assert [each["recipient"] for each in now["unconfirmed_rings"]] == [
                "ana@cellar.example",
                "ben@cellar.example",
                "ben by hook",
            ]
            for code in codes[:2]:
                assert leeside("check", running.file, "--confirm", code.lower()).returncode == 0
            wrong = leeside("check", running.file, "--confirm", "zzzzz")
            assert wrong.returncode == 1
            assert "no test message has this code" in wrong.stdout
            shown = leeside("now", running.file).stdout
            assert "test message to ben by hook: sent" in shown
            assert "not confirmed. Ask for its code, then `leeside check" in shown
            assert "test message to ana" not in shown
