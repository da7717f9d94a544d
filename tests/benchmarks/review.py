"""The review of a vessel: how long it takes, before a racking and before a bottling.

A year of ten kegs with a pressure and a temperature each, a reading every 10 s (63 million), settled and summed up, as
``page_history.py`` makes it; a lot in K1 that is racked to K2 half way, a titration every four weeks, the compensated
pressure judged each hour. Reviewed is K2, from the cellar file and the store to the points; then the same with the band
of free SO2 and the charts of the sheet, and the page without its pictures. Milliseconds of processor time in the
process; drawing the sheet takes a child process, whose time is printed beside it, by the clock.

About 8 minutes, most of it to make the year; --rounds, --days, --vessels.
"""

from __future__ import annotations

import argparse
import asyncio
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Literal

import httpx
from a_winter import winter_cellar
from page_history import fill
from rounds import print_spread
from weathered import DAY_MS

from alerts.page.app import make_app
from alerts.pictures import ReviewSheet, draw
from alerts.review import ReviewAsked, free_so2_band, review_charts, review_sheet, whole_review
from ingest.cellar import Cellar
from ingest.store import create_or_open, open_existing

GOAL_MS = 1000.0
PURPOSES: tuple[Literal["racking", "bottling"], ...] = ("racking", "bottling")
# Seconds that a child may take.
PATIENT_S = 120.0


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
        print(f"{'processor time':<34} {'min':>12} {'median':>12} {'max':>12}")
        for purpose in PURPOSES:
            spread(f"before a {purpose}", chosen.rounds, partial(reviewed, cellar, purpose, now_ms))
        spread("with band and charts", chosen.rounds, partial(charted, cellar, now_ms))
        asyncio.run(page(cellar, now_ms, chosen.rounds))
        began = time.perf_counter()
        draw(charted(cellar, now_ms), "pdf", PATIENT_S)
        print(f"the sheet as PDF, by the clock     {1000 * (time.perf_counter() - began):9,.0f} ms")


def spread(name: str, rounds: int, act: Callable[[], object]) -> None:
    """Print how long something takes."""
    act()  # what is read once is read
    took_ms = []
    for _ in range(rounds):
        began = time.process_time()
        act()
        took_ms.append(1000 * (time.process_time() - began))
    print_spread(name, took_ms, f"ms  goal {GOAL_MS:g}")


def reviewed(cellar: Cellar, purpose: Literal["racking", "bottling"], now_ms: int) -> object:
    """Review a vessel; the store is opened as the page opens it."""
    with open_existing(cellar.store_path) as store, store.read():
        return whole_review(cellar, store, ReviewAsked(vessel="K2", purpose=purpose), "cellar.toml", now_ms)


def charted(cellar: Cellar, now_ms: int) -> ReviewSheet:
    """Make the sheet, without drawing it."""
    with open_existing(cellar.store_path) as store, store.read():
        found = whole_review(cellar, store, ReviewAsked(vessel="K2"), "cellar.toml", now_ms)
        band = free_so2_band(cellar, store, found.facts)
    return review_sheet(found.review, review_charts(found.facts, band), cellar.site.name, cellar.site.zone)


async def page(cellar: Cellar, now_ms: int, rounds: int) -> None:
    """Ask the page for it."""
    transport = httpx.ASGITransport(app=make_app(cellar, lambda: now_ms))
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8420") as client:
        took_ms, sent = [], 0
        for number in range(rounds + 1):
            began = time.process_time()
            answer = await client.get("/review/K2")
            sent = len(answer.content)
            if answer.status_code != 200:
                raise SystemExit(f"the page answered {answer.status_code}")
            if number:
                took_ms.append(1000 * (time.process_time() - began))
        print_spread("the page, without its pictures", took_ms, f"ms {sent:9,} bytes")


if __name__ == "__main__":
    main()
