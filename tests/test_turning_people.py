"""Turns and people: who gets an alarm on which channel and when, and what a channel that fails causes."""

from __future__ import annotations

from pathlib import Path

from cellar_text import KEG, MQTT, mail, probe, site, table
from turning_bench import LOW, Bench

from ingest.store.alarms.messages import MessageRow, mark_failed, recent_messages

MINUTE = 60.0
# The first second of the bench is 2026-09-21, 16:13 in Ljubljana.
HOUR = 3600.0
PUSH = table("[[channel]]", id="push", kind="apprise", url_env="PUSH")
HOOK = table("[[channel]]", id="hook", kind="webhook", url="https://hooks.example/x", secret_env="HOOK")
MEDIUM = LOW.replace('priority = "high"', 'priority = "medium"')


def person(id: str, channels: str, **keys: object) -> str:
    return table("[[person]]", id=id, **keys) + f"channels = {channels}\n"


def bench(folder: Path, *pieces: str, low: str = LOW) -> Bench:
    watched = site(waking="07:00-22:00") + MQTT + KEG + probe(topic="cellar/K1/pressure", unit="psi", every="1 h")
    return Bench(folder, watched + low + mail(to=None) + "".join(pieces))


def breach(made: Bench, psi: float = 0.1) -> None:
    """The pressure is lost (or what else is read), for long enough."""
    made.reading(psi)
    made.turn()
    made.turn(20.0)


def rows(made: Bench, word: str = "K1 pressure") -> list[MessageRow]:
    return [row for row in recent_messages(made.store, 200)[::-1] if word in row.subject]


def test_an_alarm_goes_out_on_each_channel_of_each_person_in_a_thread_of_its_own(tmp_path: Path) -> None:
    ana = person("ana", '{ mail = "ana@x.example", push = "ana-phone" }')
    made = bench(tmp_path, ana, person("ben", '{ hook = "" }'), PUSH, HOOK)
    breach(made)
    raised = rows(made)
    assert [(row.recipient, row.channel) for row in raised] == [
        ("ana@x.example", "mail"),
        ("ana by push", "push"),
        ("ben by hook", "hook"),
    ]
    made.send()
    breach(made, 20.0)
    returned = rows(made)[3:]
    assert [row.thread_id for row in returned] == [row.message_id for row in raised]
    assert len({row.message_id for row in [*raised, *returned]}) == 6


def test_what_does_not_wake_a_person_waits_for_their_own_hours(tmp_path: Path) -> None:
    ana = person("ana", '{ mail = "ana@x.example" }')
    ben = person("ben", '{ mail = "ben@x.example" }', woken_by=["high"], waking="08:00-23:00")
    low = MEDIUM.replace("[[limit]]", '[[limit]]\nhours = "any"')
    made = bench(tmp_path, ana, ben, low=low)
    made.second = 7 * HOUR  # 23:13
    made.restart()
    breach(made)
    by_person = {row.recipient: row for row in rows(made)}
    assert by_person["ana@x.example"].hold == ""
    assert by_person["ben@x.example"].hold == "waking"
    assert by_person["ben@x.example"].not_before_ms - made.now.utc_ms > 8 * HOUR * 1000


def test_priorities_leave_out_what_a_person_is_not_to_get(tmp_path: Path) -> None:
    made = bench(
        tmp_path,
        person("ana", '{ mail = "ana@x.example" }'),
        person("ben", '{ mail = "ben@x.example" }', priorities=["high"]),
        low=MEDIUM,
    )
    breach(made)
    made.send()
    breach(made, 20.0)
    assert {row.recipient for row in rows(made)} == {"ana@x.example"}


def test_a_channel_that_fails_is_an_alarm_over_the_others(tmp_path: Path) -> None:
    made = bench(tmp_path, person("ana", '{ mail = "ana@x.example", push = "" }'), PUSH)
    made.ingest_lives()
    breach(made)
    (push,) = [row for row in rows(made) if row.channel == "push"]
    with made.store.write() as connection:
        connection.execute("UPDATE message SET state = 'sent' WHERE channel = 'mail'")
        connection.execute("UPDATE message SET attempts = 1 WHERE channel = 'push'")
    mark_failed(made.store, push.id, "channel push: no", made.now.utc_ms + 60_000)
    for _ in range(45):
        made.ingest_lives()
        made.turn(15.0)
    (alarm,) = rows(made, "channel push")
    assert alarm.channel == "mail"
    assert alarm.subject == "HIGH PRIORITY: leeside channel push, failing for 10 min"
    assert "messages have not got out by channel push for more than 10 min" in alarm.body
    with made.store.write() as connection:
        connection.execute("UPDATE message SET state = 'sent', last_error = NULL")
    for _ in range(4):
        made.ingest_lives()
        made.turn(15.0)
    assert [row.occasion for row in rows(made, "channel push")] == ["raised", "returned"]


def test_with_a_single_channel_there_is_no_alarm_about_it(tmp_path: Path) -> None:
    made = bench(tmp_path, person("ana", '{ mail = "ana@x.example" }'))
    assert not any("channel" in row[0] for row in made.store.connection.execute("SELECT key FROM alarm"))


def test_a_lamp_that_stays_dark_is_an_alarm(tmp_path: Path) -> None:
    lamp = table("[[channel]]", id="lamp", kind="mqtt", topic="cellar/alarm")
    made = bench(tmp_path, person("ana", '{ mail = "ana@x.example" }'), lamp)
    made.lamps = {"lamp": "Nothing listens at 127.0.0.1:1883"}
    made.restart()
    for _ in range(45):
        made.ingest_lives()
        made.turn(15.0)
    (alarm,) = rows(made, "channel lamp")
    assert alarm.occasion == "raised"
