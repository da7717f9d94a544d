"""The store under kills at each statement and at random moments; ``kills.py`` does the killing."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).parent


@pytest.mark.parametrize("seed", [1])
@pytest.mark.parametrize(
    ("mode", "rounds", "deaths"),
    [("upkeep", 2, 5), ("migration", 1, 15), ("backup", 10, 20), ("restore", 1, 8)],
)
def test_kills_lose_nothing_and_double_nothing(disk_path: Path, mode: str, rounds: int, deaths: int, seed: int) -> None:
    done = subprocess.run(
        [sys.executable, TESTS / "kills.py", mode, str(disk_path), str(seed), str(rounds)],
        cwd=TESTS.parent,
        env={**os.environ, "PYTHONPATH": str(TESTS.parent)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    # A run in which hardly anything died has shown nothing.
    assert json.loads(done.stdout)["deaths"] >= deaths
