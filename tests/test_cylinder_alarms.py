"""A cylinder on its way from stored readings to a mail in time, and back to normal with the next one."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from a_gas_store import BEGIN_MS, DAY_MS, GAUGE, WARMTH, GasStore, gauge_kpa

from alerts.turning.turner import Turner
from alerts.watch.turn_inputs import Now
from ingest.store.alarms.alarm_record import alarm_rows
from ingest.store.alarms.messages import recent_messages

CARE, SOON = "N2/cylinder_days_left/care", "N2/cylinder_days_left/soon"


class Winter:
    """N2 from which 20 L a day are drawn, 470 L at first; it is changed for a full one after 12 days."""

    def __init__(self, folder: Path) -> None:
        self.cellar = GasStore(folder, GAUGE, WARMTH)
        self.cellar.read("n2-pressure", lambda days: gauge_kpa(self.litres(days), 15.0) / 100.0, 13.0)
        self.cellar.read("n2-temperature", lambda _: 15.0, 13.0)
        self.turner = Turner(self.cellar.cellar, self.cellar.store, self.now(8.0))

    @staticmethod
    def litres(days: float) -> float:
        return 470.0 - 20.0 * days if days < 12.0 else 1426.0 - 20.0 * (days - 12.0)

    @staticmethod
    def now(day: float) -> Now:
        return Now(BEGIN_MS + round(day * DAY_MS), 1000.0 + day * 86_400.0, "boot")

    def judged(self, day: float) -> dict[str, str]:
        """Judge and turn after so many days; give the states of the two limits."""
        self.cellar.keep_judged(day)
        self.turner.turn(self.now(day))
        rows = {row.key: row.state for row in alarm_rows(self.cellar.store)}
        return {key: rows.get(key, "normal") for key in (CARE, SOON)}

    def mails(self) -> list[tuple[str, str]]:
        rows = recent_messages(self.cellar.store, 50)
        return [(row.subject, row.body) for row in rows if "N2 cylinder" in row.subject]


@pytest.fixture
def winter(tmp_path: Path) -> Iterator[Winter]:
    made = Winter(tmp_path)
    yield made
    made.cellar.store.close()


def test_it_is_reported_in_time_and_ends_with_the_next_cylinder(winter: Winter) -> None:
    assert winter.judged(8.0) == {CARE: "normal", SOON: "normal"}
    # 250 L are left, of which a reserve takes up to 109 L: about a week, and less to be sure.
    assert winter.judged(11.0) == {CARE: "unacknowledged", SOON: "normal"}
    (subject, body) = winter.mails()[0]
    assert subject.startswith("MEDIUM PRIORITY: N2 cylinder lasts at least")
    assert "Use:         19 to 21 L a day" in body
    assert "Content:     250 ± " in body
    assert "to a reserve of 5 to 10 bar" in body
    # The new one is judged at once; it counts after half an hour.
    assert winter.judged(12.2)[CARE] == "unacknowledged"
    assert winter.judged(12.2 + 11.0 / 1440.0)[CARE] == "unacknowledged"
    assert winter.judged(12.2 + 31.0 / 1440.0)[CARE] == "returned"
    assert any("lasts long enough again" in body for _, body in winter.mails())
