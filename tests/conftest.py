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
from hypothesis import HealthCheck, settings

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
