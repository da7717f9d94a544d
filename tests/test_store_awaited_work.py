"""Which work is awaited, from the stored journal: a lot takes along what was done to it; empty vessels need none."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from a_store import NOW
from cellar_text import MQTT, SITE, carboy, cellar, keg, probe, table

from ingest.cellar import NEVER_MEASURED, Cellar
from ingest.journal.awaited_work import AwaitedWork
from ingest.journal.entry import Draft, Entry
from ingest.journal.kinds import parse_body
from ingest.probes.binding import declarations
from ingest.store import Store, create_or_open
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.awaited_work_rows import awaited_work
from ingest.store.journal.entries import strike, write_entry
from ingest.store.readings.series import declare

DAY = 86_400_000
TITRATION: dict[str, Any] = {"quantity": "free", "method": "elsewhere", "so2_mg_l": 30.0, "u_so2_mg_l": 2.0}
DOSE: dict[str, Any] = {"form": "metabisulfite", "salt": "potassium", "mass_g": 0.4, "so2_g": 0.23}
TABLES = (
    SITE,
    MQTT,
    keg("K1"),
    keg("K2"),
    carboy("C1"),
    table("[[vessel]]", id="B1", kind="barrel", capacity="30 L"),
    probe("k1-ph", quantity="pH", unit=None, topic="k1/ph"),
    probe(),
)


class Page:
    """A journal whose entries happen so many days after its beginning."""

    def __init__(self, folder: Path) -> None:
        self.cellar: Cellar = cellar(*TABLES)
        self.store: Store = create_or_open(folder / "cellar.db", NOW)
        keep_cellar_file(self.store, self.cellar.text, NOW)
        declare(self.store, declarations(self.cellar), NOW)

    def write(self, day: float, kind: str, place: str | None = None, lot: str | None = None, **said: Any) -> Entry:
        at_ms = NOW + round(day * DAY)
        draft = Draft(kind, at_ms, "Ana", parse_body(kind, said), place, lot)
        return write_entry(self.store, draft, self.cellar, max(at_ms, NOW + 200 * DAY))

    def fill(self, day: float, place: str, lot: str = "A1", **said: Any) -> None:
        if lot not in self.lots():
            self.write(day, "lot", None, lot, name=lot, style="white")
        self.write(day, "first-filling", place, lot, volume_l=10.0, **said)

    def lots(self) -> set[str]:
        return {row[0] for row in self.store.connection.execute("SELECT lot FROM entry WHERE kind = 'lot'")}

    def rack(self, day: float, source: str, target: str, volume_l: float | None = None) -> None:
        self.write(day, "racking", sources=[{"vessel": source, "volume_l": volume_l}], targets=[{"vessel": target}])

    def awaited(self, day: float) -> dict[tuple[str, str], AwaitedWork]:
        with self.store.read() as connection:
            found = awaited_work(connection, self.cellar, NOW + round(day * DAY))
        return {(work.work, work.name or work.place or work.sort): work for work in found}

    def last(self, day: float, work: str, place: str) -> tuple[float, bool] | None:
        """When a work was done last, or is awaited since, in days; and which of the two."""
        found = self.awaited(day).get((work, place))
        return None if found is None else ((found.from_ms - NOW) / DAY, found.is_done)


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Page]:
    made = Page(tmp_path)
    yield made
    made.store.close()


def test_nothing_is_awaited_of_a_journal_without_entries_but_a_ph_probe(page: Page) -> None:
    assert list(page.awaited(1)) == [("calibration", "k1-ph")]


def test_wine_that_was_never_tested_counts_from_its_filling(page: Page) -> None:
    page.fill(0, "K1")
    work = page.awaited(5)["titration", "K1"]
    assert work == AwaitedWork("titration", "K1", "keg", NOW, False, "A1")
    assert page.last(5, "racking", "K1") == (0, False)
    assert page.last(5, "re-test", "K1") is None


def test_a_titration_counts_by_vessel_and_by_lot_and_not_when_it_is_struck(page: Page) -> None:
    page.fill(0, "K1")
    page.write(3, "titration", "K1", **TITRATION)
    assert page.last(9, "titration", "K1") == (3, True)
    by_lot = page.write(5, "titration", None, "A1", **TITRATION)
    assert page.last(9, "titration", "K1") == (5, True)
    page.write(6, "titration", "K1", **{**TITRATION, "quantity": "total", "so2_mg_l": 80.0})
    assert page.last(9, "titration", "K1") == (5, True), "total SO2 says nothing of free SO2"
    strike(page.store, by_lot.id, "Ana", "wrong lot", NOW + 200 * DAY)
    assert page.last(9, "titration", "K1") == (3, True)
    assert page.last(2, "titration", "K1") == (0, False), "as it was before"


def test_a_lot_that_is_racked_takes_its_due_work_along(page: Page) -> None:
    page.fill(0, "K1")
    page.write(3, "titration", "K1", **TITRATION)
    page.write(4, "addition", "K1", **DOSE)
    page.rack(6, "K1", "K2")
    assert page.last(9, "titration", "K2") == (3, True)
    assert page.last(9, "re-test", "K2") == (4, True)
    assert page.last(9, "racking", "K2") == (6, True)
    assert page.last(9, "titration", "K1") is None
    # What comes into K1 afterwards is another wine, and its tests say nothing of this one.
    page.fill(7, "K1", "B2")
    page.write(8, "titration", "K1", **TITRATION)
    assert page.last(9, "titration", "K1") == (8, True)
    assert page.last(9, "titration", "K2") == (3, True)


def test_a_titration_within_hours_of_a_dose_is_too_early_for_a_test(page: Page) -> None:
    page.fill(0, "K1")
    page.write(3, "addition", "K1", **DOSE)
    page.write(3.4, "titration", "K1", **TITRATION)
    assert page.last(5, "re-test", "K1") == (3, True), "it still binds"
    assert page.last(5, "titration", "K1") == (3.4, True)
    page.write(3.6, "titration", "K1", **TITRATION)
    assert page.last(5, "re-test", "K1") is None


def test_a_ph_is_awaited_of_wine_without_a_probe(page: Page) -> None:
    page.fill(0, "C1")
    work = page.awaited(5)["pH", "C1"]
    assert work == AwaitedWork("pH", "C1", NEVER_MEASURED, NOW, False, "A1")
    page.write(6, "measurement", "C1", quantity="pH", value=3.4)
    page.write(7, "measurement", "C1", quantity="temperature", value=12.0)
    measured = page.awaited(9)["pH", "C1"]
    assert (measured.from_ms, measured.sort, measured.is_done) == (NOW + 6 * DAY, "carboy", True)
    page.rack(10, "C1", "K2")
    assert page.last(11, "pH", "K2") == (6, True)
    page.write(12, "measurement", None, "A1", quantity="pH", value=3.45)
    assert page.last(13, "pH", "K2") == (12, True)
    page.rack(14, "K2", "K1")
    assert page.last(15, "pH", "K1") is None, "a probe reads it there"


def test_a_dose_awaits_a_test_until_there_is_one(page: Page) -> None:
    page.fill(0, "K1")
    page.write(3, "addition", "K1", **DOSE)
    assert page.last(5, "re-test", "K1") == (3, True)
    page.write(5, "titration", "K1", **TITRATION)
    assert page.last(5, "re-test", "K1") is None
    page.write(6, "addition", "K1", form="other", name="bentonite", amount="a spoon")
    assert page.last(7, "re-test", "K1") is None


def test_in_malolactic_fermentation_no_test_is_awaited(page: Page) -> None:
    page.fill(0, "K1")
    page.write(1, "lot", None, "A1", name="A1", style="red", malolactic="under way")
    assert page.last(2, "titration", "K1") is None
    assert page.last(2, "racking", "K1") is not None
    page.write(3, "lot", None, "A1", name="A1", style="red", malolactic="complete")
    assert page.last(4, "titration", "K1") == (0, False)


def test_of_a_blend_the_larger_lot_counts(page: Page) -> None:
    page.fill(0, "C1", "A1")
    page.fill(1, "K1", "B2")
    page.write(2, "titration", "K1", **TITRATION)
    page.write(3, "racking", sources=[{"vessel": "K1", "volume_l": 4.0}], targets=[{"vessel": "C1", "blend": True}])
    assert page.awaited(4)["titration", "C1"].lot == "A1"
    assert page.last(4, "titration", "C1") == (0, False)
    assert page.awaited(4)["titration", "K1"].lot == "B2"


@pytest.mark.parametrize("state", ["emptied", "out of use"])
def test_nothing_is_awaited_of_a_vessel_that_is_empty(page: Page, state: str) -> None:
    page.fill(0, "K1")
    page.write(1, "vessel-status", "K1", status="emptied")
    if state != "emptied":
        page.write(2, "vessel-status", "K1", status=state)
    assert page.awaited(3) == {}


def test_nothing_is_awaited_of_wine_that_was_bottled(page: Page) -> None:
    page.fill(0, "C1")
    page.write(4, "bottling", "C1", bottles=[{"number": 13, "size_l": 0.75}], remainder_l=0.0)
    assert [key for key in page.awaited(5) if key[0] != "calibration"] == []


def test_looks_toppings_and_locks_are_care_of_the_vessel(page: Page) -> None:
    page.fill(0, "C1")
    assert page.last(1, "topping", "C1") == (0, False)
    assert page.last(1, "airlock", "C1") == (0, False)
    page.write(2, "inspection", "C1", clarity="clear")
    assert page.last(9, "topping", "C1") == (2, True)
    page.write(3, "topping", "C1", "A1", volume_l=0.3)
    assert page.last(9, "topping", "C1") == (3, True)
    page.write(4, "vessel-status", "C1", airlock_liquid_seen=True)
    assert page.last(9, "airlock", "C1") == (4, True)
    assert page.last(3.5, "airlock", "C1") == (0, False)
    page.write(5, "vessel-status", "C1", status="emptied")
    page.fill(6, "C1", "B2")
    assert page.last(9, "airlock", "C1") == (6, False), "the new wine begins again"


def test_a_keg_under_gas_has_no_airlock(page: Page) -> None:
    page.fill(0, "K1")
    assert page.last(1, "airlock", "K1") is None


def test_a_probe_that_was_calibrated_once_is_awaited_again(page: Page) -> None:
    page.fill(0, "K1")
    assert page.last(1, "calibration", "k1-pressure") is None
    assert page.last(1, "calibration", "k1-ph") == (0, False)
    page.write(2, "calibration", "K1", probe="k1-pressure", points=[{"truth": 0.0, "shown": 0.4}], unit="kPa")
    assert page.last(3, "calibration", "k1-pressure") == (2, True)
    assert page.awaited(3)["calibration", "k1-pressure"].sort == "pressure"


def test_the_newest_bottle_of_a_titrant_counts(page: Page) -> None:
    strength = {"number": 0.02, "meaning": "normality"}
    page.write(0, "titrant", name="iodine 1", substance="iodine", strength=strength, opened_ms=NOW - 9 * DAY)
    assert page.last(1, "titrant", "iodine 1") is None, "nobody titrates where there is no wine"
    page.fill(1, "K1")
    assert page.last(2, "titrant", "iodine 1") == (-9, False)
    page.write(3, "titrant", name="iodine 2", substance="iodine", strength=strength, factor=0.98, standardised_ms=NOW)
    assert page.last(4, "titrant", "iodine 1") is None
    assert page.last(4, "titrant", "iodine 2") == (0, True)


def test_what_has_yet_to_happen_does_not_count(page: Page) -> None:
    page.fill(0, "K1")
    page.write(30, "titration", "K1", **TITRATION)
    assert page.last(20, "titration", "K1") == (0, False)
