"""The cellar view: how long it takes and how large it is with a year of ten kegs, and what one viewer costs.

Ten kegs with pressure and temperature every 10 s for a year, the last two hours of it not settled, and a journal; the
page's own process on this machine, asked over HTTP: first answer, then twenty more, bytes. The same by Chromium as a
phone of 360 pixels shows it, its processor slowed down four times, behind 10 Mbit/s with 40 ms: first paint, bytes of
page, style sheets and scripts. Then ``leeside run`` with 60 readings a second of 60 probes and one who watches the
cellar view, as ``upright.py`` measures it without.

About 15 minutes, mostly for making the year; --days, --seconds; --only view or viewer.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import threading
import time
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import httpx
import numpy as np
from a_browser import running_browser
from brokers import Mosquitto
from cellars import cellar_text, leeside_run, running
from feed import Feed
from past import fill
from rounds import print_spread
from settled import bring
from tree import cpu_s, members, pss_mb
from weathered import DAY_MS, EVERY_MS, Made, cellar_year

from ingest.cellar import Cellar, parse_cellar
from ingest.entering import enter
from ingest.probes.binding import declarations
from ingest.simulation.loopback import free_port
from ingest.store import Store, create_or_open
from ingest.store.readings.series import declare
from ingest.store.readings.summaries import CatchUp
from ingest.times import iso_utc

VESSELS = 10
ASKED = 20
FRESH_MS = 2 * 3_600_000
PROBES = 60
WARM_UP_S = 80.0
LONGEST_START_S = 120.0
GOAL_MS, GOAL_PAINT_MS, GOAL_KB = 300.0, 1000.0, 150.0
GOAL_PERCENT, GOAL_MB = 8.0, 220.0
PHONE = {"offline": False, "latency": 40, "downloadThroughput": 10e6 / 8, "uploadThroughput": 10e6 / 8}


def kegs_text(port: int) -> str:
    """A cellar file with ten kegs, each with pressure and temperature."""
    head = f"""
[site]
name = "benchmark"
timezone = "Europe/Ljubljana"
[store]
path = "cellar.db"
[mqtt]
host = "127.0.0.1"
port = 1
[page]
address = "127.0.0.1:{port}"
[[room]]
id = "cellar"
volume = "30 m3"
"""
    kegs = "".join(
        f"""
[[vessel]]
id = "K{number}"
kind = "keg"
capacity = "19.5 L"
gas = "nitrogen"
max_pressure = "200 kPa"
room = "cellar"
[[probe]]
id = "k{number}-pressure"
at = "K{number}"
quantity = "pressure"
topic = "k{number}/p"
unit = "kPa"
every = "10 s"
[[probe]]
id = "k{number}-temperature"
at = "K{number}"
quantity = "temperature"
mounted = "wall"
topic = "k{number}/t"
unit = "degC"
every = "10 s"
"""
        for number in range(1, VESSELS + 1)
    )
    return head + kegs


def make_year(folder: Path, port: int, days: int) -> tuple[Path, Cellar]:
    """Write the cellar file and its store."""
    file = folder / "cellar.toml"
    file.write_text(kegs_text(port))
    cellar = parse_cellar(file.read_text(), file=str(file), base=folder)
    now_ms = time.time_ns() // 1_000_000
    settled_until_ms = now_ms - FRESH_MS
    with create_or_open(cellar.store_path, now_ms) as store:
        series = declare(store, declarations(cellar), now_ms - days * DAY_MS)
        for number in range(1, VESSELS + 1):
            made = cellar_year(number, days, settled_until_ms)
            bring(store, series[f"k{number}-temperature"], made)
            # 55 kPa of a tight keg follow the temperature by some 0.6 kPa a degree.
            pressure = np.round(55 + 0.6 * (made.values - 17), 1)
            bring(store, series[f"k{number}-pressure"], Made(made.at_ms, pressure))
            print(f"  K{number} is in the store", flush=True)
        following = CatchUp(store)
        while following.slice():
            pass
        fill(store, [*series.values()], FRESH_MS // EVERY_MS * len(series), EVERY_MS, now_ms)
        write_journal(store, cellar, now_ms, min(days, 300))
    return file, cellar


def write_journal(store: Store, cellar: Cellar, now_ms: int, days: int) -> None:
    """A filling and a titration a month for each keg."""

    def write(kind: str, days_ago: float, **answers: str) -> None:
        at = iso_utc(now_ms - round(days_ago * DAY_MS))
        enter(store, cellar, kind, dict(answers), who="Ana", now_ms=now_ms, at=at)

    for number in range(1, VESSELS + 1):
        write("lot", days - 0.5, lot=f"L{number}", name=f"L{number}", style="white")
        write("first-filling", days - 0.6, vessel=f"K{number}", lot=f"L{number}", volume="17.5 L")
        for ago in range(5, days - 2, 30):
            write(
                "titration",
                ago,
                vessel=f"K{number}",
                quantity="free",
                method="elsewhere",
                result=f"{20 + ago / 12:.0f} mg/L",
            )


def wait_for(client: httpx.Client, url: str) -> None:
    """Wait until the page is served."""
    began = time.monotonic()
    while True:
        try:
            client.get(url).raise_for_status()
            return
        except httpx.TransportError:
            if time.monotonic() - began > LONGEST_START_S:
                raise
            time.sleep(0.1)


def ask_view(file: Path, port: int) -> None:
    """Measure the answers of the page's process."""
    address = f"http://127.0.0.1:{port}/"
    with subprocess.Popen([sys.executable, "-m", "alerts.page.serving", str(file)]) as page:
        try:
            with httpx.Client(timeout=60) as client:
                wait_for(client, f"{address}static/leeside.css")
                times_ms = []
                for _ in range(1 + ASKED):
                    began = time.perf_counter()
                    answer = client.get(address)
                    answer.raise_for_status()
                    times_ms.append(1000 * (time.perf_counter() - began))
            print(f"{'':<34} {'min':>12} {'median':>12} {'max':>12}")
            print_spread("cellar view, first", times_ms[:1], f"ms  goal {GOAL_MS:g}")
            print_spread("cellar view, then", times_ms[1:], f"ms  goal {GOAL_MS:g}")
            print(f"{'cellar view, HTML':<34} {len(answer.content) / 1000:>12.1f} kB")
            show_on_phone(address)
        finally:
            page.terminate()


def show_on_phone(address: str) -> None:
    """Measure the first paint, and what has to be loaded for it and for the script."""
    paints_ms, loaded_kb = [], []
    with running_browser() as browser:
        for _ in range(5):
            context = browser.new_context(viewport={"width": 360, "height": 640}, device_scale_factor=3)
            tab = context.new_page()
            phone = context.new_cdp_session(tab)
            loaded: list[float] = []

            def count(event: dict[str, Any], loaded: list[float] = loaded) -> None:
                loaded.append(event["encodedDataLength"])

            phone.on("Network.loadingFinished", count)
            phone.send("Network.enable")
            phone.send("Network.emulateNetworkConditions", PHONE)
            phone.send("Emulation.setCPUThrottlingRate", {"rate": 4})
            tab.goto(address, wait_until="load")
            paint = "performance.getEntriesByName('first-contentful-paint')[0].startTime"
            tab.wait_for_function(f"{paint} > 0")
            paints_ms.append(float(tab.evaluate(paint)))
            loaded_kb.append(sum(loaded) / 1000)
            context.close()
    print_spread("first paint on a phone", paints_ms, f"ms  goal {GOAL_PAINT_MS:g}")
    print_spread("loaded for it", loaded_kb, f"kB  goal {GOAL_KB:g}")


class Viewer:
    """Watches the cellar view as a browser does: the page once, then its events, counted."""

    def __init__(self, address: str) -> None:
        self._address = address
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self.bytes = self.events = 0

    def __enter__(self) -> Viewer:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(15)

    def _watch(self) -> None:
        with httpx.Client(timeout=60) as client:
            wait_for(client, self._address)
            with client.stream("GET", f"{self._address}events") as events:
                for chunk in events.iter_bytes():
                    self.bytes += len(chunk)
                    self.events += chunk.count(b"\n\n")
                    if self._stop.is_set():
                        return


def run_with_viewer(seconds: float) -> None:
    """Measure all processes of ``leeside run`` while one person watches."""
    port = free_port()
    with TemporaryDirectory(prefix="leeside-benchmark-") as name, Mosquitto(Path(name)) as broker:
        file = Path(name) / "cellar.toml"
        page = f'\n[page]\naddress = "127.0.0.1:{port}"\n'
        file.write_text(cellar_text(broker.port, PROBES, client_id="benchmark", more=page))
        with running(leeside_run(file)) as process, Feed(broker.port, PROBES, float(PROBES)):
            time.sleep(WARM_UP_S / 2)
            with Viewer(f"http://127.0.0.1:{port}/") as viewer:
                time.sleep(WARM_UP_S / 2)
                tree = members(process.pid)
                before = [cpu_s([member]) for member in tree]
                sent, began = viewer.bytes, time.monotonic()
                time.sleep(seconds)
                took_s = time.monotonic() - began
                shares = [100 * (cpu_s([member]) - spent) / took_s for member, spent in zip(tree, before, strict=True)]
                sizes = [pss_mb(member) for member in tree]
                sent = viewer.bytes - sent
            names = [Path(f"/proc/{member}/cmdline").read_text().split("\0")[2] for member in tree]
    print(f"{'process':<28} {'% of a core':>12} {'PSS MB':>10}")
    for process_name, share, size in zip(names, shares, sizes, strict=True):
        print(f"{process_name:<28} {share:>12.2f} {size:>10.1f}")
    print(f"{'all':<28} {sum(shares):>12.2f} {sum(sizes):>10.1f}  goal {GOAL_PERCENT:g} % and {GOAL_MB:g} MB")
    print(f"sent to the viewer: {sent / took_s / 1000:.1f} kB a second, {viewer.events} events in all")


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--only", choices=("view", "viewer"))
    parser.add_argument("--folder", default="/var/tmp")
    chosen = parser.parse_args()
    if chosen.only != "viewer":
        with TemporaryDirectory(prefix="leeside-benchmark-", dir=chosen.folder) as name:
            port = free_port()
            file, _ = make_year(Path(name), port, chosen.days)
            ask_view(file, port)
    if chosen.only != "view":
        run_with_viewer(chosen.seconds)


if __name__ == "__main__":
    main()
