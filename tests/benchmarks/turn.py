"""Turn: one turn over 1,000 limits with a real store, by what is new and by how much history lies in the store.

The turner is the daemon's own; time is handed to it, a second a turn, so that some turns hear ingest's pulse and write
their own. New readings are appended before the turn, which is not counted. With alarms, ten begin or end in each turn,
with their mail. Last comes a backlog of 100,000 readings, with a breach behind it: how long its turns take, and when
the breach is judged. Beside the time by the clock stands that of the processor, which other programs disturb less, and
in which the disk does not count.

About a minute; --turns.
"""

from __future__ import annotations

import argparse
import gc
import logging
import statistics
import time
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from past import fill

from alerts.turning.turner import Turner
from alerts.watch.turn_inputs import Now
from ingest.cellar import load_cellar
from ingest.probes.binding import declarations
from ingest.pulse import PULSE_S, BrokerPulse, IngestPulse
from ingest.store import create_or_open
from ingest.store.alarms.alarm_record import transitions
from ingest.store.pulse_rows import write_pulse
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

LIMITS = 1000
NEW = 1000
GOAL_MS = 50.0
BURST = 100_000
# What the writer commits at a time while a broker delivers what it had kept.
BURST_COMMIT = 10_000
GOAL_BURST_MS = 2000.0
KEGS = 80
SERIES = 2 * KEGS
RESTLESS = 10
# °C of the thermometers, psi of the others: within all limits, and what ``fill`` puts there.
USUAL = 17.0
NOW_MS = 1_795_595_400_000
A_DAY_ROWS = SERIES * 1440
HISTORIES = {"empty store": 0, "a day of readings": A_DAY_ROWS, "3 million rows": 3_000_000}
EVERY_MS = 60_000
CELLAR = """
[site]
name = "benchmark"
timezone = "Europe/Ljubljana"
[store]
path = "cellar.db"
[mqtt]
host = "127.0.0.1"
client_id = "benchmark"
[mail]
host = "127.0.0.1"
port = 1025
from = "leeside@cellar.example"
to = ["cellarhand@cellar.example"]
[[room]]
id = "cellar"
"""
KEG = """
[[vessel]]
id = "K{number}"
kind = "keg"
capacity = "19.5 L"
gas = "nitrogen"
max_pressure = "200 kPa"
room = "cellar"
[[probe]]
id = "k{number}-temperature"
at = "K{number}"
quantity = "temperature"
topic = "cellar/K{number}/temperature"
unit = "degC"
every = "10 s"
[[probe]]
id = "k{number}-pressure"
at = "K{number}"
quantity = "pressure"
topic = "cellar/K{number}/pressure"
unit = "psi"
every = "10 s"
[[limit]]
at = "K{number}"
quantity = "temperature"
high = "25 °C"
on_delay = "0 s"
off_delay = "0 s"
consequence = "The wine ages faster."
action = "Open the door at night."
"""

Row = tuple[int, int, float, int]


class Spent(NamedTuple):
    """Milliseconds of a turn, by the clock and of the processor."""

    wall_ms: float
    cpu_ms: float


class Bench:
    """A store with a past, and a turner that has judged what the last ten minutes brought."""

    def __init__(self, folder: Path, rows: int) -> None:
        file = folder / "cellar.toml"
        file.write_text(CELLAR + "".join(KEG.format(number=number) for number in range(KEGS)))
        self.cellar = load_cellar(file)
        self.store = create_or_open(self.cellar.store_path, NOW_MS)
        self.series = list(declare(self.store, declarations(self.cellar), NOW_MS).values())
        fill(self.store, self.series, rows, EVERY_MS, NOW_MS - 1000)
        self.turner = Turner(self.cellar, self.store, Now(NOW_MS, 0.0))
        assert self.turner.limit_count >= LIMITS, self.turner.limit_count
        for _ in range(60):
            self.turner.turn(Now(NOW_MS, 0.0))
        gc.collect()
        gc.freeze()  # as the daemon does once it has started
        self.appender = Appender(self.store)
        self.second = 0

    def readings(self, count: int, hot: int) -> list[Row]:
        """So many readings of this second, over all series, of which the first ``hot`` thermometers are too warm."""
        at_ms = NOW_MS + self.second * 1000
        warm = set(self.series[: 2 * hot : 2])
        rows = ((self.series[row % SERIES], at_ms + row // SERIES, row % 7 / 100) for row in range(count))
        return [(series, at, (30 if series in warm else USUAL) + noise, 0) for series, at, noise in rows]

    def turn(self) -> Spent:
        """Make a turn in this second. Ingest is alive."""
        if self.second % round(PULSE_S) == 0:
            with self.store.write() as connection:
                pulse = IngestPulse(mqtt=BrokerPulse(connected=True))
                write_pulse(connection, pulse, NOW_MS + self.second * 1000, NOW_MS)
        began, worked = time.perf_counter(), time.process_time()
        self.turner.turn(Now(NOW_MS + self.second * 1000, float(self.second)))
        return Spent(1000 * (time.perf_counter() - began), 1000 * (time.process_time() - worked))


def measure(rows: int, turns: int) -> dict[str, list[Spent]]:
    """The turns with nothing new, with new readings, and with alarms among them."""
    with TemporaryDirectory(prefix="leeside-benchmark-") as name:
        bench = Bench(Path(name), rows)
        if not rows:
            print(f"{SERIES} probes, {bench.turner.limit_count} limits", flush=True)
        times: dict[str, list[Spent]] = {"nothing new": [], f"{NEW} new readings": [], f"{NEW}, and alarms": []}
        for number in range(turns):
            # Ten of the probes are hot in every other turn: as many alarms begin, or end.
            for spent, hot in zip(times.values(), (None, 0, RESTLESS * (number % 2)), strict=True):
                bench.second += 1
                if hot is not None:
                    bench.appender.append(bench.readings(NEW, hot))
                spent.append(bench.turn())
        bench.store.close()
        return times


def burst() -> tuple[list[Spent], float]:
    """The turns while a backlog is judged, and milliseconds from its last commit until the breach is."""
    with TemporaryDirectory(prefix="leeside-benchmark-") as name:
        bench = Bench(Path(name), 0)
        first_ms = NOW_MS - BURST // (SERIES - 2) * 1000
        others = bench.series[:-2]
        backlog = [
            (others[row % len(others)], first_ms + row // len(others) * 1000, USUAL + row % 7 / 100, 0)
            for row in range(BURST)
        ]
        for start in range(0, BURST, BURST_COMMIT):
            bench.appender.append(backlog[start : start + BURST_COMMIT])
        bench.appender.append([(bench.series[-2], NOW_MS, 30.0, 0)])
        times: list[Spent] = []
        began = time.perf_counter()
        while not any(step.key == f"K{KEGS - 1}/temperature/high" for step in transitions(bench.store)):
            times.append(bench.turn())
        passed_ms = 1000 * (time.perf_counter() - began)
        bench.store.close()
        return times, passed_ms


def shown(name: str, times: Sequence[Spent]) -> str:
    """A line of the table."""
    columns = []
    for spent in ([each.wall_ms for each in times], [each.cpu_ms for each in times]):
        spent.sort()
        ninety_ninth = spent[min(len(spent) - 1, round(0.99 * len(spent)))]
        columns += [statistics.median(spent), ninety_ninth, spent[-1]]
    return f"{name:<44}" + "".join(f" {column:>8.1f}" for column in columns)


def main() -> None:
    """Measure."""
    # What the daemon logs of each alarm stays out of the table.
    logging.disable(logging.WARNING)
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--turns", type=int, default=400)
    chosen = parser.parse_args()
    print(f"Goals by the clock: p99 {GOAL_MS:g} ms; at a burst {GOAL_BURST_MS:g} ms")
    head = "".join(f" {word:>8}" for word in ("p50", "p99", "max", "cpu p50", "p99", "max"))
    print(f"{'a turn, ms':<44}{head}")
    for history, rows in HISTORIES.items():
        for new, times in measure(rows, chosen.turns).items():
            print(shown(f"{new}, {history}", times), flush=True)
    times, passed_ms = burst()
    print(shown(f"{BURST} readings at once, {len(times)} turns", times))
    print(f"{'a breach behind them is judged after':<44} {passed_ms:>8.1f}")


if __name__ == "__main__":
    main()
