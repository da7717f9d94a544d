"""Imported entries pass the same checks as entered ones, and what follows from their answers is worked out."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from a_desk import Desk
from a_store import NOW, new_store
from cellar_text import SITE, keg
from cellar_text import cellar as a_cellar
from journal_entries import journal_cellar

from ingest.exchange.entry_lines import entry_line, read_entry_lines
from ingest.journal.entry import Entry
from ingest.journal.merging import JournalMerge
from ingest.store.journal.entries import entries, strike
from ingest.store.journal.entry_import import import_entries
from ingest.store.journal.hand_results import hand_results
from ingest.store.journal.stored_ledger import contents
from ingest.times import iso_utc

MINUTE = 60_000
HOUR = 60 * MINUTE
BENCH: dict[str, Any] = {"quantity": "free", "method": "iodometric", "sample_ml": 25.0, "flasks": [{"titre_ml": 0.85}]}
N_50 = {"number": 0.02, "meaning": "normality"}


class _Desk(Desk):
    """16 L of a red wine in K1, and the bottle "iodine 3"."""

    def fill(self) -> None:
        self.write("lot", lot="A", name="Refosk", style="red")
        self.write("first-filling", "K1", "A", volume_l=16.0)
        self.write("titrant", name="iodine 3", substance="iodine", strength=N_50, factor=0.98, standardised_ms=NOW)
        self.now += 10 * HOUR

    def take(self, *lines: dict[str, Any], **more: Any) -> JournalMerge:
        text = "\n".join(json.dumps(line) for line in lines)
        read = read_entry_lines(io.BytesIO(text.encode()), self.cellar.site.zone, self.now)
        assert read.mistakes == []
        return import_entries(self.store, read.entries, self.cellar, self.now, **more)

    def refused(self, *lines: dict[str, Any]) -> list[tuple[int, str]]:
        before = len(entries(self.store))
        mistakes = [(each.line, each.why) for each in self.take(*lines, despite_warnings=True).mistakes]
        assert mistakes
        assert len(entries(self.store)) == before
        return mistakes

    def warned(self, *lines: dict[str, Any]) -> list[str]:
        """The warnings of lines that are taken only if a person insists, and then keep them."""
        before = len(entries(self.store))
        taken = self.take(*lines)
        assert taken.mistakes == []
        assert taken.warnings
        assert len(entries(self.store)) == before
        self.take(*lines, despite_warnings=True)
        kept = [text for each in self.newest(len(lines)) for text in each.body.warnings]
        assert kept == [each.why for each in taken.warnings]
        # What was accepted once goes on with its entry.
        exported = [json.loads(entry_line(each)) for each in self.newest(len(lines))]
        assert self.take(*exported) == JournalMerge(there=len(lines))
        assert self.take(*lines) == JournalMerge(there=len(lines))
        return kept

    def newest(self, count: int = 1) -> list[Entry]:
        return sorted(entries(self.store), key=lambda entry: entry.id)[-count:]


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[_Desk]:
    with new_store(tmp_path) as store:
        made = _Desk(store, journal_cellar())
        made.fill()
        yield made


def a_line(kind: str, at: int, place: str | None = "K1", lot: str | None = None, **said: Any) -> dict[str, Any]:
    """A line as somebody writes it by hand; at: minutes after all else."""
    found = {"kind": kind, "at": iso_utc(NOW + 6 * HOUR + at * MINUTE), "who": "Eva", "body": said}
    return found | {"place": place, "lot": lot}


def test_a_titration_without_its_result_is_worked_out_and_found_in_history(desk: _Desk) -> None:
    lines = [
        a_line("titration", 1, **BENCH, strength=N_50),
        a_line("titration", 2, **BENCH, titrant="iodine 3", blank_ml=0.05),
    ]
    taken = desk.take(*lines)
    assert (len(taken.new), taken.mistakes, taken.warnings) == (2, [], [])
    # 0.85 mL x 0.02 eq/L x 32.03 g/mol / 25 mL; 0.80 mL with the factor 0.98 of the bottle
    assert [result.value for result in hand_results(desk.store, "free_so2")] == pytest.approx([21.78, 20.09], abs=0.01)
    first, second = (json.loads(entry_line(each))["body"] for each in desk.newest(2))
    assert first["u_so2_mg_l"] > 0.5
    assert any("upper bound" in note for note in first["notes"]), "of a red wine"
    assert (second["strength"], second["factor"]) == (N_50, 0.98)
    assert desk.take(*lines) == JournalMerge(there=2)


def test_what_nobody_can_work_out_is_refused_with_its_line(desk: _Desk) -> None:
    assert desk.refused(
        a_line("titration", 1, **BENCH),
        a_line("titration", 2, **BENCH, titrant="iodine 9"),
        a_line("titration", 3, **BENCH, titrant="iodine 9", strength=N_50, so2_mg_l=21.78, u_so2_mg_l=1.0),
        a_line("titration", 4, **BENCH, strength=N_50, so2_mg_l=43.6),
        a_line("addition", 5, form="metabisulfite", mass_g=1.0),
        a_line("addition", 6, form="metabisulfite", salt="potassium", mass_g=1.0, so2_g=5.76),
        a_line("sample", 7, volume_l=0.1),
    ) == [
        (1, "titration titrant: is missing: The bottle of titrant, by its name."),
        (2, "titration titrant: there is no bottle 'iodine 9'; write it down as a titrant first. There are: iodine 3"),
        (3, "titration titrant: there is no bottle 'iodine 9'; write it down as a titrant first. There are: iodine 3"),
        (4, "titration so2_mg_l: 43.6 is not what the rest of it gives, 21.78; leave it out, and it is worked out"),
        (5, "addition salt: is missing: potassium or sodium metabisulfite."),
        (6, "addition so2_g: 5.76 is not what the rest of it gives, 0.5763; leave it out, and it is worked out"),
    ]


def test_the_so2_of_an_addition_is_worked_out_and_the_total_known_before_goes_on(desk: _Desk) -> None:
    desk.write("titration", "K1", quantity="total", method="elsewhere", so2_mg_l=60.0, u_so2_mg_l=3.0)
    desk.now += 10 * HOUR
    line = a_line("addition", 6 * 60, form="metabisulfite", salt="potassium", mass_g=0.8)
    line["at"] = iso_utc(desk.now - HOUR)
    assert desk.take(line).mistakes == []
    total = contents(desk.store, desk.now)["K1"].total_so2
    assert total is not None
    assert total.mg_l == pytest.approx(60.0 + 1000 * 0.8 * 0.5763 / 16, abs=0.01)


def test_a_bottle_of_the_same_file_will_do_whatever_the_order_of_lines(desk: _Desk) -> None:
    bottle = a_line("titrant", 0, None, name="iodine 4", substance="iodine", strength={**N_50, "number": 0.01})
    assert desk.take(a_line("titration", 1, **BENCH, titrant="iodine 4"), bottle).mistakes == []
    assert hand_results(desk.store, "free_so2")[-1].value == pytest.approx(10.89, abs=0.01)


def test_a_strength_that_the_line_carries_stays_although_the_bottle_was_struck(desk: _Desk) -> None:
    desk.take(a_line("titration", 1, **BENCH, titrant="iodine 3"))
    exported = [json.loads(entry_line(each)) for each in desk.newest(1)]
    strike(desk.store, 3, "Ben", "broken", desk.now)
    exported[0] = {**exported[0], "id": None, "at": iso_utc(NOW + 7 * HOUR)}
    assert desk.take(*exported).mistakes == []
    assert hand_results(desk.store, "free_so2")[-1].value == pytest.approx(21.34, abs=0.01)


@pytest.mark.parametrize(
    ("line", "warning"),
    [
        (a_line("measurement", 1, quantity="pH", value=34.0), "pH 34 is not of wine"),
        (a_line("measurement", 1, quantity="temperature", value=900.0), "temperature 900 °C is not of wine"),
        (a_line("addition", 1, form="metabisulfite", salt="potassium", mass_g=9e5), "no wine needs more than"),
        (a_line("titration", 1, quantity="free", method="elsewhere", so2_mg_l=900.0), "more than 200"),
        (a_line("titration", 1, **{**BENCH, "flasks": [{"titre_ml": 1.0}, {"titre_ml": 2.0}]}, strength=N_50),
         "the flasks disagree"),
        (a_line("titrant", 1, None, name="x", substance="iodine", strength={**N_50, "number": 0.2}), "0.2 eq/L"),
        (a_line("bottling", 1, bottles=[{"number": 4, "size_l": 0.75}], remainder_l=0.0), "are missing; count again"),
        (a_line("vessel-status", 1, status="emptied"), "K1 held 16 L"),
        (a_line("inspection", 1, clarity="clear") | {"at": "1999-11-25T10:00:00Z"}, "that was in 1999"),
    ],
)  # fmt: skip
def test_what_can_hardly_be_takes_a_person_who_insists(desk: _Desk, line: dict[str, Any], warning: str) -> None:
    (said,) = desk.warned(line)
    assert warning in said


def test_free_so2_above_the_total_of_the_same_file_is_warned_of(desk: _Desk) -> None:
    elsewhere: dict[str, Any] = {"method": "elsewhere", "u_so2_mg_l": 2.0}
    (said,) = desk.warned(
        a_line("titration", 2, quantity="free", so2_mg_l=50.0, **elsewhere),
        a_line("titration", 1, quantity="total", so2_mg_l=30.0, **elsewhere),
    )
    assert "50 mg/L of free SO2 is more than the 30 mg/L of total SO2 of K1" in said


def test_a_strike_before_its_entry_is_refused(desk: _Desk) -> None:
    line = a_line("inspection", 30, clarity="clear")
    before = {"at": iso_utc(NOW + 6 * HOUR), "who": "Eva", "reason": "x"}
    why = "struck at: is before the inspection that it strikes"
    assert desk.refused(line | {"struck": before}) == [(1, why)]
    written = {"written": iso_utc(NOW + 8 * HOUR)}
    later = {**before, "at": iso_utc(NOW + 7 * HOUR)}
    assert desk.refused(line | written | {"struck": later}) == [(1, why)]
    assert desk.take(line | {"struck": later}).mistakes == []


def test_a_weight_makes_its_wine_by_the_tare_of_the_cellar_file(tmp_path: Path) -> None:
    cellar = a_cellar(SITE, keg("K1", tare="4.2 kg"))
    with new_store(tmp_path) as store:
        desk = _Desk(store, cellar)
        desk.fill()
        assert desk.take(a_line("measurement", 1, quantity="weight", value=19.2)).mistakes == []
        assert contents(store, desk.now)["K1"].volume_l == pytest.approx(15.0 / 0.992)
