"""Running: what ``leeside run`` costs at 60 readings a second, MQTT QoS 1, page and default limits included.

Processor time from /proc/PID/stat and proportional set size from /proc/PID/smaps_rollup, over the supervisor and both
daemons. Broker and publisher are processes of their own and not counted.

About two and a half minutes; --seconds, --rate.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from brokers import Mosquitto
from cellars import cellar_text, leeside_run, running
from feed import Feed
from tree import cpu_s, members, pss_mb

from ingest.simulation.loopback import free_port

PROBES = 60
# Past the first round of summaries, which comes by the hour: some 0.6 s for sixty probes, 0.02 % of a core.
WARM_UP_S = 80.0
GOAL_PERCENT = 4.0
GOAL_MB = 180.0


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--rate", type=float, default=60.0)
    chosen = parser.parse_args()
    with TemporaryDirectory(prefix="leeside-benchmark-") as name, Mosquitto(Path(name)) as broker:
        file = Path(name) / "cellar.toml"
        page = f'\n[page]\naddress = "127.0.0.1:{free_port()}"\n'
        file.write_text(cellar_text(broker.port, PROBES, client_id="benchmark", more=page))
        with running(leeside_run(file)) as process, Feed(broker.port, PROBES, chosen.rate):
            time.sleep(WARM_UP_S)
            tree = members(process.pid)
            before = [cpu_s([member]) for member in tree]
            began = time.monotonic()
            time.sleep(chosen.seconds)
            took_s = time.monotonic() - began
            shares = [100 * (cpu_s([member]) - spent) / took_s for member, spent in zip(tree, before, strict=True)]
            sizes = [pss_mb(member) for member in tree]
            if tree != members(process.pid):
                raise SystemExit("a process of leeside ended while it was measured")
            names = [Path(f"/proc/{member}/cmdline").read_text().split("\0")[2] for member in tree]
    print(f"{'process':<28} {'% of a core':>12} {'PSS MB':>10}")
    for process_name, share, size in zip(names, shares, sizes, strict=True):
        print(f"{process_name:<28} {share:>12.2f} {size:>10.1f}")
    print(f"{'all':<28} {sum(shares):>12.2f} {sum(sizes):>10.1f}  goal {GOAL_PERCENT:g} % and {GOAL_MB:g} MB")


if __name__ == "__main__":
    main()
