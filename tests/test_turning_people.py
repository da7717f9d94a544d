"""Turns and people: who gets an alarm on which channel and when, and what a channel that fails causes."""

from __future__ import annotations

from pathlib import Path

from cellar_text import KEG, MQTT, mail, probe, site, table
from turning_bench import LOW, Bench

from ingest.store.alarms.absences import begin_absence
from ingest.store.alarms.messages import MessageRow, mark_failed, recent_messages
from ingest.store.alarms.operator_events import append_event

MINUTE = 60.0
# The first second of the bench is 2026-09-21, 16:13 in Ljubljana.
HOUR = 3600.0
PUSH = table("[[channel]]", id="push", kind="apprise", url_env="PUSH")
HOOK = table("[[channel]]", id="hook", kind="webhook", url="https://hooks.example/x", secret_env="HOOK")
MEDIUM = LOW.replace('priority = "high"', 'priority = "medium"')


def person(id: str, channels: str, **keys: object) -> str:
    return table("[[person]]", id=id, **keys) + f"channels = {channels}\n"


def bench_of(folder: Path, *pieces: str, low: str = LOW) -> Bench:
    watched = site(waking="07:00-22:00") + MQTT + KEG + probe(topic="cellar/K1/pressure", unit="psi", every="1 h")
    return Bench(folder, watched + low + mail(to=None) + "".join(pieces))


def breach(bench: Bench, psi: float = 0.1) -> None:
    """The pressure is lost (or what else is read), for long enough."""
    bench.reading(psi)
    bench.turn()
    bench.turn(20.0)


def rows(bench: Bench, word: str = "K1 pressure") -> list[MessageRow]:
    return [row for row in recent_messages(bench.store, 200)[::-1] if word in row.subject]


def test_an_alarm_goes_out_on_each_channel_of_each_person_in_a_thread_of_its_own(tmp_path: Path) -> None:
    ana = person("ana", '{ mail = "ana@x.example", push = "ana-phone" }')
    bench = bench_of(tmp_path, ana, person("ben", '{ hook = "" }'), PUSH, HOOK)
    breach(bench)
    raised = rows(bench)
    assert [(row.recipient, row.channel) for row in raised] == [
        ("ana@x.example", "mail"),
        ("ana by push", "push"),
        ("ben by hook", "hook"),
    ]
    bench.send()
    breach(bench, 20.0)
    returned = rows(bench)[3:]
    assert [row.thread_id for row in returned] == [row.message_id for row in raised]
    assert len({row.message_id for row in [*raised, *returned]}) == 6


def test_what_does_not_wake_a_person_waits_for_their_own_hours(tmp_path: Path) -> None:
    ana = person("ana", '{ mail = "ana@x.example" }')
    ben = person("ben", '{ mail = "ben@x.example" }', woken_by=["high"], waking="08:00-23:00")
    low = MEDIUM.replace("[[limit]]", '[[limit]]\nhours = "any"')
    bench = bench_of(tmp_path, ana, ben, low=low)
    bench.second = 7 * HOUR  # 23:13
    bench.restart()
    breach(bench)
    by_person = {row.recipient: row for row in rows(bench)}
    assert by_person["ana@x.example"].hold == ""
    assert by_person["ben@x.example"].hold == "waking"
    assert by_person["ben@x.example"].not_before_ms - bench.now.utc_ms > 8 * HOUR * 1000


def test_priorities_leave_out_what_a_person_is_not_to_get(tmp_path: Path) -> None:
    bench = bench_of(
        tmp_path,
        person("ana", '{ mail = "ana@x.example" }'),
        person("ben", '{ mail = "ben@x.example" }', priorities=["high"]),
        low=MEDIUM,
    )
    breach(bench)
    bench.send()
    breach(bench, 20.0)
    assert {row.recipient for row in rows(bench)} == {"ana@x.example"}


def test_a_channel_that_fails_is_an_alarm_over_the_others(tmp_path: Path) -> None:
    bench = bench_of(tmp_path, person("ana", '{ mail = "ana@x.example", push = "" }'), PUSH)
    bench.ingest_lives()
    breach(bench)
    (push,) = [row for row in rows(bench) if row.channel == "push"]
    with bench.store.write() as connection:
        connection.execute("UPDATE message SET state = 'sent' WHERE channel = 'mail'")
        connection.execute("UPDATE message SET attempts = 1 WHERE channel = 'push'")
    mark_failed(bench.store, push.id, "channel push: no", bench.now.utc_ms + 60_000)
    for _ in range(45):
        bench.ingest_lives()
        bench.turn(15.0)
    (alarm,) = rows(bench, "channel push")
    assert alarm.channel == "mail"
    assert alarm.subject == "HIGH PRIORITY: leeside channel push, failing for 10 min"
    assert "messages have not got out by channel push for more than 10 min" in alarm.body
    with bench.store.write() as connection:
        connection.execute("UPDATE message SET state = 'sent', last_error = NULL")
    for _ in range(4):
        bench.ingest_lives()
        bench.turn(15.0)
    assert [row.occasion for row in rows(bench, "channel push")] == ["raised", "returned"]


def test_with_a_single_channel_there_is_no_alarm_about_it(tmp_path: Path) -> None:
    bench = bench_of(tmp_path, person("ana", '{ mail = "ana@x.example" }'))
    assert not any("channel" in row[0] for row in bench.store.connection.execute("SELECT key FROM alarm"))


def test_a_lamp_that_stays_dark_is_an_alarm(tmp_path: Path) -> None:
    lamp = table("[[channel]]", id="lamp", kind="mqtt", topic="cellar/alarm")
    bench = bench_of(tmp_path, person("ana", '{ mail = "ana@x.example" }'), lamp)
    bench.lamps = {"lamp": "Nothing listens at 127.0.0.1:1883"}
    bench.restart()
    for _ in range(45):
        bench.ingest_lives()
        bench.turn(15.0)
    (alarm,) = rows(bench, "channel lamp")
    assert alarm.occasion == "raised"


# ---- nobody acknowledges -----------------------------------------------------------------------------------------


ANA = person("ana", '{ mail = "ana@x.example" }')


def wait(bench: Bench, seconds: float, psi: float = 0.1, step_s: float = MINUTE) -> None:
    """Time passes, with a reading and a turn after each step."""
    for _ in range(round(seconds / step_s)):
        bench.reading(psi)
        bench.turn(step_s)
        bench.send()


def acknowledge(bench: Bench, occurrence: str | None) -> None:
    assert occurrence
    append_event(bench.store, "acknowledge", occurrence, "ana", "", bench.now.utc_ms)
    bench.turn()


def leads(bench: Bench, recipient: str) -> list[str]:
    return [row.subject.partition(":")[0] for row in rows(bench) if row.recipient == recipient]


def test_reminders_of_a_high_alarm_grow_rarer_and_stay_in_its_thread(tmp_path: Path) -> None:
    bench = bench_of(tmp_path, ANA)
    breach(bench)
    wait(bench, 50 * HOUR, step_s=5 * MINUTE)
    assert leads(bench, "ana@x.example") == [
        "HIGH PRIORITY",
        "HIGH PRIORITY for 15 min",
        "HIGH PRIORITY for 1 h",
        "HIGH PRIORITY for 4 h",
        "HIGH PRIORITY for 12 h",
        "HIGH PRIORITY for 1 d",
        "HIGH PRIORITY for 2 d",
    ]
    raised, *reminders = rows(bench)
    assert {row.thread_id for row in reminders} == {raised.message_id}
    assert {row.subject.partition(": ")[2] for row in reminders} == {raised.subject.partition(": ")[2]}
    first = reminders[0].body
    assert first.startswith(
        "Nobody has acknowledged this alarm for 15 min. The next reminder comes in 45 min, if that stays so.\n\n"
    )
    assert "What to do:" in first
    assert "leeside acknowledge" in first


def test_a_restart_reminds_neither_twice_nor_never(tmp_path: Path) -> None:
    bench = bench_of(tmp_path, ANA)
    breach(bench)
    for _ in range(20):
        wait(bench, 5 * MINUTE)
        bench.restart()
    assert leads(bench, "ana@x.example") == ["HIGH PRIORITY", "HIGH PRIORITY for 15 min", "HIGH PRIORITY for 1 h"]


def test_who_acknowledges_ends_the_reminders(tmp_path: Path) -> None:
    bench = bench_of(tmp_path, ANA, person("ben", '{ mail = "ben@x.example" }', after="30 min"))
    breach(bench)
    bench.send()
    acknowledge(bench, rows(bench)[0].occurrence)
    wait(bench, 5 * HOUR, step_s=5 * MINUTE)
    assert leads(bench, "ana@x.example") == ["HIGH PRIORITY"]
    assert leads(bench, "ben@x.example") == []


def test_a_medium_alarm_is_not_reminded_of(tmp_path: Path) -> None:
    bench = bench_of(tmp_path, ANA, low=MEDIUM)
    breach(bench)
    wait(bench, 5 * HOUR, step_s=5 * MINUTE)
    assert len(rows(bench)) == 1


def test_a_second_person_gets_it_later_and_hears_that_it_is_over(tmp_path: Path) -> None:
    ben = person("ben", '{ mail = "ben@x.example", push = "ben" }', after="30 min")
    bench = bench_of(tmp_path, ANA, ben, PUSH)
    breach(bench)
    wait(bench, 29 * MINUTE)
    assert leads(bench, "ben@x.example") == []
    wait(bench, 40 * MINUTE)
    assert leads(bench, "ben@x.example") == ["HIGH PRIORITY for 30 min", "HIGH PRIORITY for 1 h"]
    passed_on = next(row for row in rows(bench) if row.recipient == "ben@x.example")
    assert passed_on.body.startswith("Nobody has acknowledged this alarm for 30 min, so it is sent to you as well.\n\n")
    assert passed_on.thread_id is None
    wait(bench, 2 * MINUTE, psi=8.0)
    for name in ("ana@x.example", "ben@x.example", "ben by push"):
        assert leads(bench, name)[-1].startswith("BACK TO NORMAL"), name
    returned = [row for row in rows(bench) if row.recipient == "ben@x.example"][-1]
    assert returned.thread_id == passed_on.message_id


def test_a_second_person_who_sleeps_gets_it_in_the_morning_if_it_still_stands(tmp_path: Path) -> None:
    ben = person("ben", '{ mail = "ben@x.example" }', after="30 min", woken_by=[])
    bench = bench_of(tmp_path, ANA, ben)
    bench.second = 7 * HOUR  # 23:13
    bench.restart()
    breach(bench)
    wait(bench, 5 * HOUR, step_s=5 * MINUTE)
    waiting = [(row.occasion, row.hold) for row in rows(bench) if row.recipient == "ben@x.example"]
    assert waiting.count(("passed on", "waking")) == 1
    acknowledge(bench, rows(bench)[0].occurrence)
    wait(bench, 5 * HOUR, step_s=5 * MINUTE)
    assert {row.state for row in rows(bench) if row.recipient == "ben@x.example"} == {"cancelled"}


def test_of_reminders_that_waited_only_the_last_goes_out(tmp_path: Path) -> None:
    ben = person("ben", '{ mail = "ben@x.example" }', woken_by=["medium"], waking="07:00-22:00")
    bench = bench_of(tmp_path, ANA, ben)
    bench.second = 5 * HOUR + 40 * MINUTE  # 21:53
    bench.restart()
    breach(bench)
    wait(bench, 10 * HOUR, step_s=5 * MINUTE)
    sent = [row for row in rows(bench) if row.recipient == "ben@x.example" and row.state == "sent"]
    assert [row.subject.partition(":")[0] for row in sent] == ["HIGH PRIORITY", "HIGH PRIORITY for 4 h"]


def test_while_the_owner_is_away_the_helper_is_reminded_and_after_an_hour_the_owner_too(tmp_path: Path) -> None:
    carl = person("carl", '{ mail = "carl@x.example" }', after="30 min")
    bench = bench_of(tmp_path, ANA, person("ben", '{ mail = "ben@x.example" }'), carl)
    begin_absence(bench.store, "ben", "ana", bench.now.utc_ms, bench.now.utc_ms + 14 * 86_400_000)
    breach(bench)
    wait(bench, 50 * MINUTE)
    assert [row.hold for row in rows(bench) if row.recipient == "ana@x.example"] == ["away"]
    assert leads(bench, "carl@x.example") == ["HIGH PRIORITY for 30 min"]
    wait(bench, 20 * MINUTE)
    assert leads(bench, "ben@x.example") == ["HIGH PRIORITY", "HIGH PRIORITY for 15 min", "HIGH PRIORITY for 1 h"]
    passed_on = [row for row in rows(bench) if row.recipient == "ana@x.example" and not row.hold]
    assert [row.occasion for row in passed_on] == ["passed on"]


def test_an_address_that_is_corrected_or_new_hears_of_an_urgent_alarm_that_stands(tmp_path: Path) -> None:
    bench = bench_of(tmp_path, person("ana", '{ mail = "anna@x.example" }'))
    breach(bench)
    wait(bench, 5 * MINUTE)
    bench.restart(bench.cellar.text.replace("anna@x.example", "ana@x.example"))
    wait(bench, 5 * MINUTE)
    assert leads(bench, "ana@x.example") == []
    wait(bench, 53 * MINUTE)
    assert leads(bench, "ana@x.example") == ["HIGH PRIORITY for 15 min", "HIGH PRIORITY for 1 h"]
    bench.restart(bench.cellar.text.replace("ana@x.example", "ana@y.example"))
    wait(bench, 20 * MINUTE)
    (lead,) = leads(bench, "ana@y.example")
    assert lead.startswith("HIGH PRIORITY for 1 h "), "and no reminder of the hour that is past"


def test_a_helper_hears_of_an_urgent_alarm_that_stood_before_the_owner_left(tmp_path: Path) -> None:
    bench = bench_of(tmp_path, ANA, person("ben", '{ mail = "ben@x.example" }', priorities=[]))
    breach(bench)
    wait(bench, 30 * MINUTE)
    begin_absence(bench.store, "ben", "ana", bench.now.utc_ms, bench.now.utc_ms + 14 * 86_400_000)
    wait(bench, 2 * MINUTE)
    (told,) = [row for row in rows(bench) if row.recipient == "ben@x.example"]
    assert told.subject.startswith("HIGH PRIORITY for 31 min: ")
    assert "The owner is away. Do nothing that is not written here." in told.body


def test_when_the_absence_is_over_what_waited_for_the_owner_goes_out_and_nothing_beside_it(tmp_path: Path) -> None:
    bench = bench_of(tmp_path, ANA, person("ben", '{ mail = "ben@x.example" }', priorities=[]))
    begin_absence(bench.store, "ben", "ana", bench.now.utc_ms, bench.now.utc_ms + round(40 * MINUTE * 1000))
    breach(bench)
    wait(bench, 50 * MINUTE)
    told = [(row.occasion, row.hold, row.state) for row in rows(bench) if row.recipient == "ana@x.example"]
    assert told == [("raised", "away", "sent")]


def test_a_helper_who_is_no_longer_in_the_cellar_file_holds_up_no_message(tmp_path: Path) -> None:
    bench = bench_of(tmp_path, ANA)
    begin_absence(bench.store, "ben", "ana", bench.now.utc_ms, bench.now.utc_ms + 14 * 86_400_000)
    breach(bench)
    assert [(row.recipient, row.hold) for row in rows(bench)] == [("ana@x.example", "")]


def test_whoever_alone_gets_urgent_alarms_gets_them_also_as_the_helper(tmp_path: Path) -> None:
    """The owner has left the cellar file since the absence began."""
    bench = bench_of(tmp_path, ANA, person("ben", '{ mail = "ben@x.example" }', priorities=["low"]))
    begin_absence(bench.store, "ana", "ana", bench.now.utc_ms, bench.now.utc_ms + 14 * 86_400_000)
    breach(bench)
    (raised,) = rows(bench)
    assert (raised.recipient, raised.hold) == ("ana@x.example", "")
    assert "leeside acknowledge" in raised.body


def test_an_alarm_that_chatters_is_passed_on_although_it_is_raised_anew_each_time(tmp_path: Path) -> None:
    bench = bench_of(tmp_path, ANA, person("ben", '{ mail = "ben@x.example" }', after="30 min"))
    for _ in range(16):
        breach(bench)
        bench.send()
        wait(bench, 2 * MINUTE)
        breach(bench, 20.0)
        bench.send()
    assert leads(bench, "ben@x.example")[:1] == ["HIGH PRIORITY for 30 min"]
