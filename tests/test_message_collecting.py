"""What is held back goes out together: the mails of a night, and the digest of a day."""

from __future__ import annotations

from pathlib import Path

import pytest
from cellar_text import KEG, MQTT, limit, mail, probe, site
from turning_bench import Bench

from alerts.message import Collector, Outbox
from alerts.message.outbox import Delivered
from ingest.errors import StoreError
from ingest.store.alarms.messages import MessageRow, recent_messages

KINDS = ("a", "b", "c", "d", "e")
HOUR_S = 3600.0


class Day(Bench):
    """K1 with five probes of its temperature, each with a limit above 20 °C; it is 16:13 at the beginning."""

    def __init__(self, folder: Path, hours: str) -> None:
        self.sent: list[MessageRow] = []
        probes = "".join(
            probe(id=name, quantity="temperature", mounted="wall", topic=f"k1/{name}", unit="degC", every="1 d")
            + limit(
                id=f"{name}-warm",
                probe=name,
                at="K1",
                quantity="temperature",
                high="20 °C",
                on_delay="0 s",
                off_delay="0 s",
                hours=hours,
                priority="low",
            )
            for name in KINDS
        )
        text = site(name="Mill Lane", waking="07:00-22:00") + MQTT + KEG + probes + mail(to=["ana@cellar.example"])
        super().__init__(folder, text)

    def reads(self, celsius: float, *names: str) -> None:
        """Readings of these probes, and a turn."""
        for name in names:
            self.appender.append([(self.series[name], self.now.utc_ms, celsius, 0)])
        self.turn()

    def wait_until(self, second: float) -> None:
        """Turns and the outbox every five minutes."""
        outbox = Outbox(self.store, self._deliver, lambda: 0.5, Collector(self.store, "Mill Lane").collect)
        while self.second < second:
            self.ingest_lives()
            self.turn(300.0)
            outbox.work(self.now.utc_ms)

    def _deliver(self, message: MessageRow, now_ms: int) -> Delivered:
        self.sent.append(message)
        return Delivered()

    @property
    def about_warmth(self) -> list[str]:
        return [row.subject for row in self.sent if "temperature" in row.subject and "no data" not in row.subject]


def test_mails_that_waited_for_the_morning_become_one_if_they_are_more_than_three(tmp_path: Path) -> None:
    day = Day(tmp_path, "waking")
    day.wait_until(7 * HOUR_S)  # 23:13
    for name in KINDS[:4]:
        day.reads(21.0, name)
        day.second += 300
    day.reads(19.0, "a")
    assert day.about_warmth == []
    day.wait_until(15.5 * HOUR_S)
    assert day.about_warmth == ["3 ALARMS of LOW PRIORITY and 1 ALL-CLEAR at Mill Lane: K1 temperature 21.0 °C…"]
    body = next(row.body for row in day.sent if "ALARMS" in row.subject)
    assert body.startswith("3 alarms of low priority and 1 all-clear at Mill Lane outside of waking hours:\n  LOW PRIO")
    assert body.count("LOW PRIORITY: K1 temperature 21.0 °C, above 20 °C") == 3 + 3
    assert "CAME AND WENT: K1 temperature 21.0 °C, above 20 °C" in body
    assert {row.state for row in recent_messages(day.store, 100)} == {"sent", "cancelled"}


def test_three_of_them_stay_apart(tmp_path: Path) -> None:
    day = Day(tmp_path, "waking")
    day.wait_until(7 * HOUR_S)
    day.reads(21.0, *KINDS[:3])
    day.wait_until(15.5 * HOUR_S)
    assert day.about_warmth == ["LOW PRIORITY: K1 temperature 21.0 °C, above 20 °C"] * 3


def test_a_chatter_that_is_over_by_the_morning_is_no_alarm(tmp_path: Path) -> None:
    day = Day(tmp_path, "waking")
    day.wait_until(7 * HOUR_S)
    for _ in range(5):
        day.reads(21.0, "a")
        day.second += 60
        day.reads(19.0, "a")
        day.second += 60
    day.wait_until(15.5 * HOUR_S)
    assert day.about_warmth == ["CAME AND WENT: K1 temperature, again and again above 20 °C"]
    body = next(row.body for row in day.sent if "again and again" in row.subject)
    assert "K1: temperature has raised this alarm 5 times since" in body
    assert body.count("Last readings:") == 1


def test_a_digest_collects_a_day_and_says_in_a_line_what_is_over(tmp_path: Path) -> None:
    day = Day(tmp_path, "digest")
    day.reads(21.0, "a", "b")
    day.wait_until(3 * HOUR_S)
    day.reads(22.5, "c")
    day.reads(19.0, "b")
    day.wait_until(14.5 * HOUR_S)
    assert day.about_warmth == [], "not before the morning"
    day.wait_until(15 * HOUR_S)
    assert day.about_warmth == ["DIGEST of Mill Lane, 2 things to look at and 1 over: K1 temperature 21.0 °C, …"]
    body = next(row.body for row in day.sent if row.subject.startswith("DIGEST"))
    assert body.startswith("Nothing urgent at Mill Lane: 2 things to look at and 1 over.\n")
    over = body.partition("Over since:\n")[2]
    assert over.startswith("  K1: temperature has returned to normal: 19.0 °C. It was above 20 °C for 3 h")
    assert len(over.splitlines()) == 1
    assert body.count("What to do:") == 2
    # The next day: what was in the digest is over; a day without anything sends nothing.
    day.reads(19.0, "a", "c")
    day.wait_until(39.5 * HOUR_S)
    assert day.about_warmth[1:] == ["DIGEST of Mill Lane, 2 over: K1 temperature 21.0 °C, above 20 °C"]
    day.wait_until(64 * HOUR_S)
    assert len(day.about_warmth) == 2


def test_a_restart_before_the_morning_loses_nothing(tmp_path: Path) -> None:
    day = Day(tmp_path, "digest")
    day.reads(21.0, "a")
    day.restart()
    day.reads(21.0, "b")
    day.wait_until(15 * HOUR_S)
    assert day.about_warmth[0].startswith("DIGEST of Mill Lane, 2 things to look at")


def test_what_cannot_be_put_together_goes_out_by_itself(tmp_path: Path) -> None:
    day = Day(tmp_path, "digest")
    day.reads(21.0, "a", "b")
    day.second += 15 * HOUR_S

    def fails(now_ms: int) -> None:
        raise StoreError("the disk is full")

    assert Outbox(day.store, day._deliver, lambda: 0.5, fails).work(day.now.utc_ms) >= 2
    assert day.about_warmth == ["LOW PRIORITY: K1 temperature 21.0 °C, above 20 °C"] * 2


@pytest.mark.parametrize("count", [1, 4])
def test_what_was_tried_already_is_left_as_it_is(tmp_path: Path, count: int) -> None:
    day = Day(tmp_path, "digest")
    day.reads(21.0, *KINDS[:count])
    with day.store.write() as connection:
        connection.execute("UPDATE message SET attempts = 1")
    day.second += 15 * HOUR_S
    Collector(day.store, "Mill Lane").collect(day.now.utc_ms)
    assert not [row for row in recent_messages(day.store) if row.occasion == "digest"]
