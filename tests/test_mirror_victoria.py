"""The mirror with a real server behind it: what is read back there is what is stored here, kills included."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from a_mirror import Desk, follower, mirrored_store, settings, settled
from a_store import start_script
from eventually import eventually
from victoria import Victoria

from ingest.reading import Quality, Reason, quality_code
from ingest.store import Store
from ingest.store.alarms.alarm_record import TransitionRow, add_transition
from ingest.store.journal.entries import entries
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import all_series
from ingest.store.readings.series_history import raw

# Servers refuse what lies far ahead of their own clock, so the readings are of the last two days.
BEGIN_MS = (time.time_ns() // 1_000_000 - 2 * 86_400_000) // 1000 * 1000

Points = dict[tuple[tuple[tuple[str, str], ...], int], float]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Victoria]:
    with Victoria(tmp_path / "victoria") as started:
        yield started


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with mirrored_store(tmp_path, probes=3) as opened:
        yield opened


def wanted(store: Store, *, quality: bool = False) -> Points:
    points: Points = {}
    for row in all_series(store):
        names = {"place": row.place, "probe": row.probe, "quantity": row.quantity, "site": "Mill Lane", "db": "cellar"}
        for at, value, code in raw(store, row.id):
            points[tuple(sorted(names.items())), at] = float(code & 3) if quality else value
    return points


def without_db(points: Points) -> Points:
    return {(tuple(tag for tag in tags if tag[0] != "db"), at): value for (tags, at), value in points.items()}


def fill(store: Store) -> None:
    """A mixture: three cadences, three qualities, settled and fresh, late, a negative and a tiny number."""
    appender = Appender(store)
    odd = quality_code(Quality.UNCERTAIN, Reason.JUMP)
    for series, step_ms in ((1, 10_000), (2, 30_000), (3, 61_001)):
        count = 100_000_000 // step_ms
        rows = [(series, BEGIN_MS + n * step_ms, 50 + n % 17 / 8, (0, odd, 2)[n % 3]) for n in range(count)]
        appender.append(rows)
    settled(store, BEGIN_MS + 60_000_000)
    appender.append([(1, BEGIN_MS + 1, -3.25, 0), (2, BEGIN_MS + 90_000_001, 1e-7, 0), (3, BEGIN_MS + 2, 1e9, 0)])


def test_what_is_read_back_is_what_is_stored(store: Store, server: Victoria) -> None:
    fill(store)
    with store.write() as connection:
        for id, state in enumerate(("unacknowledged", "normal")):
            row = TransitionRow(BEGIN_MS + id, "K1/pressure/low", "a2b", "e", "normal", state, 3.5, "Ana", 'a "note"')
            add_transition(connection, row)
    mirror = follower(store.path, settings(server.url))
    mirror.start()
    eventually(lambda: mirror.state().state == "up to date")
    mirror.stop(5.0)
    assert mirror.state().refused == 0
    assert without_db(server.points("reading_value")) == without_db(wanted(store))
    assert without_db(server.points("reading_quality")) == without_db(wanted(store, quality=True))
    tags = (("limit", "K1/pressure/low"), ("site", "Mill Lane"))
    alarms = without_db(server.points("alarm_active"))
    assert alarms == {(tags, BEGIN_MS): 1.0, (tags, BEGIN_MS + 1): 0.0}


def test_the_journal_is_read_back_with_uncertainty_and_strikes(store: Store, server: Victoria) -> None:
    desk = Desk(store, BEGIN_MS)
    kept, struck = desk.free(31.0), desk.free(13.0)
    desk.strike(struck)
    ph = desk.write("measurement", "K1", quantity="pH", value=3.41)
    mirror = follower(store.path, settings(server.url))
    mirror.start()
    eventually(lambda: mirror.state().state == "up to date")
    mirror.stop(5.0)
    assert mirror.state().refused == 0

    def results(field: str) -> dict[tuple[str, int], float]:
        return {(dict(tags)["quantity"], at): value for (tags, at), value in server.points(f"result_{field}").items()}

    so2, wrong = ("free_so2", kept.at_ms), ("free_so2", struck.at_ms)
    assert results("value") == {so2: 31.0, wrong: 13.0, ("pH", ph.at_ms): 3.41}
    assert results("u") == {so2: 2.0, wrong: 2.0}
    assert results("struck") == {so2: 0.0, wrong: 1.0, ("pH", ph.at_ms): 0.0}
    points = {(dict(tags)["kind"], at): value for (tags, at), value in server.points("entry_struck").items()}
    assert points == {(entry.kind, entry.at_ms): float(entry.struck is not None) for entry in entries(store)}
    assert len(points) == 5


_SCRIPT = """
import sys, threading
from pathlib import Path
sys.path.insert(0, "tests")
from a_mirror import follower, settings
mirror = follower(Path(sys.argv[1]), settings(sys.argv[2], batch=500))
mirror.start()
sent = 0
while mirror.state().state != "up to date":
    if mirror.state().sent > sent:
        sent = mirror.state().sent
        print(sent, flush=True)
    threading.Event().wait(0.005)
mirror.stop(5.0)
print("done", flush=True)
"""


def test_killed_again_and_again_nothing_is_missing(store: Store, server: Victoria) -> None:
    fill(store)
    kills = 0
    for enough in (1, 3, 6):
        process = start_script(_SCRIPT, store.path, server.url)
        assert process.stdout is not None
        lines = [process.stdout.readline() for _ in range(enough)]
        process.kill()
        process.wait()
        kills += "done\n" not in lines
        # While nobody mirrors.
        Appender(store).append([(1, BEGIN_MS + 100_500_000 + enough, float(enough), 0)])
        process.stdout.close()
        assert process.stderr is not None
        process.stderr.close()
    assert kills == 3
    process = start_script(_SCRIPT, store.path, server.url)
    output, errors = process.communicate(timeout=60)
    assert output.endswith("done\n"), errors
    assert without_db(server.points("reading_value")) == without_db(wanted(store))
