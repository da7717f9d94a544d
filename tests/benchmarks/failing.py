"""Failing lines: what the ingest daemon costs with fifty probes while one line is dead, one babbles, one flaps.

35 probes at the broker say a number a second. The babbling line brings noise as fast as 115,200 baud can. Processor
time from /proc/PID/stat and proportional set size from /proc/PID/smaps_rollup. A loop that never rests would take a
whole core.

About a minute; --seconds.
"""

from __future__ import annotations

import argparse
import sys
import threading
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from brokers import Mosquitto
from cellar_text import write_cellar
from cellars import running
from failing_lines import Babbler, Flapping, cellar_of_fifty, feed
from tree import cpu_s, pss_mb

WARM_UP_S = 5.0
GOAL_PERCENT = 5.0
GOAL_MB = 80.0


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=60.0)
    seconds = parser.parse_args().seconds
    stop = threading.Event()
    babbler = Babbler()
    with TemporaryDirectory(prefix="leeside-benchmark-") as name, Mosquitto(Path(name)) as broker:
        folder = Path(name)
        flapping = Flapping(folder / "flapping")
        devices = {"dead": folder / "nowhere", "babbling": babbler.device, "flapping": flapping.name}
        file = write_cellar(folder, cellar_of_fifty(broker.port, devices))
        feeder = threading.Thread(target=feed, args=(broker.port, int(seconds + WARM_UP_S), 1.0, stop))
        with running([sys.executable, "-m", "ingest.daemon", str(file)]) as process:
            feeder.start()
            time.sleep(WARM_UP_S)
            before, began, flaps = cpu_s([process.pid]), time.monotonic(), 0
            while time.monotonic() - began < seconds:
                flapping.plug_in(process.pid)
                flaps += 1
                time.sleep(2.0)
                flapping.pull_out()
                time.sleep(2.0)
            share = 100 * (cpu_s([process.pid]) - before) / (time.monotonic() - began)
            memory_mb = pss_mb(process.pid)
            stop.set()
            feeder.join()
    babbler.close()
    print(f"ingest: {share:.1f} % of a core, {memory_mb:.0f} MB PSS, the third line plugged in {flaps} times")
    print(f"goal: {GOAL_PERCENT:g} %, {GOAL_MB:g} MB")


if __name__ == "__main__":
    main()
