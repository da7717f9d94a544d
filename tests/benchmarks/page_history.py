"""The history on the page: what a chart of a vessel or a lot costs on the server's side, by its span.

A year of ten kegs with a pressure and a temperature each, a reading every 10 s (63 million), settled and summed up; a
lot in K1 that is racked to K2 half way, a titration every four weeks, the compensated pressure judged each hour. Asked
in the process, as a browser asks: the answer as it goes out, compressed. Per span: milliseconds of processor time for
``/api/history`` and for ``/api/history/estimate``, and bytes on the wire; the table and the page itself beside it.

About 8 minutes, most of it to make the year; --rounds, --days, --vessels.
"""

from __future__ import annotations

import argparse
import asyncio
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import httpx
import numpy as np
from a_winter import LOT, winter_cellar
from rounds import print_spread
from weathered import DAY_MS, cellar_year

from alerts.page.app import make_app
from ingest.cellar import Cellar
from ingest.entering import enter
from ingest.judgement import Judgement
from ingest.probes.binding import declarations
from ingest.store import Store, create_or_open
from ingest.store.judgements import HOUR_MS, keep_judgements
from ingest.store.readings.block import Arrays
from ingest.store.readings.bulk_import import BulkImport, Piece
from ingest.store.readings.series import declare
from ingest.store.readings.summaries import CatchUp
from ingest.times import iso_utc

# ms and bytes of the chart of a year.
GOAL_MS = 50.0
GOAL_BYTES = 200_000
SPANS = ("hour", "day", "week", "month", "season", "year")


def fill(store: Store, cellar: Cellar, days: int, now_ms: int) -> None:
    """Bring in the year."""
    series = declare(store, declarations(cellar), now_ms - days * DAY_MS)
    for number, probe in enumerate((probe for probe in cellar.probe if probe.quantity != "pH"), 1):
        made = cellar_year(number, days, now_ms)
        values = made.values if probe.quantity == "temperature" else np.round(55 + 0.5 * (made.values - 17), 2)
        quality = np.zeros(len(made.at_ms), np.uint16)
        BulkImport(store, [series[probe.id]]).take([Piece(series[probe.id], Arrays(made.at_ms, values, quality))])
    following = CatchUp(store)
    while following.slice():
        pass
    write(store, cellar, days, now_ms)
    judge(store, days, now_ms)


def write(store: Store, cellar: Cellar, days: int, now_ms: int) -> None:
    """Write the lot's journal."""

    def act(days_ago: float, kind: str, **answers: object) -> None:
        at = iso_utc(now_ms - round(days_ago * DAY_MS))
        told = {key.rstrip("_"): value for key, value in answers.items()}
        enter(store, cellar, kind, told, who="Ana", now_ms=now_ms, at=at)  # type: ignore[arg-type]  # as typed

    act(days - 1, "lot", lot=LOT, name="Rebula", style="white")
    act(days - 1, "first-filling", vessel="K1", lot=LOT, volume="18.4 L")
    act(days - 2, "measurement", lot=LOT, quantity="pH", value="3.40", uncertainty="0.03")
    act(days / 2, "racking", **{"from": ("K1",), "to": ("K2=17.8L",), "lees": "0.5 L"})
    for days_ago in range(1, days - 3, 28):
        vessel = "K1" if days_ago > days / 2 else "K2"
        result = {"result": f"{25 + days_ago % 7} mg/L"}
        act(days_ago, "titration", vessel=vessel, quantity="free", method="elsewhere", **result)


def judge(store: Store, days: int, now_ms: int) -> None:
    """Keep a compensated pressure of each hour and keg."""
    with store.write() as connection:
        for at_ms in range(now_ms - days * DAY_MS, now_ms, HOUR_MS):
            rows = [Judgement(keg, "compensated_pressure", at_ms, 55.0, 54.0, 56.0, "sound") for keg in ("K1", "K2")]
            keep_judgements(connection, "gas", rows)


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=10)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--vessels", type=int, default=10)
    parser.add_argument("--folder", default="/var/tmp")
    chosen = parser.parse_args()
    now_ms = time.time_ns() // 1_000_000
    with TemporaryDirectory(prefix="leeside-benchmark-", dir=chosen.folder) as name:
        cellar = winter_cellar(Path(name), vessels=chosen.vessels)
        with create_or_open(cellar.store_path, now_ms - chosen.days * DAY_MS) as store:
            fill(store, cellar, chosen.days, now_ms)
        asyncio.run(measure(cellar, now_ms, chosen.rounds))


async def measure(cellar: Cellar, now_ms: int, rounds: int) -> None:
    """Ask, span by span."""
    transport = httpx.ASGITransport(app=make_app(cellar, lambda: now_ms))
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8420") as client:

        async def ask(path: str, goal: str = "") -> None:
            took_ms, sent = [], 0
            await client.get(path)  # what is read once is read
            for _ in range(rounds):
                began = time.process_time()
                async with client.stream("GET", path, headers={"accept-encoding": "gzip"}) as reply:
                    sent = sum([len(piece) async for piece in reply.aiter_raw()])
                took_ms.append(1000 * (time.process_time() - began))
                if reply.status_code != 200:
                    raise SystemExit(f"{path}: {reply.status_code}")
            print_spread(
                path.replace("/history?", "?").replace("/history/", "/").replace(LOT, "..")[:34],
                took_ms,
                f"ms {sent:9,} bytes  {goal}",
            )

        print(f"{'processor time':<34} {'min':>12} {'median':>12} {'max':>12}")
        for span in SPANS:
            goal = f"goal {GOAL_MS:g} ms, {GOAL_BYTES:,} bytes" if span == "year" else ""
            await ask(f"/api/history?vessel=K1&span={span}", goal)
        for span in ("month", "year"):
            await ask(f"/api/history?lot={LOT}&span={span}")
            await ask(f"/api/history/estimate?lot={LOT}&span={span}")
        await ask(f"/history?lot={LOT}&span=year")
        await ask(f"/history/table?lot={LOT}&span=year")
        await ask(f"/history.csv?lot={LOT}&span=year")


if __name__ == "__main__":
    main()
