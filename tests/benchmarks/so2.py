"""SO2: how long the estimate of all vessels takes, from the entries in the store to the numbers that people see.

A hundred vessels with two years of entries: titrated every month, dosed every two months, topped up every month from
one carboy, the pH measured four times a year, and each wine racked twice, now and then onto a rest of its neighbour.
Measured are reading the entries and putting them together, all of it, and one vessel alone, in processor time. With
--temperatures every vessel also has a thermometer, and the days of two years are read.

About 30 seconds; --rounds, --vessels, --temperatures.
"""

from __future__ import annotations

import argparse
import random
import time
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from cellar_text import MQTT, SITE, cellar, keg, table, temperature
from journal_entries import a_body
from rounds import print_spread

from alerts.so2.vessel_so2 import so2_at
from alerts.so2.wine_fold import WineFold
from ingest.cellar import Cellar
from ingest.journal.entry import Entry
from ingest.probes.binding import declarations
from ingest.store import Store, create_or_open
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entry_rows import insert_entry
from ingest.store.journal.lot_location_rows import keep_contents
from ingest.store.journal.stored_ledger import equipment_of, load_ledger
from ingest.store.readings.series import declare

GOAL_MS = 500.0
DAY_MS = 86_400_000
BEGIN_MS = 1_700_000_000_000
MONTHS = 24

Line = tuple[int, str, str | None, str | None, dict[str, Any]]


def two_years(number: int, rng: random.Random) -> list[Line]:
    """The entries of one wine in vessel V<number>, racked over to W<number> and back."""
    vessel, lot, at_ms = f"V{number}", f"lot-{number}", BEGIN_MS + number * 60_000
    free = rng.uniform(25.0, 40.0)
    lines: list[Line] = [
        (at_ms, "lot", None, lot, {"name": lot, "style": "white"}),
        (at_ms, "first-filling", vessel, lot, {"volume_l": 18.0}),
    ]
    for month in range(MONTHS):
        at_ms += 30 * DAY_MS
        free *= 0.93
        found = {"method": "elsewhere", "so2_mg_l": max(0.0, free + rng.gauss(0.0, 1.5)), "u_so2_mg_l": 1.5}
        lines.append((at_ms, "titration", vessel, None, {"quantity": "free", **found}))
        if month % 3 == 0:
            lines.append((at_ms, "measurement", vessel, None, {"quantity": "pH", "value": 3.3}))
        if month % 2 == 1:
            dose = {"form": "metabisulfite", "salt": "potassium", "mass_g": 0.3, "so2_g": 0.173}
            lines.append((at_ms + 3_600_000, "addition", vessel, None, dose))
            free += 0.6 * 173.0 / 18.0
        lines.append((at_ms + 7_200_000, "topping", vessel, None, {"source": "C", "volume_l": 0.05}))
        if month in (7, 15):
            other = f"W{number}" if vessel.startswith("V") else f"V{number}"
            racked = {"sources": [{"vessel": vessel}], "targets": [{"vessel": other}]}
            lines.append((at_ms + DAY_MS, "racking", None, None, racked))
            vessel, free = other, free - 5.0
    return lines


def fill_store(store: Store, measured: Cellar, vessels: int) -> int:
    """Write the journal, all of it in one transaction; give the number of entries."""
    rng = random.Random(1)
    lines: list[Line] = [
        (BEGIN_MS - DAY_MS, "lot", None, "rest", {"name": "rest", "style": "white"}),
        (BEGIN_MS - DAY_MS, "first-filling", "C", "rest", {"volume_l": 0.05 * MONTHS * vessels + 10.0}),
    ]
    for number in range(vessels):
        lines += two_years(number, rng)
    lines.sort(key=lambda line: line[0])
    keep_cellar_file(store, measured.text, BEGIN_MS - 10 * DAY_MS)
    with store.write() as connection:
        for number, (at_ms, kind, place, lot, body) in enumerate(lines, 1):
            insert_entry(connection, Entry(number, kind, at_ms, at_ms, "Ana", place, lot, a_body(kind, **body)))
        ledger = load_ledger(connection, equipment_of(connection, measured, BEGIN_MS))
        keep_contents(connection, ledger, (-1, -1))
    return len(lines)


def add_temperatures(store: Store, measured: Cellar) -> None:
    """Give every vessel a thermometer, and two years of its days."""
    series = declare(store, declarations(measured), BEGIN_MS)
    with store.write() as connection:
        # The days' summaries, as upkeep makes them of the readings.
        connection.executemany(
            "INSERT INTO summary (series, span_ms, from_ms, count, low, high, mean, first, last, worst)"
            " VALUES (?, ?, ?, 48, ?4, ?4, ?4, ?4, ?4, 0)",
            [
                (id, DAY_MS, (BEGIN_MS // DAY_MS + day) * DAY_MS, 12.0 + (day % 9) / 3.0)
                for id in series.values()
                for day in range(MONTHS * 30)
            ],
        )


def cellar_of(vessels: int, *, temperatures: bool) -> Cellar:
    """Make a cellar file with twice as many kegs, and a tank that they are topped from."""
    ids = [f"{row}{number}" for number in range(vessels) for row in "VW"]
    text = [SITE, MQTT, *(keg(id) for id in ids), table("[[vessel]]", id="C", kind="tank", capacity="1000 L")]
    if temperatures:
        text += [temperature(f"t-{id}", at=id, topic=f"t/{id}", mounted="wall") for id in ids]
    return cellar(*text)


def measure(store: Store, measured: Cellar, rounds: int) -> dict[str, list[float]]:
    """Times [ms] of each part, of a different moment in every round."""
    times: dict[str, list[float]] = {"entries": [], "all vessels": [], "one vessel": []}
    end_ms = BEGIN_MS + MONTHS * 30 * DAY_MS
    for number in range(rounds):
        at_ms = end_ms + (5 + number) * DAY_MS
        began = time.process_time()
        with store.read() as connection:
            WineFold(load_ledger(connection, equipment_of(connection, measured, at_ms), to_ms=at_ms))
        times["entries"].append(1000.0 * (time.process_time() - began))
        began = time.process_time()
        found = so2_at(measured, store, at_ms)
        times["all vessels"].append(1000.0 * (time.process_time() - began))
        began = time.process_time()
        so2_at(measured, store, at_ms, [next(iter(found))])
        times["one vessel"].append(1000.0 * (time.process_time() - began))
    return times


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=9)
    parser.add_argument("--vessels", type=int, default=100)
    parser.add_argument("--temperatures", action="store_true")
    wishes = parser.parse_args()
    measured = cellar_of(wishes.vessels, temperatures=wishes.temperatures)
    with TemporaryDirectory() as folder, create_or_open(Path(folder) / "cellar.db", BEGIN_MS) as store:
        count = fill_store(store, measured, wishes.vessels)
        if wishes.temperatures:
            add_temperatures(store, measured)
        print(f"{wishes.vessels} vessels, {count} entries; goal for all vessels {GOAL_MS:.0f} ms")
        for name, spans in measure(store, measured, wishes.rounds).items():
            print_spread(name, spans, "ms")


if __name__ == "__main__":
    main()
