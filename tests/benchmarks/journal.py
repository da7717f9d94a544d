"""Journal: how long one question takes with ten thousand entries, and how long one more entry does.

Ten years in forty vessels: twenty lots a year, each filled, titrated, measured, looked at and topped up every month,
racked to another vessel every four months, now and then blended with its neighbour, and bottled. The questions, each of
another moment or lot every time: what all vessels hold now and at some time past; the entries of a lot; its results of
free SO2; where it lay. Beside them the same by going through the whole journal, which is what is compared with. Then
one more entry now; one that happened a year ago, with everything since worked out again; and its strike.

With a year of readings every 10 s in the vessels of the last year's first lot: its temperature by the day with 300
points asked for, the whole of its readings of one month, and how it stands.

About 2 minutes; --rounds.
"""

from __future__ import annotations

import argparse
import random
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from journal_entries import a_body, journal_cellar, lot_path
from rounds import print_spread
from settled import bring
from weathered import DAY_MS, cellar_year

from ingest.cellar import Cellar
from ingest.history import OfLot, latest, raw, summary
from ingest.journal.entry import Draft, Entry
from ingest.reading import Declaration
from ingest.store import Store, create_or_open
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.journal.entries import entries, strike, write_entry
from ingest.store.journal.entry_rows import insert_entry
from ingest.store.journal.hand_results import hand_results
from ingest.store.journal.lot_location_rows import keep_contents, stored_lot_locations
from ingest.store.journal.stored_ledger import contents, equipment_of, load_ledger
from ingest.store.readings.series import declare
from ingest.store.readings.summaries import CatchUp

YEARS = 10
LOTS_A_YEAR = 20
GOAL_MS = 50.0
_HOUR_MS = 3_600_000
_MONTH_MS = 30 * DAY_MS

# The last year's lots still lie in their vessels.
_BEGUN_MS = (YEARS * 12 - 2) * _MONTH_MS

Line = tuple[int, str, str | None, str | None, dict[str, Any]]


def year_of(number: int, begin_ms: int) -> list[Line]:
    """The entries of one lot's year."""
    vessels = (f"V{number % LOTS_A_YEAR}", f"V{LOTS_A_YEAR + number % LOTS_A_YEAR}")
    lot, at_ms, here = f"lot-{number}", begin_ms + number % LOTS_A_YEAR * _HOUR_MS, 0
    lines: list[Line] = [
        (at_ms, "lot", None, lot, {"name": lot, "style": "white"}),
        (at_ms, "first-filling", vessels[0], lot, {"volume_l": 18.0}),
    ]
    for month in range(11):
        at_ms += _MONTH_MS
        found = {"method": "elsewhere", "so2_mg_l": 25.0 + month, "u_so2_mg_l": 2.0}
        lines += [
            (at_ms, "titration", vessels[here], None, {"quantity": "free", **found}),
            (at_ms, "measurement", vessels[here], None, {"quantity": "pH", "value": 3.3}),
            (at_ms, "inspection", vessels[here], None, {"clarity": "clear"}),
            (at_ms, "topping", vessels[here], lot, {"volume_l": 0.1}),
        ]
        if month % 4 == 0:
            lines.append((at_ms, "titration", vessels[here], None, {"quantity": "total", **found}))
        if month % 4 == 3:
            said = {"sources": [{"vessel": vessels[here]}], "targets": [{"vessel": vessels[1 - here]}], "lees_l": 0.3}
            lines.append((at_ms + _HOUR_MS, "racking", None, None, said))
            here = 1 - here
        if month == 9 and number % 4 == 1:
            # The neighbour's, which lies in the vessel beside.
            other = f"V{(number - 1) % LOTS_A_YEAR}"
            said = {
                "sources": [{"vessel": other, "volume_l": 0.5}],
                "targets": [{"vessel": vessels[here], "blend": True}],
            }
            lines.append((at_ms + 2 * _HOUR_MS, "racking", None, None, said))
    said = {"bottles": [{"number": 22, "size_l": 0.75}], "remainder_l": 0.0}
    lines.append((at_ms + 3 * DAY_MS + number % LOTS_A_YEAR * _HOUR_MS, "bottling", vessels[here], None, said))
    return lines


def fill_journal(store: Store, now_ms: int) -> tuple[Cellar, int, float]:
    """The cellar, how many entries there are, and how long it took to work out what is kept beside them [ms]."""
    cellar = journal_cellar(*((f"V{number}", "keg", 25.0) for number in range(2 * LOTS_A_YEAR)))
    begin_ms = now_ms - _BEGUN_MS
    keep_cellar_file(store, cellar.text, begin_ms)
    lines = [
        line
        for number in range(YEARS * LOTS_A_YEAR)
        for line in year_of(number, begin_ms + number // LOTS_A_YEAR * 12 * _MONTH_MS)
    ]
    lines = sorted((line for line in lines if line[0] <= now_ms), key=lambda line: line[0])
    with store.write() as connection:
        for number, (at_ms, kind, place, lot, said) in enumerate(lines, 1):
            insert_entry(connection, Entry(number, kind, at_ms, at_ms, "Ana", place, lot, a_body(kind, **said)))
        began = time.perf_counter()
        keep_contents(connection, load_ledger(connection, equipment_of(connection)), (0, 0))
        took_ms = 1000 * (time.perf_counter() - began)
    return cellar, len(lines), took_ms


def spent(ask: Callable[[], object]) -> float:
    """Milliseconds that one answer took."""
    began = time.perf_counter()
    ask()
    return 1000 * (time.perf_counter() - began)


def lot_locations(store: Store, lot: str) -> object:
    """Where a lot lay, from what is kept."""
    with store.read() as connection:
        return stored_lot_locations(connection, equipment_of(connection), lot)


def whole_fold(store: Store, lot: str) -> object:
    """Where a lot lay, from the whole journal."""
    with store.read() as connection:
        equipment = equipment_of(connection)
    return lot_path(entries(store), equipment, lot)


def ask_journal(store: Store, now_ms: int, rounds: int) -> None:
    """Each question in turn."""
    chance = random.Random(7)
    begin_ms = now_ms - _BEGUN_MS

    def lot() -> str:
        return f"lot-{chance.randrange(YEARS * LOTS_A_YEAR)}"

    questions: dict[str, Callable[[], object]] = {
        "contents now": lambda: contents(store, now_ms),
        "contents at some time past": lambda: contents(store, chance.randrange(begin_ms, now_ms)),
        "where a lot lay": lambda: lot_locations(store, lot()),
        "entries of a lot": lambda: entries(store, lot=lot()),
        "results of a lot": lambda: hand_results(store, "free_so2", lot=lot()),
        "history of its free SO2": lambda: raw(store, OfLot(lot(), "free_so2")),
    }
    for name, ask in questions.items():
        print_spread(name, [spent(ask) for _ in range(rounds)], f"ms  goal {GOAL_MS:g}")
    print_spread("  by the whole journal", [spent(lambda: whole_fold(store, lot())) for _ in range(3)], "ms")


def write_more(store: Store, cellar: Cellar, now_ms: int, rounds: int) -> None:
    """Entries now and a year ago, and strikes, each with its commit."""
    year_ago_ms = now_ms - 12 * _MONTH_MS
    now_in, then_in = (
        next(vessel for vessel, held in contents(store, at_ms).items() if held.volume_l)
        for at_ms in (now_ms, year_ago_ms)
    )
    times: dict[str, list[float]] = {"one more entry": [], "one of a year ago": [], "the strike of that one": []}
    for count in range(rounds):
        for name, at_ms, vessel in (
            ("one more entry", now_ms + count, now_in),
            ("one of a year ago", year_ago_ms + count, then_in),
        ):
            draft = Draft("sample", at_ms, "Ana", a_body("sample", volume_l=0.001), vessel)
            began = time.perf_counter()
            made = write_entry(store, draft, cellar, now_ms + 1000 + count)
            times[name].append(1000 * (time.perf_counter() - began))
        began = time.perf_counter()
        strike(store, made.id, "Ana", "a benchmark", now_ms + 2000 + count)
        times["the strike of that one"].append(1000 * (time.perf_counter() - began))
    for name, found in times.items():
        print_spread(name, found, "ms")


def ask_readings(store: Store, now_ms: int, rounds: int) -> None:
    """A lot's temperature, read every 10 s in both of its vessels."""
    number = YEARS * LOTS_A_YEAR - LOTS_A_YEAR
    places = (f"V{number % LOTS_A_YEAR}", f"V{LOTS_A_YEAR + number % LOTS_A_YEAR}")
    wanted = [Declaration(f"p{at}", at, "temperature", 1.0, 0.0, "degC", f"p{at}", at) for at in places]
    for seed, series in enumerate(declare(store, wanted, now_ms).values()):
        bring(store, series, cellar_year(seed, 360, now_ms // DAY_MS * DAY_MS))
    following = CatchUp(store)
    while following.slice():
        pass
    subject = OfLot(f"lot-{number}", "temperature")
    year_ms = now_ms - 300 * DAY_MS
    for name, ask in {
        "a lot's ten months, 300 points": lambda: summary(store, subject, year_ms, now_ms, 300),
        "a lot's ten months, 3,000 points": lambda: summary(store, subject, year_ms, now_ms, 3000),
        "a lot's month, every reading": lambda: raw(store, subject, year_ms + 4 * _MONTH_MS, year_ms + 5 * _MONTH_MS),
        "how a lot stands": lambda: latest(store, subject),
    }.items():
        print_spread(name, [spent(ask) for _ in range(rounds)], "ms")
    print(f"  (its month: {len(raw(store, subject, year_ms + 4 * _MONTH_MS, year_ms + 5 * _MONTH_MS)):,} readings)")


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--folder", default="/var/tmp")
    chosen = parser.parse_args()
    now_ms = time.time_ns() // 1_000_000
    with (
        TemporaryDirectory(prefix="leeside-benchmark-", dir=chosen.folder) as name,
        create_or_open(Path(name) / "cellar.db", now_ms) as store,
    ):
        cellar, count, took_ms = fill_journal(store, now_ms)
        lots = [len(entries(store, lot=f"lot-{number}")) for number in range(0, YEARS * LOTS_A_YEAR, 20)]
        print(f"{count:,} entries, {statistics.median(lots):.0f} of a lot; all of it worked out once: {took_ms:.0f} ms")
        print(f"{'':<34} {'min':>12} {'median':>12} {'max':>12}")
        ask_journal(store, now_ms, chosen.rounds)
        write_more(store, cellar, now_ms, chosen.rounds)
        ask_readings(store, now_ms, chosen.rounds)


if __name__ == "__main__":
    main()
