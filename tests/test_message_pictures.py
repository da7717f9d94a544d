"""Pictures in mails: what they show, that no message waits long for one, and that any mail reader can read the mail."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from email import message_from_bytes, policy
from email.message import EmailMessage
from functools import partial
from pathlib import Path
from threading import Event
from typing import Any, Final

import pytest
from a_mill_lane import MillLaneOnDisk
from cellar_text import KEG, MQTT, mail, probe, site, temperature
from eventually import eventually
from hypothesis import given
from hypothesis import strategies as st
from mail_server import STORED, Inbox, mail_server, route
from test_cellar_people import person
from turning_bench import EPOCH_MS, LOW, MAIL, Bench

from alerts.errors import PictureFailed
from alerts.message import AlarmPictures, MailChannel, draw_alarm
from alerts.message.alarm_chart import alarm_chart
from alerts.message.alarm_pictures import LATE_AGAIN_MS, WAIT_MS
from alerts.message.mail import build_mail
from alerts.message.outbox import Delivered
from ingest.simulation.loopback import free_port
from ingest.store.alarms.absences import begin_absence
from ingest.store.alarms.alarm_record import key_of_occurrence
from ingest.store.alarms.messages import MessageRow, recent_messages

ZONE: Final = timezone(timedelta(hours=1))
SENT_AT: Final = datetime(2026, 11, 25, 9, 30, tzinfo=ZONE)
PICTURE: Final = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20
DAY_MS: Final = 86_400_000
PSI: Final = 6.894757


def parsed(body: str = STORED.body, **changes: Any) -> EmailMessage:
    wire = build_mail(STORED._replace(body=body, **changes), route(), SENT_AT, PICTURE).as_bytes()
    mail = message_from_bytes(wire, policy=policy.default)
    assert isinstance(mail, EmailMessage)
    return mail


def test_the_plain_text_comes_first_and_is_complete() -> None:
    mail = parsed()
    assert mail.get_content_type() == "multipart/alternative"
    plain, rich = mail.iter_parts()
    assert plain.get_content_type() == "text/plain"
    assert plain.get_content().replace("\r\n", "\n") == STORED.body
    assert rich.get_content_type() == "multipart/related"


def test_the_picture_lies_in_the_mail_and_is_named_by_its_content_id() -> None:
    page, picture = next(part for part in parsed().iter_parts() if part.is_multipart()).iter_parts()
    assert page.get_content_type() == "text/html"
    assert picture.get_content_type() == "image/png"
    assert picture.get_content() == PICTURE
    assert picture.get_content_disposition() == "inline"
    (named,) = re.findall(r'src="cid:([^"]+)"', page.get_content())
    assert picture["Content-ID"] == f"<{named}>"
    assert "http" not in page.get_content(), "nothing is fetched from anywhere"


@given(st.text(max_size=3000), st.text(max_size=200))
def test_no_text_becomes_markup_and_no_line_is_too_long(body: str, subject: str) -> None:
    """RFC 5322 section 2.1.1: at most 998 characters in a line, and better 78."""
    wire = build_mail(STORED._replace(body=body, subject=subject), route(), SENT_AT, PICTURE).as_bytes()
    lines = wire.split(b"\r\n")
    assert max(map(len, lines)) <= 78
    mail = message_from_bytes(wire, policy=policy.default)
    assert isinstance(mail, EmailMessage)
    page = mail.get_body(("html",))
    assert isinstance(page, EmailMessage)
    inside = page.get_content().partition("<pre")[2].partition(">")[2].partition("</pre>")[0]
    assert "<" not in re.sub(r'<a href="(https://[^"<>]+)">\1</a>', "", inside)
    assert not mail.defects


def test_the_pages_address_is_a_link() -> None:
    body = "K1: low\nPage:        https://cellar.example/vessel/K1\nnote: see https://elsewhere.example/<b>\n"
    page = parsed(body).get_body(("html",))
    assert isinstance(page, EmailMessage)
    assert page.get_content().count("<a href=") == 1
    assert '<a href="https://cellar.example/vessel/K1">' in page.get_content()


def test_a_message_without_a_picture_is_plain_text_alone() -> None:
    assert build_mail(STORED, route(), SENT_AT).get_content_type() == "text/plain"


@dataclass
class Studio:
    """Draws when it is allowed to. now_ms: the clock; asked: what was to be drawn; as_of: as of which times."""

    may_draw: Event = field(default_factory=Event)
    now_ms: int = EPOCH_MS
    asked: list[str] = field(default_factory=list)
    as_of: list[int] = field(default_factory=list)
    fails: bool = False

    def draw(self, occurrence: str, now_ms: int) -> bytes | None:
        self.asked.append(occurrence)
        self.as_of.append(now_ms)
        assert self.may_draw.wait(30)
        if self.fails:
            raise PictureFailed("the picture was not drawn within 20 s")
        return PICTURE

    @property
    def pictures(self) -> AlarmPictures:
        return AlarmPictures(self.draw, lambda: self.now_ms)


MESSAGE: Final = STORED._replace(created_ms=EPOCH_MS, not_before_ms=EPOCH_MS)


@pytest.fixture
def studio() -> Iterator[Studio]:
    studio = Studio()
    yield studio
    studio.may_draw.set()


def test_a_picture_in_time_goes_with_its_message_and_is_drawn_once_for_all(studio: Studio) -> None:
    studio.may_draw.set()
    pictures = studio.pictures
    assert pictures.of(MESSAGE) == PICTURE
    assert pictures.of(MESSAGE._replace(id=2, recipient="ben@cellar.example")) == PICTURE
    assert studio.asked == ["7f3k"]
    assert not list(pictures.late())


def test_what_waited_for_days_shows_the_day_before_it_was_written(studio: Studio) -> None:
    studio.may_draw.set()
    pictures = studio.pictures
    studio.now_ms += 10 * DAY_MS
    held = MESSAGE._replace(not_before_ms=studio.now_ms)
    assert pictures.of(held) == PICTURE
    assert pictures.of(held._replace(id=2, created_ms=studio.now_ms - 8 * 3_600_000)) == PICTURE
    assert studio.as_of == [held.created_ms, studio.now_ms]


def test_a_later_message_about_the_same_alarm_gets_a_picture_of_its_own(studio: Studio) -> None:
    studio.may_draw.set()
    pictures = studio.pictures
    assert pictures.of(MESSAGE) == PICTURE
    studio.now_ms += 3_600_000
    reminder = MESSAGE._replace(id=2, occasion="reminder", created_ms=studio.now_ms, not_before_ms=studio.now_ms)
    assert pictures.of(reminder) == PICTURE
    assert len(studio.asked) == 2


def test_what_waited_already_does_not_wait_for_its_picture(studio: Studio) -> None:
    """The wait counts from when the message was due, so messages one behind the other do not add up."""
    studio.now_ms += WAIT_MS
    assert studio.pictures.of(MESSAGE) is None


def test_a_late_picture_follows_once(studio: Studio) -> None:
    studio.now_ms += WAIT_MS
    pictures = studio.pictures
    assert pictures.of(MESSAGE) is None
    assert not list(pictures.late())
    studio.may_draw.set()
    late: list[tuple[MessageRow, bytes]] = []

    def came() -> bool:
        late.extend(pictures.late())
        return bool(late)

    eventually(came)
    assert late == [(MESSAGE, PICTURE)]
    assert not list(pictures.late())


@pytest.mark.parametrize(("occasion", "follows"), [("passed on", True), ("reminder", False), ("returned", False)])
def test_a_late_picture_follows_whoever_hears_of_the_alarm_for_the_first_time(
    studio: Studio, occasion: str, follows: bool
) -> None:
    studio.now_ms += WAIT_MS
    pictures = studio.pictures
    passed_on = MESSAGE._replace(occasion=occasion)
    assert pictures.of(passed_on) is None
    studio.may_draw.set()
    eventually(lambda: pictures.of(passed_on._replace(id=2, attempts=1)) == PICTURE)
    assert list(pictures.late()) == ([(passed_on, PICTURE)] if follows else [])


def test_late_pictures_of_many_alarms_do_not_double_the_mails(studio: Studio) -> None:
    studio.now_ms += WAIT_MS
    pictures = studio.pictures
    others = [MESSAGE._replace(id=number, occurrence=f"a{number}") for number in range(5)]
    assert pictures.of(others[0]) is None
    eventually(lambda: studio.asked == ["a0"])
    assert [pictures.of(message) for message in others[1:]] == [None] * 4
    studio.may_draw.set()
    eventually(lambda: pictures.of(others[4]) == PICTURE)
    assert len(list(pictures.late())) == 1
    assert studio.asked == ["a0", "a4"], "those in between are not drawn: nobody waits for them any more"
    studio.now_ms += LATE_AGAIN_MS
    assert not list(pictures.late()), "an old picture is not worth a mail"


def test_a_picture_that_fails_costs_its_message_nothing(studio: Studio) -> None:
    studio.fails = True
    studio.may_draw.set()
    pictures = studio.pictures
    assert pictures.of(MESSAGE) is None
    assert not list(pictures.late())


@pytest.mark.parametrize("change", [{"occurrence": None}, {"occurrence": "a b"}, {"occasion": "digest"}])
def test_what_is_about_no_single_alarm_has_no_picture(studio: Studio, change: dict[str, Any]) -> None:
    assert studio.pictures.of(MESSAGE._replace(**change)) is None
    assert not studio.asked


def test_a_late_picture_is_an_answer_to_its_message(studio: Studio) -> None:
    studio.now_ms += WAIT_MS
    inbox, port, pictures = Inbox(), free_port(), studio.pictures
    channel = MailChannel(route(port), lambda: None, ZONE, pictures=pictures)
    with mail_server(inbox, port):
        assert channel.deliver(MESSAGE, EPOCH_MS) == Delivered()
        studio.may_draw.set()

        def came() -> bool:
            channel.send_late_pictures(EPOCH_MS)
            return len(inbox.late_pictures) == 1

        eventually(came)
    (text,), (picture,) = inbox.mails, inbox.late_pictures
    assert text.get_content_type() == "text/plain"
    assert picture["References"] == picture["In-Reply-To"] == text["Message-ID"]
    assert picture["Subject"] == "PICTURE: K1 temperature 21.4 °C, above 20 °C"
    assert picture["Message-ID"] != text["Message-ID"]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    text = site() + MQTT + KEG + probe(topic="cellar/K1/pressure", unit="psi") + temperature() + LOW + MAIL
    bench = Bench(tmp_path, text)
    yield bench
    bench.store.close()


def raise_alarm(bench: Bench) -> str:
    """A day of 8 psi, then a fall below the limit; returns the occurrence."""
    bench.second = 2 * 86_400.0
    for minute in range(24 * 60, 0, -1):
        bench.reading(8.0, ago_s=60.0 * minute)
    for _ in range(30):
        bench.second += 1
        bench.reading(0.4)
        bench.turner.turn(bench.now)
    message = recent_messages(bench.store)[0]
    assert message.occurrence
    return message.occurrence


def test_the_chart_shows_the_last_day_in_the_unit_of_the_limit_with_the_limit(bench: Bench) -> None:
    occurrence = raise_alarm(bench)
    chart = alarm_chart(bench.cellar, bench.store, occurrence, bench.now.utc_ms)
    assert chart is not None
    (pane,) = chart.panes
    (line,) = pane.lines
    (limit,) = pane.limits
    assert (chart.until_ms - chart.from_ms, pane.title) == (DAY_MS, "Pressure, kPa")
    assert (limit.value, limit.side, limit.label) == (5.0, "low", "low limit 5 kPa")
    shown = [value for value in line.values if value is not None]
    assert (round(max(shown), 2), round(min(shown), 2)) == (round(8 * PSI, 2), round(0.4 * PSI, 2))
    assert len(line.at_ms) >= 24 * 60 - 1
    assert [(mark.kind, mark.label, mark.until_ms) for mark in chart.marks] == [("alarm", "alarm raised", None)]


def test_a_picture_is_drawn_of_a_real_alarm(bench: Bench) -> None:
    occurrence = raise_alarm(bench)
    drawn = draw_alarm(bench.cellar, occurrence, bench.now.utc_ms)
    assert drawn is not None
    assert drawn.startswith(b"\x89PNG")
    assert len(drawn) < 60_000, "small enough for a phone on a slow network"


@pytest.mark.parametrize("away", [False, True])
def test_an_alarm_that_is_passed_on_arrives_with_the_picture_of_its_last_day(tmp_path: Path, away: bool) -> None:
    """To a second person; to the owner, who is away, when the helper does not acknowledge it."""
    port, inbox = free_port(), Inbox()
    to_bo = '{ mail = "bo@cellar.example" }'
    bo = person("bo", to_bo, priorities=[]) if away else person("bo", to_bo, after="30 min")
    text = site() + MQTT + KEG + probe(topic="cellar/K1/pressure", unit="psi", every="1 h") + temperature() + LOW
    bench = Bench(tmp_path, text + mail(port, to=["ana@cellar.example"]) + bo)
    if away:
        begin_absence(bench.store, "bo", "Ana", bench.now.utc_ms, bench.now.utc_ms + 9 * DAY_MS)
    raise_alarm(bench)
    bench.send()
    for _ in range(61):
        bench.reading(0.4)
        bench.turn(60.0)
    pictures = AlarmPictures(partial(draw_alarm, bench.cellar), lambda: bench.now.utc_ms)
    channel = MailChannel(route(port), lambda: None, ZONE, pictures=pictures)
    to = "ana@cellar.example" if away else "bo@cellar.example"
    (passed_on,) = [
        row
        for row in recent_messages(bench.store, 100)
        if (row.occasion, row.recipient) == ("passed on", to) and "K1 pressure" in row.subject
    ]
    # The clock of the bench stands still, so a message that finds its picture unfinished may ask again.
    eventually(lambda: pictures.of(passed_on))
    with mail_server(inbox, port):
        assert channel.deliver(passed_on, bench.now.utc_ms) == Delivered()
    bench.store.close()
    (arrived,) = inbox.mails
    assert arrived["To"] == to
    assert "for 1 h: " in arrived["Subject"] or "for 30 min: " in arrived["Subject"]
    (shown,) = [part for part in arrived.walk() if part.get_content_type() == "image/png"]
    assert shown.get_content() == pictures.of(passed_on)


def test_there_is_no_chart_of_what_never_was(bench: Bench) -> None:
    assert alarm_chart(bench.cellar, bench.store, "7f3k", bench.now.utc_ms) is None


def test_of_gas_the_pressure_is_shown_and_of_sulfur_dioxide_two_months(tmp_path: Path) -> None:
    mill = MillLaneOnDisk(tmp_path, days=1, cadence_s=300)
    charts = {}
    for message in recent_messages(mill.store, 100):
        key = key_of_occurrence(mill.store, message.occurrence or "")
        charts[key] = alarm_chart(mill.cellar, mill.store, message.occurrence or "", mill.now_ms)
    mill.store.close()
    gas, wine = charts["K2/hours_to_air_floor/soon"], charts["K1/molecular_so2/low"]
    assert gas is not None
    assert wine is not None
    assert gas.title == "K2: pressure, the last 24 hours"
    assert [line.style for line in gas.panes[0].lines] == ["raw", "compensated"]
    assert [limit.label for limit in gas.panes[0].limits] == ["low limit 5 kPa"]
    assert wine.title == "K1: molecular SO2 (simple), the last 60 days"
    assert {mark.label for mark in wine.marks if mark.kind == "entry"} >= {"titration"}
    assert charts["rebula-26/re-test"] is None, "of work that is due there is nothing to see"
