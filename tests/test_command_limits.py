"""`leeside limits`: what is watched, and the message that a limit would send."""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from a_cellar_on_disk import CellarOnDisk
from cellar_text import (
    CARBOY,
    KEG,
    MQTT,
    PROBE,
    SITE,
    TEMPERATURE,
    cylinder,
    keg,
    limit,
    mail,
    room,
    write_cellar,
)
from mail_server import Inbox, mail_server
from running import leeside
from test_cellar_people import person

from alerts.watch.alarm_table import State
from ingest.cellar import load_cellar
from ingest.simulation.loopback import free_port
from ingest.store import create_or_open, open_existing
from ingest.store.alarms.alarm_record import alarm_rows, transitions
from ingest.store.alarms.messages import recent_messages

WARM = limit(at="K1", quantity="temperature", high="20 °C", on_delay="0 s", hours="waking")


def cellar_file(folder: Path, *, mail_port: int | None = 1) -> Path:
    letters = "" if mail_port is None else mail(mail_port, to=["ana@cellar.example", "ben@cellar.example"])
    return write_cellar(folder, SITE, MQTT, KEG, CARBOY, PROBE, TEMPERATURE, WARM, letters)


def test_every_limit_is_listed_under_its_place_also_before_the_first_run(tmp_path: Path) -> None:
    result = leeside("limits", cellar_file(tmp_path))
    assert (result.returncode, result.stderr) == (0, "")
    keys = ("K1/pressure/air", "K1/pressure/no-data", "K1/pressure/bad-measurement", "K1/temperature/high")
    places = result.stdout.split("\n\n")
    keg = next(place for place in places if place.startswith("K1 (keg)"))
    assert all(key in keg for key in keys)
    assert places[-1].startswith("leeside\n")
    assert "leeside/ingest" in places[-1]
    assert not (tmp_path / "cellar.db").exists()


def test_where_limits_stand_comes_from_the_store(tmp_path: Path) -> None:
    CellarOnDisk(tmp_path).alarm(state=State.ACKNOWLEDGED, acknowledged_by="ben")
    write_cellar(tmp_path, CellarOnDisk(tmp_path).cellar.text)
    result = leeside("limits", tmp_path / "cellar.toml", "--json")
    by_key = {entry["limit"]: entry for entry in json.loads(result.stdout)["limits"]}
    assert by_key["K1/pressure/low"]["state"] == "acknowledged"
    assert by_key["K1/pressure/over"]["state"] is None
    assert "seen by ben" in leeside("limits", tmp_path / "cellar.toml", "pressure/low").stdout


def test_limits_of_one_place_or_with_a_text_in_their_key(tmp_path: Path) -> None:
    file = cellar_file(tmp_path)
    for text in ("K1", "Temperature"):
        listed = json.loads(leeside("limits", file, text, "--json").stdout)["limits"]
        assert listed
        assert all(entry["at"] == text or text.lower() in entry["limit"].lower() for entry in listed)
    nothing = leeside("limits", file, "K7")
    assert nothing.returncode == 1
    assert "No limit has 'K7' in its place or key" in nothing.stdout


def test_a_trial_shows_the_message_and_when_it_would_be_sent(tmp_path: Path) -> None:
    result = leeside("limits", cellar_file(tmp_path), "--try", "K1/pressure/air", "--value", "4 kPa")
    assert (result.returncode, result.stderr) == (0, "")
    assert result.stdout.startswith("4.0 kPa is beyond the limit K1/pressure/air: it alarms below 5 kPa.\n")
    assert "the alarm would be raised after 1 min, at " in result.stdout
    assert "The mail to ana@cellar.example, ben@cellar.example would go out then.\n" in result.stdout
    assert "\nSubject: HIGH PRIORITY: K1 pressure 4.0 kPa, below 5 kPa\n" in result.stdout
    assert "K1: pressure is 4.0 kPa, below the limit of 5 kPa." in result.stdout


def test_a_trial_says_what_would_hold_the_message_up(tmp_path: Path) -> None:
    on_disk = CellarOnDisk(tmp_path)
    on_disk.alarm("K1/pressure/low", state=State.SUPPRESSED)
    file = write_cellar(tmp_path, on_disk.cellar.text)
    muted = leeside("limits", file, "--try", "K1/pressure/low", "--value", "4 kPa").stdout
    assert "The limit is muted now (suppressed by design), so no message would be sent until that ends." in muted
    assert "No message would be sent: the cellar file has no [[person]] and no [mail] to." in muted
    care = leeside("limits", cellar_file(tmp_path), "--try", "K1/pressure/care", "--value", "4 kPa").stdout
    assert "At this value K1/pressure/air alarms as well, and mutes this one" in care


def test_a_trial_says_who_would_get_what_by_which_channel(tmp_path: Path) -> None:
    """As long as nobody is away, and with a helper who stands in."""
    port, inbox = free_port(), Inbox()
    people = (
        person("ana", '{ mail = "ana@cellar.example" }'),
        person("bo", '{ mail = "bo@cellar.example" }', priorities=[]),
        person("cy", '{ mail = "cy@cellar.example" }', after="30 min"),
        person("di", '{ mail = "di@cellar.example" }', priorities=["low"]),
    )
    rooms = (room(volume="5 m3"), keg(room="cellar"), cylinder(room="cellar"))
    file = write_cellar(tmp_path, SITE, MQTT, *rooms, PROBE, mail(port, to=None), *people)
    create_or_open(load_cellar(file).store_path, 0).close()
    usual = (
        "The mail to ana@cellar.example would go out then.\n"
        "If nobody has acknowledged it after 30 min, a mail to cy@cellar.example would go out too.\n"
        "No mail to bo@cellar.example, di@cellar.example: they get no alarms of high priority.\n"
    )
    trial = ("limits", file, "--try", "K1/pressure/air", "--value", "4 kPa")
    assert usual in leeside(*trial).stdout
    week = f"{datetime.now(ZoneInfo('Europe/Ljubljana')) + timedelta(days=7):%Y-%m-%d}"
    assert leeside("away", file, "--until", week, "--helper", "bo").returncode == 0
    tried = leeside(*trial).stdout
    meanwhile, _, after = tried.partition("\nOnce the absence is over:\n")
    assert "\nAway until " in meanwhile
    assert "The mail to bo@cellar.example would go out then, with what a helper can safely do.\n" in meanwhile
    assert "If nobody has acknowledged it after 1 h, a mail to ana@cellar.example would go out too.\n" in meanwhile
    assert "If nobody has acknowledged it after 30 min, a mail to cy@cellar.example would go out too.\n" in meanwhile
    assert "The mail to ana@cellar.example would wait for the end of the absence, until " in meanwhile
    assert "No mail to di@cellar.example: they get no alarms of high priority.\n" in meanwhile
    assert after.startswith(usual)
    helper, others = after.split("To everybody else:")
    assert "To bo, who stands in:\n\nSubject: HIGH PRIORITY: K1 pressure 4.0 kPa, below 5 kPa\n" in helper
    assert "What to do:  Only if a meter for oxygen shows that the air in the room is safe: Open door" in helper
    assert "Last readings:" in others
    with mail_server(inbox, port):
        assert leeside(*trial, "--send").returncode == 0
    assert len(inbox.mails) == len(people), "the trial is of the channels, so it goes to everybody"


def test_a_trial_of_silence_takes_a_span_of_time(tmp_path: Path) -> None:
    result = leeside("limits", cellar_file(tmp_path), "--try", "leeside/ingest", "--value", "5 min")
    assert result.returncode == 0
    assert "\nSubject: HIGH PRIORITY: leeside ingest, not responding for 1 min\n" in result.stdout


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("K1/pressure/air", "4 °C", '"°C" is a unit of temperature, not of pressure'),
        ("K1/pressure/air", "4", "the unit is missing"),
        ("K1/pressure/air", "4 kPa absolute", "this is absolute pressure"),
        ("K1/pressure/over", "2000 kPa", "marked as bad and never judged: allowed is -100 to 1000 kPa"),
        ("K1/pressure/no-data", "4 kPa", "is a unit of pressure, not of time"),
        ("K1/pressure/no-data", "-5 min", "allowed is a time from 0 to 3650 d"),
        ("leeside/ingest", "1e12 d", "allowed is a time from 0 to 3650 d"),
        ("K1/pressure/aire", "4 kPa", "there is no limit 'K1/pressure/aire'; did you mean K1/pressure/air"),
    ],
)
def test_a_trial_with_what_cannot_be_is_refused(key: str, value: str, words: str, tmp_path: Path) -> None:
    result = leeside("limits", cellar_file(tmp_path), "--try", key, "--value", value)
    assert result.returncode == 2
    assert words in result.stderr
    assert result.stdout == ""


@pytest.mark.parametrize("value", ["5 kPa", "30 kPa"])
def test_a_value_that_is_not_beyond_the_limit_has_no_message(value: str, tmp_path: Path) -> None:
    result = leeside("limits", cellar_file(tmp_path), "--try", "K1/pressure/air", "--value", value)
    assert (result.returncode, result.stdout) == (1, "")
    assert "no message would be sent; the limit alarms below 5 kPa. Give a value beyond that." in result.stderr


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--value", "4 kPa"], "only with --try"),
        (["--send"], "only with --try"),
        (["--try", "K1/pressure/air"], "say what is measured"),
        (["--try", "K1/pressure/air", "--value", "4 kPa", "--json"], "not with --try"),
        (["--try", "K1/pressure/air", "--value", "4 kPa", "--send", "--who", "A\nB"], "must be one line"),
    ],
)
def test_options_that_do_not_go_together(options: list[str], words: str, tmp_path: Path) -> None:
    result = leeside("limits", cellar_file(tmp_path), *options)
    assert result.returncode == 2
    assert words in result.stderr


def test_a_trial_that_is_sent_arrives_marked_and_leaves_no_trace_in_the_store(tmp_path: Path) -> None:
    port, inbox = free_port(), Inbox()
    on_disk = CellarOnDisk(tmp_path, more=mail(port, to=["ana@cellar.example", "ben@cellar.example"]))
    on_disk.reading("k1-pressure", 55.0, seconds_ago=60.0)
    file = write_cellar(tmp_path, on_disk.cellar.text)
    trial = ("limits", file, "--try", "K1/pressure/low", "--value", "4 kPa", "--send", "--who", "Ana")
    with mail_server(inbox, port):
        result = leeside(*trial)
    assert result.returncode == 0, result.stdout
    assert f"Sent to ben@cellar.example: mail server 127.0.0.1 port {port} has taken it." in result.stdout
    assert inbox.recipients == [["ana@cellar.example"], ["ben@cellar.example"]]
    mail_to_ana = inbox.mails[0]
    assert mail_to_ana["Subject"] == "TRIAL: HIGH PRIORITY: K1 pressure 4.0 kPa, below 5 kPa"
    text = mail_to_ana.get_content()
    assert text.startswith("THIS IS A TRIAL, sent by Ana with `leeside limits --try`. No alarm was raised")
    assert "  55.0 kPa" in text, "the readings that the store has"
    assert "Subject: TRIAL: HIGH" in result.stdout
    with open_existing(tmp_path / "cellar.db") as store:
        assert (alarm_rows(store), transitions(store), recent_messages(store)) == ([], [], [])


def test_a_trial_that_the_server_refuses_says_why(tmp_path: Path) -> None:
    port, inbox = free_port(), Inbox(rcpt_answer="550 no such mailbox")
    file = cellar_file(tmp_path, mail_port=port)
    with mail_server(inbox, port):
        result = leeside("limits", file, "--try", "K1/pressure/air", "--value", "4 kPa", "--send")
    assert result.returncode == 1
    assert f"NOT sent to ana@cellar.example: mail server 127.0.0.1 port {port} does not take mail" in result.stdout
    assert "550 no such mailbox" in result.stdout
    unmailed = leeside(
        "limits", cellar_file(tmp_path, mail_port=None), "--try", "K1/pressure/air", "--value", "4 kPa", "--send"
    )
    assert unmailed.returncode == 1
    assert "Nothing was sent: the cellar file has no [[person]] and no [mail] to." in unmailed.stderr


def test_a_limit_on_wine_is_listed_where_wine_may_lie_also_before_the_first_run(tmp_path: Path) -> None:
    cold = limit(lot="any", quantity="temperature", low="8 °C")
    file = write_cellar(tmp_path, SITE, MQTT, KEG, CARBOY, PROBE, TEMPERATURE, cold)
    (listed,) = json.loads(leeside("limits", file, "lot any", "--json").stdout)["limits"]
    assert (listed["limit"], listed["at"], listed["lot"]) == ("lot any/temperature/low/K1", "K1", "any")


def test_a_rate_is_tried_with_a_change(tmp_path: Path) -> None:
    file = cellar_file(tmp_path)
    tried = leeside("limits", file, "--try", "K1/temperature/change", "--value", "10.8 °F")
    assert tried.returncode == 0
    assert "it alarms when it changes by more than 5 °C in 1 h." in tried.stdout
    assert "Subject: LOW PRIORITY: K1 temperature change 6.0 °C, above 5 °C in 1 h" in tried.stdout
    within = leeside("limits", file, "--try", "K1/temperature/change", "--value", "4 °C")
    assert within.returncode == 1
    falling = leeside("limits", file, "--try", "K1/temperature/change", "--value", "-6 K").stdout
    assert "K1: temperature is falling quickly, by 6.0 °C in 1 h. The limit is 5 °C in 1 h." in falling
    assert "would wait for the digest, until " in falling
    file.write_text(file.read_text() + '\n[digest]\nevery = "week"\nat = "03:33"\n')
    weekly = leeside("limits", file, "--try", "K1/temperature/change", "--value", "-6 K").stdout
    assert re.search(r"would wait for the digest, until .*03:33", weekly)


@pytest.mark.parametrize("key", ["leeside/broker", "K1/pressure/bad-measurement"])
def test_silence_of_one_thing_does_not_say_that_another_is_silent_too(key: str, tmp_path: Path) -> None:
    tried = leeside("limits", cellar_file(tmp_path), "--try", key, "--value", "20 min")
    assert tried.returncode == 0
    assert "alarms as well" not in tried.stdout


def test_a_trial_names_the_wine_and_since_when_work_is_due(tmp_path: Path) -> None:
    file = write_cellar(tmp_path, CellarOnDisk(tmp_path).cellar.text)
    for entry in (
        ("lot", "--lot", "a1", "--name", "A", "--style", "red"),
        ("first-filling", "--vessel", "K1", "--lot", "a1"),
    ):
        written = leeside("enter", entry[0], file, *entry[1:], "--at", "2026-01-01")
        assert written.returncode == 0, written.stderr
    assert "\nWine:        a1\n" in leeside("limits", file, "--try", "K1/pressure/low", "--value", "4 kPa").stdout
    due = leeside("limits", file, "--try", "a1/titration", "--value", "41 d").stdout
    assert due.startswith("41 d is beyond the limit a1/titration: it alarms after 31 d.\n")
    ten_days_ago = datetime.now(ZoneInfo("Europe/Ljubljana")) - timedelta(days=10)
    assert f"\nSince:       {ten_days_ago:%Y-%m-%d} " in due
