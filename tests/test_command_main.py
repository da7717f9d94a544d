"""The entry point: a command in a process of its own says and answers what it does in the process of a test."""

from __future__ import annotations

from pathlib import Path

import pytest
from cellar_text import BASE
from running import leeside, leeside_process


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("check", "FILE"), 0),
        (("check", "FILE", "--json"), 0),
        (("bench", "signal", "4-20 mA = 0-100 kPa", "12"), 0),
        (("check", "no-such.toml"), 1),
        (("now", "FILE"), 1),
        (("run", "FILE", "--only", "page"), 2),
        (("frobnicate",), 2),
        (("journal",), 2),
    ],
)
def test_a_command_says_the_same_in_a_process_of_its_own(words: tuple[str, ...], code: int, tmp_path: Path) -> None:
    file = tmp_path / "cellar.toml"
    file.write_text(BASE)
    words = tuple(str(file) if word == "FILE" else word for word in words)
    here, there = leeside(*words), leeside_process(*words)
    assert here.returncode == there.returncode == code
    assert here.stdout == there.stdout
    assert here.stderr == there.stderr.replace("python -m alerts.command.main", "leeside")
