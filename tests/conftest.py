"""What all tests share: their folders lie in memory, and hypothesis tries the same few examples in every run.

`--hypothesis-profile=deep` looks for new examples, and for many more of them.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from a_cellar_on_disk import CellarOnDisk
from a_journal import JournalOnDisk
from a_mirror import Start, mirrored_store
from a_store import new_store
from brokers import Mosquitto
from hypothesis import HealthCheck, settings
from influx_server import InfluxServer
from scripted_peer import ScriptedPeer

from ingest.mirror.follower import Follower
from ingest.store import Store

_MEMORY = Path("/dev/shm")
_ENOUGH_BYTES = 500_000_000

if "TMPDIR" not in os.environ and os.access(_MEMORY, os.W_OK) and shutil.disk_usage(_MEMORY).free > _ENOUGH_BYTES:
    tempfile.tempdir = str(_MEMORY)

# A machine that does other work at the same time is no reason to fail: no deadline, and examples may come slowly.
settings.register_profile(
    "quick", max_examples=30, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile(
    "deep", max_examples=1000, deadline=None, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("quick")


@pytest.fixture
def disk_path() -> Iterator[Path]:
    """A folder on a disk, for tests of what a disk does; ``tmp_path`` may lie in memory."""
    with tempfile.TemporaryDirectory(dir="/var/tmp", prefix="leeside-") as folder:
        yield Path(folder)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A new store."""
    with new_store(tmp_path) as opened:
        yield opened


@pytest.fixture
def on_disk(tmp_path: Path) -> Iterator[CellarOnDisk]:
    """A cellar, and its store as the daemons fill it."""
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
    """A broker that sends exactly what the test says."""
    with ScriptedPeer() as scripted:
        yield scripted


@pytest.fixture
def influx() -> Iterator[InfluxServer]:
    """A server that takes the write protocol."""
    with InfluxServer() as running:
        yield running


@pytest.fixture
def mirrored(tmp_path: Path) -> Iterator[Store]:
    """A store with a cellar file and two probes."""
    with mirrored_store(tmp_path) as opened:
        yield opened


@pytest.fixture
def started() -> Iterator[Start]:
    """Start followers of the mirror; they are stopped after the test."""
    running: list[Follower] = []

    def start(follower: Follower) -> Follower:
        follower.start()
        running.append(follower)
        return follower

    yield start
    for follower in running:
        follower.stop(5.0)
        assert not follower.alive()
