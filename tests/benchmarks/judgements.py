"""Judgements: the turns that take up the judgements of all vessels, which a judge keeps at once.

So many kegs, each with a probe of pressure and one of temperature, and the five judgements on the gas of each that
limits are judged by. Each minute their readings come and a turn judges them, which is not counted; then the judge's
answer is kept, and turns follow one another until they have taken it up. In each answer one leak has grown beyond its
limit, in the keg that comes last by its name: how long after the answer its alarm stands. The leak of the minute before
has stopped.

The floor is measured in the same minute: the same rows read with bare sqlite3, and each number compared with a
setpoint. All times are of the processor, which other programs disturb less than those by the clock; one line says how
long the longest turns took by the clock.

About a minute; --vessels, --minutes.
"""

from __future__ import annotations

import argparse
import gc
import logging
import sqlite3
import statistics
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from cellar_text import keg, mqtt, probe, room, site, temperature
from rounds import print_spread

from alerts.turning.turner import Turner
from alerts.watch.turn_inputs import Now
from ingest.cellar import Cellar, parse_cellar
from ingest.judgement import Judgement
from ingest.probes.binding import declarations
from ingest.pulse import BrokerPulse, IngestPulse
from ingest.store import create_or_open
from ingest.store.alarms.alarm_record import transitions
from ingest.store.judgements import keep_judgements
from ingest.store.pulse_rows import write_pulse
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

NOW_MS = 1_795_564_800_000
MINUTE_MS = 60_000
GOAL_MS = 50.0
# What each judgement says while all is well, in the unit of its quantity.
USUAL = {
    "compensated_pressure": 55.0,
    "leak_rate": 0.0,
    "gas_gain_rate": 0.0,
    "hours_to_air_floor": 2000.0,
    "hours_to_air_floor_by_cold": 2000.0,
}
# mL/min: beyond every limit on a leak.
LEAK_ML_MIN = 40.0
# As long as what the judge of the gas gives beside a compensated pressure.
DETAILS = {f"number_{number}": 1.2345 for number in range(30)}


def a_cellar(folder: Path, vessels: int) -> Cellar:
    """Kegs with two probes each; all share a broker."""
    tables = [
        keg(f"K{n}", room="cellar")
        + probe(f"p{n}", f"K{n}", topic=f"{n}/p", unit="kPa")
        + temperature(f"t{n}", f"K{n}", topic=f"{n}/t", mounted="wine")
        for n in range(vessels)
    ]
    return parse_cellar("\n".join((site(), mqtt(), room(), *tables)), file="cellar.toml", base=folder)


def answer(vessels: int, minute: int) -> list[Judgement]:
    """What the judge says at the end of a minute: in every other one the keg that is last by its name leaks."""
    names = sorted(f"K{n}" for n in range(vessels))
    at_ms, leaking = NOW_MS + minute * MINUTE_MS, names[-1] if minute % 2 else ""
    rows = []
    for place in names:
        for name, value in USUAL.items():
            is_leak = place == leaking and name == "leak_rate"
            rows.append(
                Judgement(
                    place,
                    name,
                    at_ms,
                    LEAK_ML_MIN if is_leak else value,
                    finding="fast leak" if is_leak else "sound",
                    details=DETAILS if name == "compensated_pressure" else {},
                )
            )
    return rows


def floor_ms(connection: sqlite3.Connection) -> float:
    """Milliseconds for the bare read of the rows, and a comparison for each."""
    began = time.process_time()
    beyond = 0
    for _, _, _, value, _ in connection.execute("SELECT place, name, at_ms, value, finding FROM judgement"):
        beyond += value > LEAK_ML_MIN
    return 1000 * (time.process_time() - began)


def measure(vessels: int, minutes: int) -> None:
    """Measure the turns of each minute."""
    idle: list[float] = []
    longest, by_the_clock, whole, floor, until_alarm, ratios = [], [], [], [], [], []
    with TemporaryDirectory(prefix="leeside-benchmark-") as name:
        cellar = a_cellar(Path(name), vessels)
        with create_or_open(cellar.store_path, NOW_MS) as store, create_or_open(cellar.store_path, NOW_MS) as other:
            numbers = declare(other, declarations(cellar), NOW_MS)
            turner, appender = Turner(cellar, store, Now(NOW_MS, 0.0)), Appender(other)
            gc.collect()
            gc.freeze()  # as the daemon does once it has started
            print(f"{vessels:,} kegs, {turner.limit_count:,} limits, {len(USUAL) * vessels:,} judgements a minute")

            def turn(second: float) -> tuple[float, float]:
                began, worked = time.perf_counter(), time.process_time()
                turner.turn(Now(NOW_MS + round(1000 * second), second))
                return 1000 * (time.process_time() - worked), 1000 * (time.perf_counter() - began)

            for minute in range(minutes + 2):
                second = 60.0 * minute
                at_ms = NOW_MS + round(1000 * second)
                appender.append(
                    [(series, at_ms, 13.0 if id.startswith("t") else 55.0, 0) for id, series in numbers.items()]
                )
                with other.write() as connection:
                    write_pulse(connection, IngestPulse(mqtt=BrokerPulse(connected=True)), at_ms, NOW_MS)
                turn(second + 1)
                while turner.has_news():
                    turn(second + 2)
                idle.append(turn(second + 3)[0])
                before = len(transitions(store))
                with other.write() as connection:
                    keep_judgements(connection, "gas", answer(vessels, minute))
                bare = floor_ms(other.connection)
                times: list[float] = []
                clock: list[float] = []
                alarm_ms = None
                while turner.has_news():
                    for spent, each in zip((times, clock), turn(second + 4 + len(times) / 10), strict=True):
                        spent.append(each)
                    if alarm_ms is None and len(transitions(store)) != before:
                        alarm_ms = sum(times)
                if minute < 2:
                    continue  # all that there is comes with the first
                floor.append(bare)
                longest.append(max(times))
                by_the_clock.append(max(clock))
                whole.append(sum(times))
                ratios.append(max(times) / bare)
                if minute % 2 and alarm_ms is not None:
                    until_alarm.append(alarm_ms)
    print(f"{'':<34} {'min':>12} {'median':>12} {'max':>12}")
    print_spread("a turn with nothing new", idle[2:], "ms")
    print_spread("the longest turn of an answer", longest, f"ms, goal {GOAL_MS:g}")
    print_spread("  by the clock", by_the_clock, "ms")
    print_spread("all turns of an answer", whole, "ms")
    if until_alarm:
        print_spread("turns until the leak's alarm", until_alarm, "ms")
    print_spread("the bare read", floor, "ms")
    print(
        f"{'longest turn / bare read':<34} {min(ratios):>12.1f} {statistics.median(ratios):>12.1f} {max(ratios):>12.1f}"
    )


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--vessels", type=int, default=1000)
    parser.add_argument("--minutes", type=int, default=20)
    chosen = parser.parse_args()
    logging.disable(logging.WARNING)
    measure(chosen.vessels, chosen.minutes)


if __name__ == "__main__":
    main()
