"""Memory: a month of ten probes at 10 s through writer and upkeep at full speed, by a simulated clock; is it flat?

Resident set size of this process at the end of each day, after what is due of settling, summing up and pruning is done.
A leak of one small object for a reading would show as some 50 MB over the month.

About 3 minutes; --days.
"""

from __future__ import annotations

import argparse
import gc
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from cellars import cellar_text

from ingest.cellar import parse_cellar
from ingest.probes.binding import bindings, declarations, jump_steps
from ingest.probes.decode import Decoder
from ingest.probes.steadiness import Steadiness
from ingest.sources.sample import Sample
from ingest.store import create_or_open
from ingest.store.change_feed import SUMMARIES
from ingest.store.readings.series import declare
from ingest.writing.upkeep import Upkeep, UpkeepSettings
from ingest.writing.writer import Writer

PROBES = 10
EVERY_S = 10
COMMIT_S = 300
DAY_S = 86_400


def rss_mb() -> float:
    """Resident set size: proc_pid_status(5), VmRSS; 1 MB is 1024 KiB."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    raise SystemExit("the kernel has no VmRSS in /proc/self/status")


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=int, default=30)
    chosen = parser.parse_args()
    begin_ms = time.time_ns() // 1_000_000 // 86_400_000 * 86_400_000 - chosen.days * 86_400_000
    sizes = []
    with TemporaryDirectory(prefix="leeside-benchmark-") as name:
        cellar = parse_cellar(cellar_text(1883, PROBES, client_id="x"), file="cellar.toml", base=Path(name))
        with create_or_open(cellar.store_path, begin_ms) as store:
            series = declare(store, declarations(cellar), begin_ms)
            mono = 0.0
            writer = Writer(
                store,
                Decoder(bindings(cellar, series)),
                lambda tickets: None,
                lambda: 10**9,
                steadiness=Steadiness(jump_steps(cellar, series)),
                monotonic=lambda: mono,
            )
            upkeep = Upkeep(store, UpkeepSettings(cellar.store.settle_after_s), mono, (SUMMARIES,))
            print(f"{'day':>4} {'RSS MB':>8} {'file MB':>8} {'fresh':>8} {'feed':>8} {'readings a second':>18}")
            for day in range(chosen.days):
                began = time.perf_counter()
                for second in range(0, DAY_S, COMMIT_S):
                    for step in range(0, COMMIT_S, EVERY_S):
                        mono = float(day * DAY_S + second + step)
                        at_ms = begin_ms + round(mono * 1000)
                        for probe in range(PROBES):
                            number = f"{17 + (step + probe + second // 600) % 97 / 100:.2f}"
                            writer.offer(Sample("mqtt", f"cellar/R{probe}/air", number.encode(), at_ms, mono))
                    assert writer.turn(at_ms)
                    while upkeep.work(at_ms, mono):
                        pass
                took_s = time.perf_counter() - began
                gc.collect()
                sizes.append(rss_mb())
                fresh, feed = (
                    store.connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
                    for table in ("fresh", "touched")
                )
                size_mb = cellar.store_path.stat().st_size / 1e6
                rate = PROBES * DAY_S / EVERY_S / took_s
                print(f"{day + 1:>4} {sizes[-1]:>8.1f} {size_mb:>8.1f} {fresh:>8} {feed:>8} {rate:>18,.0f}", flush=True)
    if len(sizes) > 2:
        print(f"from day 2 to day {chosen.days}: {sizes[-1] - sizes[1]:+.1f} MB  goal: flat")


if __name__ == "__main__":
    main()
