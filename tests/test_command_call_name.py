"""What the demo proposes to type can be typed."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from alerts.command.call_name import call_name


@pytest.fixture
def program(tmp_path: Path) -> Path:
    path = tmp_path / "bin" / "leeside"
    path.parent.mkdir()
    path.write_text("#!/bin/sh\n", encoding="utf-8")
    path.chmod(0o755)
    return path


def test_a_program_in_the_path_is_called_by_its_name(program: Path) -> None:
    assert call_name(str(program), f"/nowhere:{program.parent}") == "leeside"


def test_one_outside_the_path_is_called_by_its_whole_path(program: Path) -> None:
    assert call_name(str(program), "/nowhere") == str(program)


def test_another_program_of_that_name_is_not_taken_for_it(program: Path, tmp_path: Path) -> None:
    other = tmp_path / "leeside"
    other.write_text("#!/bin/sh\necho another\n", encoding="utf-8")
    other.chmod(0o755)
    assert call_name(str(program), str(tmp_path)) == str(program)


def test_a_relative_call_works_from_another_folder(program: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(program.parent.parent)
    assert call_name("bin/leeside", "") == str(program)


def test_a_module_is_called_as_one() -> None:
    assert call_name("/x/alerts/command/main.py", "") == f"{sys.executable} -m alerts.command.main"
