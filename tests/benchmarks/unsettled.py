"""The cellar as it stands, from a store of which nothing is settled yet: how long the page's process works for it.

Ten kegs with pressure and temperature every 10 s for some days, all of it fresh, and a journal: as after days in which
the ingest daemon had no time for its upkeep, or where ``settle_after`` is long. Processor time of what ``/api/cellar``
and the cellar view are made of; then the same once the summaries are kept up, as they are a minute after a start. The
floor is measured in the same round: one look at every fresh row with bare sqlite3.

About a minute; --days.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from page_cellar import kegs_text, write_journal
from past import fill

from alerts.page.cellar.cellar_pieces import CellarPieces
from alerts.page.context import PageContext
from alerts.page.doors.tokens import Tokens
from alerts.so2.vessel_so2 import so2_inside
from alerts.view.status import cellar_status
from ingest.cellar import Cellar, parse_cellar
from ingest.probes.binding import declarations
from ingest.store import Store, create_or_open
from ingest.store.readings.series import declare
from ingest.store.readings.summaries import CatchUp

NOW_MS = 1_795_564_800_000
DAY_MS = 86_400_000
EVERY_MS = 10_000
ROUNDS = 3
_EVERY_ROW = "SELECT sum(number) FROM fresh WHERE at > 0"


def measure(cellar: Cellar, store: Store, head: str) -> None:
    """Measure each part against the look at every row, in alternating rounds."""
    context = PageContext(cellar, lambda: NOW_MS, Tokens(bytes(32)))

    def view() -> object:
        # A new one each time: with the pictures of the last day still to be made.
        return CellarPieces(context).make(store, cellar_status(cellar, store, NOW_MS))

    parts: dict[str, Callable[[], object]] = {
        "how places and alarms stand": lambda: cellar_status(cellar, store, NOW_MS),
        "SO2 of all wines": lambda: so2_inside(cellar, store, NOW_MS),
        "the cellar view, first time": view,
    }
    with store.read():
        times: dict[str, list[float]] = {name: [] for name in ("floor", *parts)}
        for _ in range(ROUNDS):
            times["floor"].append(_spent_ms(lambda: store.connection.execute(_EVERY_ROW).fetchone()))
            for name, part in parts.items():
                times[name].append(_spent_ms(part))
    print(f"{head:<34} {'min':>12} {'median':>12} {'max':>12} {'/ floor':>12}")
    for name, spent in times.items():
        ratio = statistics.median(each / bare for each, bare in zip(spent, times["floor"], strict=True))
        label = "one look at every row" if name == "floor" else name
        print(
            f"  {label:<32} {min(spent):>12,.1f} {statistics.median(spent):>12,.1f} {max(spent):>12,.1f} {ratio:>12.2f}"
        )


def _spent_ms(part: Callable[[], object]) -> float:
    began = time.process_time()
    part()
    return 1000 * (time.process_time() - began)


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=int, default=10)
    parser.add_argument("--folder", default="/var/tmp")
    chosen = parser.parse_args()
    with TemporaryDirectory(prefix="leeside-benchmark-", dir=chosen.folder) as name:
        cellar = parse_cellar(kegs_text(8420), file="cellar.toml", base=Path(name))
        with create_or_open(cellar.store_path, NOW_MS) as store:
            series = [*declare(store, declarations(cellar), NOW_MS - chosen.days * DAY_MS).values()]
            rows = chosen.days * DAY_MS // EVERY_MS * len(series)
            fill(store, series, rows, EVERY_MS, NOW_MS)
            write_journal(store, cellar, NOW_MS, 200)
            print(f"{rows:,} fresh rows of {len(series)} probes; ms of the processor")
            measure(cellar, store, "summaries not kept up yet")
            following = CatchUp(store)
            while following.slice():
                pass
            measure(cellar, store, "summaries kept up")


if __name__ == "__main__":
    main()
