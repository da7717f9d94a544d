"""What all tests share: folders in memory, the same few hypothesis examples in every run, and fixtures.

`--hypothesis-profile=deep` tries new examples, and many more of them.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from a_browser import Visit, running_browser
from a_cellar_on_disk import CellarOnDisk
from a_journal import JournalOnDisk
from a_mirror import Start, mirrored_store
from a_store import new_store
from brokers import Mosquitto
from hypothesis import HealthCheck, settings
from influx_server import InfluxServer
from playwright.sync_api import Browser
from scripted_peer import ScriptedPeer

from ingest.mirror.follower import Follower
from ingest.store import Store

_MEMORY = Path("/dev/shm")
_ENOUGH_BYTES = 500_000_000

if "TMPDIR" not in os.environ and os.access(_MEMORY, os.W_OK) and shutil.disk_usage(_MEMORY).free > _ENOUGH_BYTES:
    tempfile.tempdir = str(_MEMORY)

# A test must not fail because the machine is busy: no deadline, and examples may be generated slowly.
settings.register_profile(
    "quick", max_examples=30, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile(
    "deep", max_examples=1000, deadline=None, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("quick")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Where several processes share the tests, let each begin with its part of the longest ones.

    Each is given a stretch of the list, and those that are done take from the others' ends: pytest-xdist's worksteal.
    """
    workers = getattr(config, "workerinput", {}).get("workercount", 1)
    if workers == 1:
        return
    whole = [item for item in items if item.get_closest_marker("whole")]
    others = [item for item in items if not item.get_closest_marker("whole")]
    left = len(items)
    items.clear()
    for worker in range(workers):
        first = whole[worker::workers]
        size = left // (workers - worker)
        left -= size
        items += [*first, *others[: size - len(first)]]
        del others[: size - len(first)]


@pytest.fixture
def disk_path() -> Iterator[Path]:
    """Make a folder on a disk, for tests of what a disk does; ``tmp_path`` may be in memory."""
    with tempfile.TemporaryDirectory(dir="/var/tmp", prefix="leeside-") as folder:
        yield Path(folder)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A new store."""
    with new_store(tmp_path) as opened:
        yield opened


@pytest.fixture
def on_disk(tmp_path: Path) -> Iterator[CellarOnDisk]:
    """A cellar with its store, as the daemons fill it."""
    cellar = CellarOnDisk(tmp_path)
    yield cellar
    cellar.store.close()


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[JournalOnDisk]:
    """A cellar with an empty journal."""
    journal = JournalOnDisk(tmp_path)
    yield journal
    journal.store.close()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """A real broker that everybody may use."""
    with Mosquitto(tmp_path) as running:
        yield running


@pytest.fixture
def peer() -> Iterator[ScriptedPeer]:
    """A broker that sends exactly what the test sends through it."""
    with ScriptedPeer() as scripted:
        yield scripted


@pytest.fixture
def influx() -> Iterator[InfluxServer]:
    """A server of the InfluxDB v2 write protocol."""
    with InfluxServer() as running:
        yield running


@pytest.fixture
def mirrored(tmp_path: Path) -> Iterator[Store]:
    """A store with a cellar file and two probes."""
    with mirrored_store(tmp_path) as opened:
        yield opened


@pytest.fixture
def started() -> Iterator[Start]:
    """A function that starts followers of the mirror; they are stopped after the test."""
    running: list[Follower] = []

    def start(follower: Follower) -> Follower:
        follower.start()
        running.append(follower)
        return follower

    yield start
    for follower in running:
        follower.stop(5.0)
        assert not follower.alive()


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """A browser for the tests of one file; it starts when the first asks for it."""
    with running_browser() as browser:
        yield browser


@pytest.fixture
def visit(chromium: Browser) -> Iterator[Visit]:
    """Opens views of a cellar's page in a browser: see ``a_browser.py``."""
    with ExitStack() as stack:
        opened = Visit(chromium, stack)
        yield opened
    assert opened.troubles == []
