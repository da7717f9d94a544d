"""Kills a process at work on the store, over and over, and looks each time at what is left. Run by test_store_kills.

Each piece of work runs in a forked child that ends itself by SIGKILL at its n-th step, where a step is a statement
given to SQLite or a change of a file's name, or that is killed by the clock, which also hits the inside of a commit.
Not for pytest's own process: a fork needs one without threads.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import sqlite3
import sys
import time
import traceback
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np

from ingest.errors import StoreError, StoreMissing
from ingest.reading import Declaration
from ingest.store import Store, create_or_open, open_existing
from ingest.store.backup.archive import archives, take_out
from ingest.store.backup.making import back_up
from ingest.store.backup.restoring import restore
from ingest.store.change_feed import FED, set_cursor
from ingest.store.migrations import MIGRATIONS, migrate, version_of
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.readings.series_history import arrays, raw
from ingest.store.readings.settling import Settler
from ingest.store.readings.summaries import CatchUp, summary
from ingest.store.readings.summary import LEVELS, summarise

NOW = 1_795_631_400_000
DAY = 86_400_000
MINUTE = 60_000
FILE_STEPS = {"os.rename", "os.remove", "os.link", "os.truncate"}

Model = dict[int, list[tuple[int, float, int]]]


def killed(work: Callable[[], object], *, at: int | None = None, after_s: float | None = None) -> bool:
    """Run work in a child; True if it was killed, False if it came to its end before that."""
    child = os.fork()
    if child == 0:
        try:
            if at is not None:
                count_down(at)
            work()
            os._exit(0)
        except BaseException:  # noqa: BLE001  whatever it is, it must not get into the parent's loop
            traceback.print_exc()
            os._exit(1)
    if after_s is not None:
        time.sleep(after_s)
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        return True
    assert os.WEXITSTATUS(status) == 0, "the work itself failed"
    return False


def count_down(steps: int) -> None:
    """End this process by SIGKILL at its n-th step."""
    left = steps

    def step(*_: object) -> None:
        nonlocal left
        left -= 1
        if left <= 0:
            os.kill(os.getpid(), signal.SIGKILL)

    connect = sqlite3.connect

    def traced(*given: Any, **named: Any) -> sqlite3.Connection:
        connection: sqlite3.Connection = connect(*given, **named)
        connection.set_trace_callback(step)
        return connection

    sqlite3.connect = traced  # type: ignore[assignment]  # in this child, which is about to die
    sys.addaudithook(lambda event, _: step() if event in FILE_STEPS else None)


def declaration(number: int) -> Declaration:
    name = f"probe-{number}"
    return Declaration(
        probe=name,
        place="K1",
        quantity="pressure",
        gain=2.0,
        offset=1.0,
        unit="psi",
        former_probe=name,
        former_place="K1",
    )


def rows_of(series: list[int], chance: random.Random) -> list[tuple[int, int, float, int]]:
    """Two and a half days at five minutes, late ones and repeats among them, in the order in which they came."""
    rows = []
    for step in range(720):
        for number in series:
            at = NOW - (720 - step) * 5 * MINUTE + chance.randrange(1000)
            rows.append((number, at, round(chance.uniform(40, 60), 2), 0))
    late = [(number, NOW - chance.randrange(2 * DAY), 7.25, 0) for number in series for _ in range(20)]
    repeats = [(number, at, 99.0, 0) for number, at, _, _ in chance.sample(rows, 30)]
    return rows + late + repeats


def model_of(rows: list[tuple[int, int, float, int]]) -> Model:
    """What the history must say: of one time the first that was stored, through the scale."""
    first: dict[tuple[int, int], tuple[float, int]] = {}
    for series, at, number, quality in rows:
        first.setdefault((series, at), (number, quality))
    model: Model = {}
    for (series, at), (number, quality) in sorted(first.items()):
        model.setdefault(series, []).append((at, 2.0 * number + 1.0, quality))
    return model


def insert(connection: sqlite3.Connection, rows: list[tuple[int, int, float, int]]) -> None:
    """Rows as they are, repeats included, and the change feed."""
    connection.executemany("INSERT INTO fresh (series, at, number, quality) VALUES (?, ?, ?, ?)", rows)
    connection.executemany(
        "INSERT INTO touched (series, from_ms, to_ms) VALUES (?, ?, ?)", [(r[0], r[1], r[1]) for r in rows]
    )
    set_cursor(connection, FED, int(connection.execute("SELECT max(id) FROM fresh").fetchone()[0]))


def filled(path: Path, chance: random.Random) -> Model:
    with create_or_open(path, NOW) as store:
        series = list(declare(store, [declaration(number) for number in range(3)], NOW).values())
        rows = rows_of(series, chance)
        with store.write() as connection:
            insert(connection, rows)
    return model_of(rows)


def look(store: Store, model: Model) -> None:
    """Whole, complete, nothing twice."""
    assert store.connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    for series, rows in model.items():
        assert [tuple(row) for row in raw(store, series)] == rows
    # Packed readings leave ``fresh`` a little later: between the two they stand in both places and count once.
    fresh, packed = kept(store)
    distinct = sum(map(len, model.values()))
    assert packed <= distinct <= fresh + packed


def kept(store: Store) -> tuple[int, int]:
    """Rows in ``fresh``, and readings in blocks."""
    row = store.connection.execute("SELECT (SELECT count(*) FROM fresh), (SELECT total(rows) FROM block)").fetchone()
    return int(row[0]), int(row[1])


def summaries_right(store: Store, model: Model) -> None:
    for series in model:
        values = arrays(store, series)
        for level in ("minute", "hour", "day"):
            stored = summary(store, series, 0, 2 * NOW, level)
            for found, wanted in zip(stored, summarise(values, LEVELS[level]), strict=True):
                np.testing.assert_array_equal(found, wanted)


# ---- what is killed ------------------------------------------------------------------------------------------------


def settle(path: Path) -> None:
    with open_existing(path) as store:
        settler = Settler(store)
        settler.begin(NOW - 6 * 3_600_000)
        while settler.slice():
            pass


def follow(path: Path) -> None:
    with open_existing(path) as store:
        catching_up = CatchUp(store)
        while catching_up.slice():
            pass


def upkeep(folder: Path, chance: random.Random, rounds: int) -> int:
    """Settling and summaries, killed until both have come to their end ``rounds`` times."""
    deaths = 0
    for round_ in range(rounds):
        path = folder / f"{round_}.db"
        model = filled(path, chance)
        for work in (settle, follow) if round_ % 2 else (follow, settle, follow):
            done = False
            while not done:
                if chance.random() < 0.7:
                    done = not killed(lambda: work(path), at=chance.randrange(1, 1500))  # noqa: B023  used at once
                else:
                    done = not killed(lambda: work(path), after_s=chance.uniform(0.0, 0.15))  # noqa: B023
                deaths += not done
                with open_existing(path) as store:
                    look(store, model)
                    summaries_right(store, model)
        with open_existing(path) as store:
            assert store.connection.execute("SELECT count(*) FROM block").fetchone()[0] >= 3 * len(model) - 3
            assert CatchUp(store).slice() is False
            # Settling has come to its end: nothing stands twice but the repeats that are too young to settle.
            assert sum(kept(store)) <= sum(map(len, model.values())) + 30
            # It goes on as if nothing had been.
            series = next(iter(model))
            assert Appender(store).append([(series, NOW + 1, 5.0, 0)]).stored == 1
    return deaths


def migration(folder: Path, chance: random.Random, rounds: int) -> int:
    """From the first schema to the newest, over rows, killed at each statement and at random moments."""
    old = folder / "old.db"
    with closing(sqlite3.connect(old, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode=WAL")
        store = Store(connection, old)
        migrate(store, NOW, MIGRATIONS[:1])
        series = list(declare(store, [declaration(number) for number in range(3)], NOW).values())
        rows = rows_of(series, chance)
        with store.write() as writing:
            insert(writing, rows)
    model = model_of(rows)
    path = folder / "now.db"
    seen, deaths, step = set(), 0, 0
    while True:
        step += 1
        for beside in folder.glob("now.db*"):
            beside.unlink()
        shutil.copy(old, path)
        if step % 5 == 0:
            alive = not killed(lambda: create_or_open(path, NOW).close(), after_s=chance.uniform(0.0, 0.01))
            timed = True
        else:
            alive = not killed(lambda: create_or_open(path, NOW).close(), at=step)
            timed = False
        deaths += not alive
        with closing(sqlite3.connect(path)) as connection:
            seen.add(version_of(connection))
            assert connection.execute("SELECT count(*) FROM fresh").fetchone() == (len(rows),)
        with create_or_open(path, NOW) as store:
            assert version_of(store.connection) == MIGRATIONS[-1].number
            look(store, model)
        if alive and not timed:
            break
    assert {1, MIGRATIONS[-1].number} <= seen
    settle(path)
    follow(path)
    with open_existing(path) as store:
        look(store, model)
        summaries_right(store, model)
    return deaths


def backup(folder: Path, chance: random.Random, rounds: int) -> int:
    """A backup that is killed leaves no archive that is not whole, and the store as it was."""
    path, target = folder / "cellar.db", folder / "backups"
    model = filled(path, chance)
    deaths, step = 0, 0
    alive = False
    while not alive:
        step += 1
        at_ms = NOW + step * 1000

        def work(at_ms: int = at_ms) -> None:
            back_up(path, target, at_ms, site="Mill Lane cellar", cellar_text="")

        alive = not killed(work, at=step)
        deaths += not alive
        deaths += killed(work, after_s=chance.uniform(0.0, 0.1)) if step <= rounds else 0
        for archive in archives(target, path):
            take_out(archive.path, None)
        with open_existing(path) as store:
            look(store, model)
    work(NOW + DAY)
    assert list(target.glob(".*")) == []
    newest = archives(target, path)[0]
    assert newest.made_ms == (NOW + DAY) // 1000 * 1000
    take_out(newest.path, folder / "copy.db")
    with open_existing(folder / "copy.db") as store:
        look(store, model)
    return deaths


def restoring(folder: Path, chance: random.Random, rounds: int) -> int:
    """A restore that is killed leaves the store of before or the restored one, and whatever was replaced."""
    path = folder / "cellar.db"
    before = filled(path, chance)
    archive = back_up(path, folder / "backups", NOW, site="", cellar_text="").path
    deaths, step, news, missing = 0, 0, 0, 0
    alive = False
    while not alive:
        step += 1
        for old in folder.glob("cellar.db*"):
            old.unlink()
        after = filled(path, random.Random(1000 + step))
        alive = not killed(lambda: restore(archive, path, NOW, replace=True), at=step)
        deaths += not alive
        try:
            with open_existing(path) as store:
                series = next(iter(after))
                is_new = [tuple(row) for row in raw(store, series)] == before[series]
                look(store, before if is_new else after)
        except StoreMissing:
            missing += 1
            continue
        news += is_new
        if is_new:
            aside = next(file for file in folder.glob("cellar.db.replaced-*") if file.suffix != "-wal")
            with open_existing(aside) as store:
                look(store, after)
        # And once more, to its end.
        try:
            restore(archive, path, NOW + 60_000, replace=True)
        except StoreError as error:
            raise AssertionError(f"step {step}: {error}") from error
        with open_existing(path) as store:
            look(store, before)
    assert alive
    assert (news > 0, missing) == (True, 0)
    return deaths


def main() -> None:
    """MODE FOLDER SEED ROUNDS; prints how many deaths there were."""
    mode, folder, seed, rounds = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
    works = {"upkeep": upkeep, "migration": migration, "backup": backup, "restore": restoring}
    deaths = works[mode](folder, random.Random(seed), rounds)
    print(json.dumps({"deaths": deaths}))


if __name__ == "__main__":
    main()
