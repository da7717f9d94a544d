"""A command in a process of its own says and answers what it does in the process of a test."""

from __future__ import annotations

from pathlib import Path

import pytest
from cellar_text import BASE, write_cellar
from running import leeside, leeside_process


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("check", "FILE"), 0),
        (("check", "FILE", "--json"), 0),
        (("bench", "signal", "4-20 mA = 0-100 kPa", "12"), 0),
        (("check", "no-such.toml"), 1),
        (("now", "FILE"), 1),
        (("enter", "sample", "FILE"), 2),
        (("strike", "FILE", "3", "--reason", "typed twice"), 1),
        (("run", "FILE", "--only", "mail"), 2),
        (("frobnicate",), 2),
        (("journal",), 2),
    ],
)
def test_a_command_says_the_same_in_either(words: tuple[str, ...], code: int, tmp_path: Path) -> None:
    file = write_cellar(tmp_path, BASE)
    words = tuple(str(file) if word == "FILE" else word for word in words)
    here, apart = leeside(*words), leeside_process(*words)
    assert (here.returncode, apart.returncode) == (code, code)
    assert here.stdout == apart.stdout
    assert here.stderr == apart.stderr.replace("python -m alerts.command.main", "leeside")
