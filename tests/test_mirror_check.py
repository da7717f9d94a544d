"""Trying the mirror out: each answer in words that say what to do, and nothing written."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_mirror import settings
from influx_server import InfluxServer, Request, Says
from mail_server import self_made_certificate
from victoria import Victoria

from ingest.mirror.check import MirrorCheck, check_mirror, judge
from ingest.mirror.reply import NETWORK, Reply
from ingest.simulation.loopback import free_port

URL = "http://127.0.0.1:8086"


@pytest.mark.parametrize(
    ("reply", "ok", "text"),
    [
        (Reply(204), True, "would take what we send into bucket cellar; nothing was written"),
        (Reply(400, "writing requires points"), True, "would take what we send"),
        (Reply(400, "what is this?"), False, "look at [mirror] url (the server says 400, 'what is this?')"),
        (Reply(200), False, "not an answer of a server that takes the InfluxDB v2 write protocol"),
        (Reply(302), False, "not an answer of a server that takes the InfluxDB v2 write protocol"),
        (Reply(401, "unauthorized access"), False, "wants a token: name one by [mirror] token_file or token_env"),
        (Reply(403), False, "the token may not write into bucket cellar of home: give it that right"),
        (Reply(404, "no"), False, "there is no bucket cellar of home, or no server of this kind at the url"),
        (Reply(429, "busy"), False, "is there and busy (429, 'busy')"),
        (Reply(503), False, "is there and busy (503)"),
        (Reply(NETWORK, "no connection: refused"), False, "Does the server run, and are host and port"),
        (Reply(NETWORK, "no answer in time"), False, "Is the server at http://127.0.0.1:8086 well? It has 5 s"),
        (Reply(NETWORK, "certificate verify failed"), False, "Look at [mirror] ca_file"),
    ],
)
def test_each_reply_says_what_to_do(reply: Reply, ok: bool, text: str) -> None:
    check = judge(reply, settings(URL))
    assert check.ok is ok
    assert text in check.text


@pytest.mark.parametrize("key", ["token_file", "token_env"])
def test_a_token_that_is_not_known_is_told_by_where_it_stands(key: str) -> None:
    check = judge(Reply(401), settings(URL, **{key: "x"}))
    assert f"does not know the token of [mirror] {key}" in check.text


def test_it_asks_for_the_bucket_with_the_token_and_writes_nothing(influx: InfluxServer, tmp_path: Path) -> None:
    def judge(request: Request) -> Says:
        assert all(line.startswith("#") for line in request.lines)
        return Says(403) if request.token == "Token right" and request.query["bucket"] == "cellar" else Says(401)

    influx.judge = judge
    check = check_mirror(settings(influx.url, token_env="T"), {"T": "right"}, tmp_path)
    assert "may not write into bucket cellar" in check.text
    assert "does not know the token" in check_mirror(settings(influx.url, token_env="T"), {"T": "x"}, tmp_path).text
    assert influx.points == {}


def test_a_token_that_is_not_there_asks_nobody(influx: InfluxServer, tmp_path: Path) -> None:
    check = check_mirror(settings(influx.url, token_file="token"), {}, tmp_path)
    assert (check.ok, "token_file" in check.text, influx.requests) == (False, True, [])


def test_nobody_there(tmp_path: Path) -> None:
    check = check_mirror(settings(f"http://127.0.0.1:{free_port()}"), {}, tmp_path)
    assert not check.ok
    assert check.text.startswith("no connection: ")
    assert check.text.endswith("Does the server run, and are host and port in [mirror] url right?")


def test_a_server_that_hangs(influx: InfluxServer, tmp_path: Path) -> None:
    influx.script = [Says(hang=True)]
    check = check_mirror(settings(influx.url, timeout_s=0.2), {}, tmp_path)
    assert not check.ok
    assert check.text.startswith("no answer in time. Is the server")


def test_a_certificate_that_nobody_vouches_for(influx: InfluxServer, tmp_path: Path) -> None:
    context, _ = self_made_certificate(tmp_path)
    influx.stop()
    influx.start(context)
    url = influx.url.replace("http:", "https:")
    untrusted = check_mirror(settings(url), {}, tmp_path)
    assert not untrusted.ok
    assert "Look at [mirror] ca_file" in untrusted.text
    assert check_mirror(settings(url, ca_file="certificate.pem"), {}, tmp_path).ok
    other_name = check_mirror(settings(url.replace("127.0.0.1", "localhost"), ca_file="certificate.pem"), {}, tmp_path)
    assert "at the name in the url" in other_name.text


def test_a_real_server_takes_the_question_and_keeps_nothing(tmp_path: Path) -> None:
    with Victoria(tmp_path / "victoria") as victoria:
        check = check_mirror(settings(victoria.url), {}, tmp_path)
        assert check == MirrorCheck(True, "would take what we send into bucket cellar; nothing was written")
        assert victoria.names() == []
