"""The mirror: a backlog sent to victoria-metrics by the real ingest daemon, and what a mirror costs while it keeps up.

Backlog: ten series at 10 s over --days, settled, and a store whose mirror was just set. Measured from the moment it
begins until nothing is left: points a second, processor time and memory of the daemon; then every point is read back
from the server and counted. The floor is a bare loop that posts ready-made, compressed batches of the same lines one
after the other to the same server. With fewer days than 30 the time for a month is worked out in proportion, which
the output says.

On the wire: what a point takes once compressed as the client library does it, without the headers of HTTP; made-up days
of probes with usual noise and jitter, in a full batch of one probe and in a small request of twenty probes.

Keeping up: the ingest daemon at 60 readings a second over MQTT (QoS 1), without and with a mirror, in turn.

About 6 minutes; --days, --seconds.
"""

from __future__ import annotations

import argparse
import gzip
import http.client
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from brokers import Mosquitto
from cellars import cellar_text, leeside_run, running
from feed import Feed
from past import fill
from tree import cpu_s, members, pss_mb
from victoria import Victoria
from weathered import cellar_year

from ingest.cellar import parse_cellar
from ingest.mirror.encoder import heads, reading_lines
from ingest.mirror.names import PointNames
from ingest.probes.binding import declarations
from ingest.simulation.loopback import free_port
from ingest.store import Store, create_or_open, open_existing
from ingest.store.cellar_files import keep_cellar_file
from ingest.store.change_feed import MIRROR, cursor
from ingest.store.mirror_queue import MirrorQueue
from ingest.store.pulse_rows import pulses
from ingest.store.readings.block import Arrays
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import pieces
from ingest.store.readings.settling import Settler
from ingest.times import END_OF_TIME_MS

SERIES = 10
EVERY_MS = 10_000
DAY_MS = 86_400_000
BATCH = 5000
MONTH_DAYS = 30
FLOOR_BATCHES = 60
PROBES = 60
TWENTY = 20
RATE = 60.0
WARM_UP_S = 20.0
LOOK_S = 0.2
LONGEST_S = 3600.0


def _mirror(url: str) -> str:
    return f'\n[mirror]\nurl = "{url}"\norg = "benchmark"\nbucket = "cellar"\n'


def _filled(file: Path, days: int) -> int:
    """A store with settled readings of that many days up to now; how many."""
    now_ms = time.time_ns() // 1_000_000
    cellar = parse_cellar(file.read_text(), file=file.name, base=file.parent)
    rows = SERIES * days * DAY_MS // EVERY_MS
    with create_or_open(cellar.store_path, now_ms) as store:
        keep_cellar_file(store, cellar.text, now_ms)
        series = declare(store, declarations(cellar), now_ms - days * DAY_MS)
        fill(store, list(series.values()), rows, EVERY_MS, now_ms - 60_000)
        settler = Settler(store)
        settler.begin(now_ms)
        while settler.slice():
            pass
    return rows


def _floor(store_path: Path, victoria: Victoria) -> float:
    """Points a second of ready-made batches, one request after the other over one connection."""
    with open_existing(store_path) as store:
        bodies = _bodies(store)
    connection = http.client.HTTPConnection("127.0.0.1", victoria.port, timeout=60)
    began = time.perf_counter()
    for body in bodies:
        connection.request(
            "POST",
            "/api/v2/write?org=floor&bucket=floor&precision=ns",
            body,
            {"Content-Encoding": "gzip", "Content-Type": "text/plain"},
        )
        answer = connection.getresponse()
        answer.read()
        if answer.status != 204:
            raise SystemExit(f"victoria-metrics says {answer.status}")
    took_s = time.perf_counter() - began
    connection.close()
    return len(bodies) * BATCH / took_s


def _bodies(store: Store) -> list[bytes]:
    names, lines, bodies = PointNames(store), list[str](), list[bytes]()
    for series in range(1, SERIES + 1):
        for readings in pieces(store, series, 0, END_OF_TIME_MS):
            lines += reading_lines(readings, names.heads_of(series))
            while len(lines) >= BATCH:
                # Another measurement, so that the count of what the mirror sends stays its own.
                body = "\n".join(lines[:BATCH]).replace("reading,", "floor,")
                bodies.append(gzip.compress(body.encode()))
                del lines[:BATCH]
                if len(bodies) == FLOOR_BATCHES:
                    return bodies
    return bodies


def _catch_up(folder: Path, days: int) -> None:
    with Victoria(folder / "victoria") as victoria:
        file = folder / "cellar.toml"
        text = cellar_text(free_port(), SERIES, client_id="x", more=_mirror(victoria.url))
        file.write_text(text)
        rows = _filled(file, days)
        store_path = folder / "cellar.db"
        floor = _floor(store_path, victoria)
        with running([*leeside_run(file), "--only", "ingest"]) as process, open_existing(store_path) as store:
            _await(lambda: cursor(store, MIRROR) is not None)
            began, spent = time.monotonic(), cpu_s(members(process.pid))
            sizes = [0.0]

            def sent() -> bool:
                sizes.append(sum(pss_mb(member) for member in members(process.pid)))
                return MirrorQueue(store, 0).unsent().spans == 0

            _await(sent)
            took_s, cpu = time.monotonic() - began, cpu_s(members(process.pid)) - spent
        points = len(victoria.points("reading_value"))
        if points != rows:
            raise SystemExit(f"{rows} readings are stored, {points} arrived")
    print(f"backlog: {days} days of {SERIES} series at 10 s, {rows:,} points, all read back")
    print(f"  took {took_s:.0f} s, {rows / took_s:,.0f} points a second")
    print(f"  bare loop of ready batches: {floor:,.0f} points a second, ratio {rows / took_s / floor:.2f}")
    print(
        f"  daemon: {cpu:.1f} s of processor time, {1e6 * cpu / rows:.1f} µs a point; at most {max(sizes):.0f} MB PSS"
    )
    if days != MONTH_DAYS:
        print(f"  in proportion, {MONTH_DAYS} days: {took_s * MONTH_DAYS / days:.0f} s (worked out, not measured)")


def _await(done: Callable[[], bool]) -> None:
    deadline = time.monotonic() + LONGEST_S
    while not done():
        if time.monotonic() > deadline:
            raise SystemExit("nothing came of it for an hour")
        time.sleep(LOOK_S)


def _keep_up(folder: Path, seconds: float, *, mirrored: bool) -> tuple[float, float]:
    """Percent of a core and PSS [MB] of the ingest daemon."""
    folder.mkdir()
    with Mosquitto(folder) as broker, Victoria(folder / "victoria") as victoria:
        file = folder / "cellar.toml"
        more = _mirror(victoria.url) if mirrored else ""
        file.write_text(cellar_text(broker.port, PROBES, client_id="benchmark", more=more))
        command = [*leeside_run(file), "--only", "ingest"]
        with running(command) as process, Feed(broker.port, PROBES, RATE):
            time.sleep(WARM_UP_S)
            tree = members(process.pid)
            before, began = cpu_s(tree), time.monotonic()
            time.sleep(seconds)
            share = 100 * (cpu_s(tree) - before) / (time.monotonic() - began)
            size = sum(pss_mb(member) for member in tree)
            with open_existing(folder / "cellar.db") as store:
                pulse = pulses(store).ingest
        mirror = None if pulse is None else pulse.body.mirror
        if mirrored and (mirror is None or mirror.state != "up to date" or not mirror.sent):
            raise SystemExit(f"the mirror did not keep up: {mirror}")
    return share, size


def _wire() -> None:
    """Bytes of a point on the wire, compressed, in a full batch and in a small request."""
    years = [cellar_year(probe, 1, time.time_ns() // 1_000_000) for probe in range(TWENTY)]
    days = []
    for probe, day in enumerate(years):
        named = heads((f"r{probe}", f"R{probe}"), (), "temperature", [(0, "benchmark")])
        readings = Arrays(day.at_ms, day.values, np.zeros(len(day.values), np.uint16))
        days.append(reading_lines(readings, named))
    full, small = days[0][:BATCH], [lines[0] for lines in days]
    for what, lines in (("a batch of 5000 of one probe", full), ("a request of 20 probes, a reading each", small)):
        text = "\n".join(lines).encode()
        packed = len(gzip.compress(text)) / len(lines)
        print(f"on the wire, {what}: {packed:.1f} bytes a point, {len(text) / len(lines):.0f} before compression")


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=int, default=MONTH_DAYS)
    parser.add_argument("--seconds", type=float, default=60.0)
    chosen = parser.parse_args()
    _wire()
    with TemporaryDirectory(prefix="leeside-benchmark-") as name:
        _catch_up(Path(name), chosen.days)
        print(f"keeping up: ingest at {RATE:g} readings a second")
        print(f"  {'':<16} {'% of a core':>12} {'PSS MB':>8}")
        for step, mirrored in enumerate((False, True, False, True)):
            share, size = _keep_up(Path(name) / str(step), chosen.seconds, mirrored=mirrored)
            print(f"  {'with mirror' if mirrored else 'without':<16} {share:>12.2f} {size:>8.1f}", flush=True)


if __name__ == "__main__":
    main()
