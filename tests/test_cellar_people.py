"""People and channels of the cellar file: what is refused, and who gets messages on which channel."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cellar_text import BASE, KEG, MQTT, SITE, cellar, probe, problems, table

from ingest.cellar import Recipient
from ingest.cellar.connections import is_mail_address
from ingest.errors import IngestError

MAIL = table("[mail]", **{"host": "127.0.0.1", "from": "leeside@cellar.example"})


def person(id: str = "ana", channels: str = '{ mail = "ana@cellar.example" }', **keys: object) -> str:
    return table("[[person]]", id=id, **keys) + f"channels = {channels}\n"


def channel(id: str = "hook", **keys: object) -> str:
    usual = {"kind": "webhook", "url": "https://hooks.example/leeside", "secret_env": "HOOK"}
    return table("[[channel]]", **{"id": id, **usual, **keys})


PUSH = table("[[channel]]", id="push", kind="apprise", url_env="PUSH")


def test_everybody_is_listed_on_each_channel_and_mail_to_comes_first() -> None:
    text = MAIL + 'to = ["cellar@x.example"]\n'
    people = person(channels='{ push = "ana-phone", mail = "ana@cellar.example" }', waking="06:00-23:00") + person(
        "ben", '{ mail = "ben@x.example" }', after="30 min", woken_by=["high"]
    )
    read = cellar(BASE, text, people, PUSH).recipients
    assert [(each.name, each.person, each.channel, each.address, each.after_s) for each in read] == [
        ("cellar@x.example", "cellar@x.example", "mail", "cellar@x.example", None),
        ("ana by push", "ana", "push", "ana-phone", None),
        ("ana@cellar.example", "ana", "mail", "ana@cellar.example", None),
        ("ben@x.example", "ben", "mail", "ben@x.example", 1800.0),
    ]
    assert [each.waking[0].hour for each in read] == [7, 6, 6, 7]
    assert read[3].priorities == {"high"}, "a second person gets high alarms unless the file says more"
    assert read[3].woken_by == {"high"}


def test_a_second_person_may_get_more() -> None:
    ben = person("ben", '{ mail = "ben@x.example" }', after="1 h", priorities=["high", "medium"])
    read: Recipient = cellar(BASE, MAIL, person(), ben).recipients[1]
    assert read.priorities == {"high", "medium"}


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        pytest.param(
            person(channels='{ pusch = "x" }'),
            '[[person]] ana channels = {...}: pusch: there is no channel with this id; did you mean "push"?',
            id="unknown channel",
        ),
        pytest.param(
            person(channels="{}"),
            "[[person]] ana channels = {...}: channels with the address on each, such as "
            '{ mail = "ana@cellar.example", push = "ana-phone" }; a channel that needs no address has ""',
            id="no channel",
        ),
        pytest.param(
            table("[[person]]", id="ana"),
            "[[person]] ana channels: is missing: channels with the address on each, such as "
            '{ mail = "ana@cellar.example" }',
            id="channels missing",
        ),
        pytest.param(
            person(channels='{ mail = "ana" }'),
            "[[person]] ana channels = {...}: mail: its address must be one mail address alone, such as "
            '"ana@cellar.example"',
            id="no mail address",
        ),
        pytest.param(
            person(woken_by=["medium"], waking="07:00-22:00"),
            '[[person]] ana woken_by = ["medium"]: from 22:00 to 07:00 an alarm of high priority would wake nobody; '
            'add "high" to woken_by of at least one person, or let their waking hours cover the day',
            id="hours that wake nobody",
        ),
        pytest.param(
            person(woken_by=[], waking="22:00-07:00")
            + person("ben", '{ mail = "b@x.example" }', woken_by=[], waking="07:00-21:59"),
            "[[person]] ana woken_by = []: from 21:59 to 22:00 an alarm of high priority would wake nobody; "
            'add "high" to woken_by of at least one person, or let their waking hours cover the day',
            id="a minute that wakes nobody",
        ),
        pytest.param(
            person(after="30 min"),
            '[[person]] ana after = "30 min": somebody must get alarms at once; leave it out for one person, or name '
            "somebody in [mail] to",
            id="only second persons",
        ),
        pytest.param(
            person(priorities=["low"]),
            '[[person]] ana priorities = ["low"]: an alarm of high priority reaches nobody at once; add "high" for one',
            id="high alarms reach nobody",
        ),
        pytest.param(
            person() + person("ben"),
            "[[person]] ben channels = {...}: mail: [[person]] ana has this address too, and would get each message "
            "twice",
            id="one address twice",
        ),
        pytest.param(
            person(woken_by="high"),
            '[[person]] ana woken_by = "high": a list of priorities, such as ["high", "medium"]',
            id="no list",
        ),
        pytest.param(
            person() + person("Ana", '{ push = "x" }'),
            '[[person]] Ana id = "Ana": is taken by [[person]] ana; ids of people must differ in more than upper and '
            "lower case",
            id="one id twice",
        ),
        pytest.param(
            person() + table("[[channel]]", id="lamp", kind="mqtt", topic="cellar/alarm").replace("lamp", "mail"),
            '[[channel]] mail id = "mail": this id stands for the server of [mail]; choose another one',
            id="a channel called mail",
        ),
        pytest.param(
            person(channels='{ lamp = "" }') + table("[[channel]]", id="lamp", kind="mqtt", topic="cellar/alarm"),
            "[[person]] ana channels = {...}: lamp: a channel of kind mqtt shows the alarms to a lamp or a siren, and "
            "is nobody's; leave it out",
            id="a lamp for a person",
        ),
        pytest.param(
            person() + channel(url="http://hooks.example/x"),
            '[[channel]] hook url = "http://hooks.example/...": messages would cross the network in the clear, where '
            "anybody can read them; use https://, an address of a private network, or write allow_http = true if that "
            "is meant",
            id="webhook in the clear",
        ),
        pytest.param(
            person() + channel(secret_env=None),
            "[[channel]] hook secret_env: is missing: an environment variable that holds the secret that messages are "
            "signed with; or a file that does, with secret_file",
            id="webhook without a secret",
        ),
        pytest.param(
            person() + channel(secret="geheim-geheim-geheim"),
            "[[channel]] hook secret: a secret does not belong in the cellar file; name an environment variable with "
            "secret_env, or a file that only leeside can read with secret_file",
            id="the secret in the file",
        ),
        pytest.param(
            person() + table("[[channel]]", id="tg", kind="apprise", url="tgram://123:geheim/7"),
            '[[channel]] tg url = "tgram://...": http:// or https:// and a host, such as '
            '"https://hooks.example/leeside"',
            id="an apprise URL in the file",
        ),
        pytest.param(
            person() + channel(topic="a/b"),
            '[[channel]] hook topic = "a/b": is not used by a channel of kind "webhook"; its keys: url, secret_env, '
            "secret_file, ca_file, allow_http, timeout",
            id="a key of another kind",
        ),
        pytest.param(
            person() + table("[[channel]]", id="lamp", kind="mqtt", topic="cellar/#"),
            '[[channel]] lamp topic = "cellar/#": a topic without "+" and "#" and without "/" at its end, such as '
            '"cellar/alarm"',
            id="a topic with a wildcard",
        ),
    ],
)
def test_what_cannot_work_is_refused_with_the_reason(text: str, problem: str) -> None:
    listed = problems(BASE, MAIL, text, PUSH)
    assert problem in listed
    assert not any("geheim" in each for each in listed)


@pytest.mark.parametrize(
    "address",
    [
        "a,b@x.example",
        "a;b@x.example",
        "a:b@x.example",
        "a@b@x.example",
        "a@x..example",
        ".a@x.example",
        "a.@x.example",
        "Ana<ana@x.example>",
        "<ana@x.example>",
        '"ana"@x.example',
        "(ana)ana@x.example",
        "ana@-x.example",
        "ana@[x.example]",
        "ana@",
        "@x.example",
        f"{'a' * 250}@x.example",
    ],
)
def test_what_is_not_one_mail_address_would_go_to_somebody_else_and_is_refused(address: str) -> None:
    (listed,) = problems(BASE, MAIL, person(channels=f"{{ mail = {json.dumps(address)} }}"))
    assert 'mail: its address must be one mail address alone, such as "ana@cellar.example"' in listed
    assert not is_mail_address(address)


@pytest.mark.parametrize(
    "address", ["a.b+c@x.example", "a_b-c@x-y.example", "ana@localhost", "ana@[127.0.0.1]", "ana@[IPv6:::1]", "ž@č.si"]
)
def test_usual_mail_addresses_are_taken(address: str) -> None:
    assert is_mail_address(address)


def test_topics_that_leeside_publishes_on_are_read_by_no_probe_and_used_once() -> None:
    lamp = table("[[channel]]", id="lamp", kind="mqtt", topic="cellar/K1")
    heart = table("[heartbeat]", topic="cellar/K1/high")
    read = probe(topic="cellar/K1/high", unit="kPa")
    assert problems(SITE, MQTT, KEG, read, lamp) == [
        '[[channel]] lamp topic = "cellar/K1": [[probe]] k1-pressure reads cellar/K1/high, where the alarms would be '
        "shown; choose another one"
    ]
    assert problems(SITE, MQTT, KEG, read, heart) == [
        '[heartbeat] topic = "cellar/K1/high": [[probe]] k1-pressure reads it; choose another one'
    ]
    assert problems(SITE, MQTT, KEG, lamp, heart) == [
        '[heartbeat] topic = "cellar/K1/high": [[channel]] lamp shows the alarms on it; choose another one'
    ]
    (long,) = problems(SITE, MQTT, KEG, table("[heartbeat]", topic="x" * 1001))
    assert long.endswith("a topic of at most 1000 characters")


def test_mail_without_anybody_is_refused() -> None:
    assert problems(BASE, MAIL) == [
        "[mail] to: is missing: a list of addresses that get messages, or a table [[person]]"
    ]


def test_a_private_webhook_may_be_http_and_a_public_one_if_it_is_meant() -> None:
    for url in ("http://192.168.1.7:8123/x", "http://localhost/x", "http://[fd00::1]/x"):
        assert cellar(BASE, MAIL, person(), channel(url=url)).channel[0].url == url
    assert cellar(BASE, MAIL, person(), channel(url="http://hooks.example/x", allow_http=True)).channel[0].allow_http


def test_secrets_come_from_outside_and_an_unknown_placeholder_is_refused(tmp_path: Path) -> None:
    (push,) = cellar(BASE, MAIL, person(), PUSH).channel
    assert push.apprise_url({"PUSH": "json://127.0.0.1/{address}"}, tmp_path) == "json://127.0.0.1/{address}"
    with pytest.raises(IngestError, match=r"its url has \{person\}, which leeside does not know; allowed: \{address\}"):
        push.apprise_url({"PUSH": "json://geheim/{person}"}, tmp_path)
    with pytest.raises(IngestError, match="the environment has no PUSH"):
        push.apprise_url({}, tmp_path)
    (hook,) = cellar(BASE, MAIL, person(), channel()).channel
    with pytest.raises(IngestError, match="its secret must have at least 16 characters"):
        hook.secret({"HOOK": "short"}, tmp_path)


@pytest.mark.parametrize(
    ("url", "problem"),
    [
        ("cellar.example", 'https:// and the name under which people reach the page, such as "https://cellar.example"'),
        (
            "https://cellar.example/leeside",
            "no path, since the page needs a host name of its own; allowed: https:// and the name under which people "
            'reach the page, such as "https://cellar.example"',
        ),
        (
            "http://cellar.example",
            "a link that acknowledges an alarm must not cross the network in the clear; allowed: https:// and the name "
            'under which people reach the page, such as "https://cellar.example"',
        ),
    ],
)
def test_the_page_has_a_public_address_that_can_be_trusted(url: str, problem: str) -> None:
    assert problems(BASE, f'[page]\nurl = "{url}"\n') == [f'[page] url = "{url}": {problem}']
    page = cellar(BASE, '[page]\nurl = "https://cellar.example:8443/"\npassword_hash_env = "X"\n').page
    assert page is not None
    assert page.url == "https://cellar.example:8443"
