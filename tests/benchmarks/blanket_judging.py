"""Judging the gas over 1,000 wines: what one judging costs, what a start costs, memory, and the turn beside it.

Each vessel has a probe of pressure and one of temperature with a reading a minute, and one barometer for all. First
the judge starts with a settled past of some days; its cost is given for three weeks of it. Then a minute passes,
again and again: its readings come, and all vessels are judged. Processor time of the judge's thread alone, split into
the detector's and what lies around it (following the store, feeding, making rows). Then the same goes on in a thread
while turns are made with those readings.

About three minutes; --vessels, --minutes, --days, --without-barometer.
"""

from __future__ import annotations

import argparse
import logging
import time
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Thread

import numpy as np
from cellar_text import keg, mqtt, probe, room, site, temperature
from memory import rss_mb
from rounds import percentile, print_spread

from alerts.blanket.cellar_watch import WINDOW_MS
from alerts.blanket.judge import GasJudge
from alerts.gas.blanket_facts import BlanketFacts, BlanketJudgement, BlanketPoint, EpisodeCause
from alerts.gas.blanket_watch import BlanketWatch
from alerts.turning.turner import Turner
from alerts.watch.turn_inputs import Now
from ingest.cellar import Cellar, parse_cellar
from ingest.probes.binding import declarations
from ingest.reading import Row
from ingest.store import Store, create_or_open
from ingest.store.judgements import keep_judgements
from ingest.store.readings.block import Arrays
from ingest.store.readings.bulk_import import BulkImport, Piece
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

NOW_MS = 1_795_564_800_000
MINUTE_MS = 60_000
DAY_MS = 86_400_000
GOAL_S = 2.0


class Timed(BlanketWatch):
    """A detector that adds up the processor time of its thread."""

    spent_s = 0.0

    def __init__(self, facts: BlanketFacts, *, later_ms: int = 0, silent_ms: int = 1_800_000) -> None:
        began = time.thread_time()
        super().__init__(facts, later_ms=later_ms, silent_ms=silent_ms)
        Timed.spent_s += time.thread_time() - began

    def begin_episode(self, at_ms: int, cause: EpisodeCause, facts: BlanketFacts) -> None:
        began = time.thread_time()
        super().begin_episode(at_ms, cause, facts)
        Timed.spent_s += time.thread_time() - began

    def add(self, point: BlanketPoint) -> None:
        began = time.thread_time()
        super().add(point)
        Timed.spent_s += time.thread_time() - began

    def judge(self, at_ms: int) -> BlanketJudgement:
        began = time.thread_time()
        judgement = super().judge(at_ms)
        Timed.spent_s += time.thread_time() - began
        return judgement


class Kegs:
    """So many kegs in a room whose temperature swings by night."""

    def __init__(self, cellar: Cellar, store: Store) -> None:
        self.series = declare(store, declarations(cellar), NOW_MS - 30 * DAY_MS)
        self._random = np.random.default_rng(7)
        self._offsets = {number: 10.0 * self._random.random() for number in self.series.values()}

    def values(self, probe: str, at_ms: np.ndarray) -> np.ndarray:
        """What a probe reads at these times."""
        celsius = 13.0 + 1.5 * np.sin(2 * np.pi * at_ms / DAY_MS)
        noise = self._random.normal(0.0, 0.02, len(at_ms))
        if probe == "barometer":
            return np.round(97.0 + np.sin(2 * np.pi * at_ms / (5 * DAY_MS)) + noise, 2)
        if probe.startswith("t"):
            return np.round(celsius + noise, 2)
        return np.round(50.0 + self._offsets[self.series[probe]] + 1.1 * (celsius - 13.0) + noise, 2)

    def past(self, store: Store, days: int) -> None:
        """Put whole days up to now into the store, settled."""
        at_ms = np.arange(NOW_MS - days * DAY_MS, NOW_MS, MINUTE_MS, dtype=np.int64)
        good = np.zeros(len(at_ms), np.uint16)
        importing = BulkImport(store, [*self.series.values()])
        importing.take(
            Piece(number, Arrays(at_ms, self.values(probe, at_ms), good)) for probe, number in self.series.items()
        )

    def minute(self, at_ms: int) -> list[Row]:
        """The readings of a minute."""
        times = np.array([at_ms])
        return [
            (number, at_ms + 1000 + index % 50_000, float(self.values(probe, times)[0]), 0)
            for index, (probe, number) in enumerate(self.series.items())
        ]


def a_cellar(folder: Path, vessels: int, *, barometer: bool = True) -> Cellar:
    """Kegs with two probes each, and a barometer."""
    tables = [
        keg(f"K{n}", room="cellar")
        + probe(f"p{n}", f"K{n}", topic=f"{n}/p")
        + temperature(f"t{n}", f"K{n}", topic=f"{n}/t", mounted="wine")
        for n in range(vessels)
    ]
    air = [probe("barometer", "cellar", quantity="barometric_pressure", topic="air/p")] if barometer else []
    text = (site(altitude="340 m"), mqtt(), room(), *air, *tables)
    return parse_cellar("\n".join(text), file="cellar.toml", base=folder)


def measure_start(cellar: Cellar, store: Store, judge: GasJudge, vessels: int, days: int) -> None:
    """What reading the past costs, as if it were three weeks."""
    began, wall, before_mb = time.thread_time(), time.perf_counter(), rss_mb()
    rows: Sequence[object] = ()
    calls = 0
    while len(rows) < 5 * vessels:
        rows = judge.judge(cellar, store, NOW_MS + 6000)
        calls += 1
    spent_s, weeks = time.thread_time() - began, WINDOW_MS / DAY_MS / days
    detector_ms = 1000.0 * Timed.spent_s * weeks / vessels
    whole_ms = 1000.0 * spent_s * weeks / vessels
    took_s = time.perf_counter() - wall
    print(f"start with {days} d of a reading a minute, {vessels:,} vessels: {took_s:.1f} s in {calls} calls")
    print(f"  for three weeks, per vessel: {whole_ms:.1f} ms, of which the detector {detector_ms:.1f} ms")
    print(f"  memory: {(rss_mb() - before_mb) * 1024 / vessels:.0f} KiB a vessel")


def measure_minutes(cellar: Cellar, store: Store, judge: GasJudge, kegs: Kegs, minutes: int) -> None:
    """What a minute of all vessels costs."""
    appender = Appender(store)
    whole, detector, keeping = [], [], []
    for step in range(minutes):
        appender.append(kegs.minute(NOW_MS + step * MINUTE_MS))
        began, before = time.thread_time(), Timed.spent_s
        rows = judge.judge(cellar, store, NOW_MS + (step + 1) * MINUTE_MS + 6000)
        whole.append(1000.0 * (time.thread_time() - began))
        detector.append(1000.0 * (Timed.spent_s - before))
        began = time.thread_time()
        with store.write() as connection:
            keep_judgements(connection, "gas", rows)
        keeping.append(1000.0 * (time.thread_time() - began))
    around = [all_of_it - part for all_of_it, part in zip(whole, detector, strict=True)]
    print(f"\n{'a minute of all vessels':<34} {'min':>12} {'median':>12} {'max':>12}")
    print_spread("  judged", whole, f"ms (goal {1000 * GOAL_S:g})")
    print_spread("    the detector", detector, "ms")
    print_spread("    what lies around it", around, "ms")
    print_spread("  kept in the store", keeping, "ms")


def measure_turns(cellar: Cellar, store: Store, judge: GasJudge, kegs: Kegs, after: int) -> None:
    """A turn with the readings of a minute, alone and while the judge works."""
    # What it says of a test's past is of no interest.
    logging.getLogger("alerts").setLevel(logging.CRITICAL)
    turner, appender = Turner(cellar, store, Now(NOW_MS + after * MINUTE_MS, 0.0)), Appender(store)
    for second in range(20):
        turner.turn(Now(NOW_MS + after * MINUTE_MS + second, float(second)))
    times: dict[str, list[float]] = {"alone": [], "beside the judge": []}
    with create_or_open(cellar.store_path, NOW_MS) as other:

        def work(now_ms: int) -> None:
            judge.judge(cellar, other, now_ms)

        for step in range(after, after + 30):
            for name, at_ms in (("alone", 0), ("beside the judge", 30_000)):
                now_ms = NOW_MS + step * MINUTE_MS + at_ms
                rows = [(number, now_ms + 1, value, 0) for number, _, value, _ in kegs.minute(now_ms)[:400]]
                appender.append(rows)
                thread = Thread(target=work, args=(now_ms + MINUTE_MS + 6000,))
                if name != "alone":
                    thread.start()
                for turn in range(4):
                    began = time.perf_counter()
                    turner.turn(Now(now_ms + 10 + turn, 100.0 + step * 60.0 + at_ms / 1000 + turn))
                    times[name].append(1000.0 * (time.perf_counter() - began))
                if name != "alone":
                    thread.join()
    print(f"\n{'turns':<34} {'min':>12} {'median':>12} {'max':>12}")
    for name, found in times.items():
        print_spread(f"  {name}", found, f"ms, 99 %: {percentile(found, 0.99):.0f}")


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--vessels", type=int, default=1000)
    parser.add_argument("--minutes", type=int, default=20)
    parser.add_argument("--days", type=int, default=2)
    parser.add_argument("--without-barometer", action="store_true", help="gauges show each other the weather")
    parser.add_argument("--folder", default="/var/tmp")
    chosen = parser.parse_args()
    with TemporaryDirectory(prefix="leeside-benchmark-", dir=chosen.folder) as name:
        cellar = a_cellar(Path(name), chosen.vessels, barometer=not chosen.without_barometer)
        with create_or_open(cellar.store_path, NOW_MS) as store:
            kegs = Kegs(cellar, store)
            kegs.past(store, chosen.days)
            judge = GasJudge(Timed)
            measure_start(cellar, store, judge, chosen.vessels, chosen.days)
            measure_minutes(cellar, store, judge, kegs, chosen.minutes)
            measure_turns(cellar, store, judge, kegs, chosen.minutes + 5)


if __name__ == "__main__":
    main()
