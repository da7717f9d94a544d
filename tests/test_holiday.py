"""Two weeks of a holiday, turn by turn: what the helper gets, and what waits for the owner.

The messages are printed (``pytest -s``), so that a person can read them as helper and owner would.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from cellar_text import MQTT, carboy, keg, limit, mail, probe, room, site, table, temperature
from test_cellar_people import person
from test_view_blanket import a_leak

from alerts.absence.safe_steps import AIRLOCK_STEP, GAUGE_STEP, KEEP_OUT_STEP
from alerts.blanket.details import BlanketShown, blanket_details
from alerts.message.collecting import Collector
from alerts.turning.turner import Turner
from alerts.watch.own_limits import JUDGES
from alerts.watch.turn_inputs import Now
from ingest.cellar import NOT_FORESEEN_H, parse_cellar
from ingest.entering import enter
from ingest.judgement import Judgement
from ingest.probes.binding import declarations
from ingest.pulse import BrokerPulse, IngestPulse, JudgePulse
from ingest.store import create_or_open
from ingest.store.alarms.absences import begin_absence, end_absence
from ingest.store.alarms.messages import MessageRow, due_messages, mark_sent
from ingest.store.alarms.operator_events import append_event
from ingest.store.judgements import keep_judgements
from ingest.store.pulse_rows import write_pulse
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

ZONE = ZoneInfo("Europe/Ljubljana")
STEP_MS = 5 * 60_000
DAY_MS = 288 * STEP_MS
# Monday 12 October 2026, 08:00 in Ljubljana: the clocks change before the holiday is over.
BEGIN = round(datetime(2026, 10, 12, 8, tzinfo=ZONE).timestamp() * 1000)
DAYS = 14
ANA, BO = "ana@cellar.example", "bo@cellar.example"
CELLAR = "\n".join(
    (
        site(waking="07:00-22:00"),
        MQTT,
        mail(to=[ANA]),
        table("[page]", url="https://cellar.example", password_hash_file="page-password"),
        person("bo", f'{{ mail = "{BO}" }}', priorities=[]),
        room(),
        keg("K1", room="cellar"),
        keg("K2", room="cellar"),
        carboy("C1", room="cellar"),
        probe(every="5 min", unit="kPa"),
        probe("k2-pressure", "K2", topic="cellar/K2/pressure", every="5 min", unit="kPa"),
        temperature(every="5 min"),
        limit(at="K1", quantity="temperature", high="24 °C", deadband="1 °C", priority="medium"),
        table("[[limit]]", lot="A1", quantity="free_so2", low="20 mg/L", priority="medium", consequence="It browns.",
              action="Titrate and dose."),
    )
)  # fmt: skip


@dataclass(frozen=True)
class Weather:
    """What the probes and judges say on a day of the holiday, counted from 0."""

    def k1_kpa(self, day: float) -> float:
        """A seal that leaks from the second day on."""
        return max(55.0 - 12.0 * max(day - 2.0, 0.0), 1.0)

    def k2_kpa(self, day: float) -> float:
        """A regulator that creeps on the ninth day, until it has been mended three days later."""
        return 195.0 if 9.0 <= day < 12.0 else 60.0

    def k1_c(self, day: float) -> float:
        """A warm spell."""
        return 26.0 if 7.0 <= day < 8.0 else 14.0

    def k2_sends(self, day: float) -> bool:
        """A plug that comes out for half a day."""
        return not 5.0 <= day < 5.5


class Holiday:
    """Runs the turns of a holiday and keeps who got which message when."""

    def __init__(self, folder: Path) -> None:
        self.cellar = parse_cellar(CELLAR, file="cellar.toml", base=folder)
        self.store = create_or_open(self.cellar.store_path, BEGIN - 40 * DAY_MS)
        self.series = declare(self.store, declarations(self.cellar), BEGIN - DAY_MS)
        self.sent: list[tuple[int, MessageRow]] = []
        self._collector = Collector(self.store, self.cellar.site.name)
        self._append = Appender(self.store).append
        for kind, told in (
            ("lot", {"lot": "A1", "name": "A1", "style": "white"}),
            ("first-filling", {"vessel": "C1", "lot": "A1", "volume": "19 L"}),
            ("titration", {"vessel": "C1", "quantity": "free", "method": "elsewhere", "result": "30 mg/L"}),
        ):
            answers: dict[str, str | bool | list[str]] = {**told}
            at = _text(BEGIN - 29 * DAY_MS)
            enter(self.store, self.cellar, kind, answers, who="Ana", now_ms=BEGIN - DAY_MS, at=at)
        self.at_ms = BEGIN
        self.turner = Turner(
            self.cellar,
            self.store,
            self._now(BEGIN),
            judges=lambda: {name: JudgePulse(last_ms=self.at_ms) for name in JUDGES},
        )

    def go(self, days: float, weather: Weather, from_day: float = 0.0) -> None:
        """Let days pass, five minutes a turn."""
        for step in range(round(from_day * 288), round((from_day + days) * 288)):
            day, at_ms = step / 288, BEGIN + step * STEP_MS
            self.at_ms = at_ms
            rows = [
                (self.series["k1-pressure"], at_ms, weather.k1_kpa(day), 0),
                (self.series["k1-temperature"], at_ms, weather.k1_c(day), 0),
            ]
            if weather.k2_sends(day):
                rows.append((self.series["k2-pressure"], at_ms, weather.k2_kpa(day), 0))
            self._append(rows)
            with self.store.write() as connection:
                write_pulse(connection, IngestPulse(mqtt=BrokerPulse(connected=True)), at_ms, BEGIN)
                keep_judgements(connection, "gas", _gas(day, weather.k1_kpa(day), at_ms))
                free = 30.0 - 1.2 * day
                keep_judgements(connection, "so2", [Judgement("C1", "free_so2", at_ms, free, free - 2, free + 2)])
            self.turner.turn(self._now(at_ms))
            self._send(at_ms)

    def _send(self, at_ms: int) -> None:
        self._collector.collect(at_ms)
        for row in due_messages(self.store, at_ms):
            mark_sent(self.store, row.id, at_ms)
            self.sent.append((at_ms, row))
            if row.recipient == BO and row.occasion == "raised" and row.occurrence and self.acknowledges(row):
                append_event(self.store, "acknowledge", row.occurrence, "bo", "", at_ms)

    def acknowledges(self, row: MessageRow) -> bool:
        """Whether the helper says that they have seen it: of the overpressure they do not, being busy at the door."""
        return not row.subject.startswith("HIGH PRIORITY: K2")

    def home(self, at_ms: int) -> None:
        """End the absence and send what waited for it."""
        end_absence(self.store, at_ms)
        self._send(at_ms)

    def to(self, recipient: str) -> list[MessageRow]:
        """What a person got."""
        return [row for _, row in self.sent if row.recipient == recipient]

    def _now(self, at_ms: int) -> Now:
        return Now(at_ms, 1000.0 + (at_ms - BEGIN) / 1000, "boot")


class Deaf(Holiday):
    """A helper who acknowledges nothing."""

    def acknowledges(self, row: MessageRow) -> bool:
        return False


def _gas(day: float, kpa: float, at_ms: int) -> list[Judgement]:
    if day < 2.5:
        shown = BlanketShown(at_ms=at_ms, finding="sound", gas="nitrogen", raw_kpa=kpa, compensated_kpa=kpa)
        rate, hours = 0.0, NOT_FORESEEN_H
    else:
        hours = max((kpa - 5.0) / 0.5, 0.0)
        shown = a_leak(at_ms=at_ms, raw_kpa=kpa, compensated_kpa=kpa, hours_low=hours, hours_high=hours * 1.3)
        rate = 0.5
    details = blanket_details(shown)
    return [
        Judgement("K1", "compensated_pressure", at_ms, kpa, finding=shown.finding, details=details),
        Judgement("K1", "leak_rate", at_ms, rate, finding=shown.finding),
        Judgement("K1", "hours_to_air_floor", at_ms, hours, finding=shown.finding),
    ]


def _text(at_ms: int) -> str:
    return datetime.fromtimestamp(at_ms / 1000, UTC).isoformat()


def _print(title: str, sent: list[tuple[int, MessageRow]], line: Callable[[str], object] = sys.stdout.write) -> None:
    line(f"\n==== {title}\n")
    for at_ms, row in sent:
        line(f"\n{datetime.fromtimestamp(at_ms / 1000, ZONE):%a %d %b %H:%M}  to {row.recipient}\n")
        line(f"Subject: {row.subject}\n\n{row.body}\n")


@pytest.fixture(scope="module")
def holiday(tmp_path_factory: pytest.TempPathFactory) -> Holiday:
    """The two weeks, with the owner back after them."""
    holiday = Holiday(tmp_path_factory.mktemp("holiday"))
    begin_absence(holiday.store, "bo", "Ana", BEGIN, BEGIN + (DAYS + 7) * DAY_MS)
    holiday.go(DAYS, Weather())
    _print("while the owner is away", holiday.sent)
    away = len(holiday.sent)
    holiday.home(BEGIN + DAYS * DAY_MS)
    _print("when the owner is back", holiday.sent[away:])
    return holiday


def test_the_helper_gets_what_they_can_do_something_about(holiday: Holiday) -> None:
    subjects = "\n".join(row.subject for row in holiday.to(BO))
    for about in ("K1", "K2 pressure", "C1", "temperature"):
        assert about in subjects
    bodies = "\n".join(row.body for row in holiday.to(BO))
    for step in (GAUGE_STEP, KEEP_OUT_STEP, AIRLOCK_STEP):
        assert " ".join(step.split()) in " ".join(bodies.split())


def test_the_helper_can_say_that_they_have_seen_an_alarm(holiday: Holiday) -> None:
    raised = [row for row in holiday.to(BO) if row.occasion == "raised"]
    assert raised
    assert all("I have seen it: https://cellar.example/" in row.body for row in raised)


def test_the_helper_gets_nothing_that_needs_the_owner(holiday: Holiday) -> None:
    for row in holiday.to(BO):
        plain = row.body.lower()
        for word in ("titrat", "dose", "rack ", "charge the vessel", "vent ", "soapy", "leeside acknowledge"):
            assert word not in plain, f"{row.subject}: {word}"
        assert "so2" not in row.subject.lower()
        assert "change" not in row.subject


def test_the_owner_hears_nothing_that_a_helper_can_see_to_until_they_are_back(holiday: Holiday) -> None:
    back_ms = BEGIN + DAYS * DAY_MS
    early = [row for at_ms, row in holiday.sent if row.recipient == ANA and at_ms < back_ms]
    assert {row.subject.partition(": ")[2] for row in early} == {"K2 pressure 195.0 kPa, above 180 kPa"}, (
        "where a helper can only keep out, the owner must know at once"
    )


def test_what_a_helper_does_not_acknowledge_within_an_hour_is_passed_on_to_the_owner(tmp_path: Path) -> None:
    holiday = Deaf(tmp_path)
    begin_absence(holiday.store, "bo", "Ana", BEGIN, BEGIN + 30 * DAY_MS)
    holiday.go(6.5, Weather())
    owner = [(at_ms, row.subject) for at_ms, row in holiday.sent if row.recipient == ANA]
    at_ms, subject = owner[0]
    assert subject == "HIGH PRIORITY for 1 h: K1 loses its blanket, at least 11 hours left"
    raised_ms = next(at_ms for at_ms, row in holiday.sent if row.subject.startswith("HIGH PRIORITY: K1 loses"))
    assert at_ms - raised_ms == 3_600_000


def test_the_helper_is_reminded_of_an_urgent_alarm_ever_more_rarely(holiday: Holiday) -> None:
    reminders = [at_ms for at_ms, row in holiday.sent if row.recipient == BO and " PRIORITY for " in row.subject]
    waits = [later - earlier for earlier, later in pairwise(reminders)]
    assert 3 <= len(reminders) <= 40
    assert max(waits) > 20 * min(wait for wait in waits if wait)


def test_the_owner_learns_on_return_what_happened(holiday: Holiday) -> None:
    back_ms = BEGIN + DAYS * DAY_MS
    late = [row for at_ms, row in holiday.sent if row.recipient == ANA and at_ms >= back_ms]
    assert len(late) <= 3
    text = "\n".join(row.subject + "\n" + row.body for row in late)
    for about in ("K1", "K2 pressure, no data", "free SO2", "titration of lot A1"):
        assert about in text
    assert "while you were away" in text


def test_a_helper_who_got_an_alarm_hears_that_it_is_over(holiday: Holiday) -> None:
    about_k2 = [row.subject for row in holiday.to(BO) if "K2" in row.subject]
    assert any(subject.startswith("BACK TO NORMAL") for subject in about_k2)
