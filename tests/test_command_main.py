"""The table of commands: what the list in the help says, and that a command is loaded only when it is called for."""

from __future__ import annotations

import subprocess
import sys

import pytest
from typer.testing import CliRunner

from alerts.command.main import COMMANDS, app


def _imported_by(code: str) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys; print(*sys.modules)"], capture_output=True, text=True, check=True
    )
    return set(done.stdout.splitlines()[-1].split())


def test_the_help_lists_each_command_on_a_line_of_its_own() -> None:
    lines = CliRunner().invoke(app, ["--help"]).stdout.partition("Commands:\n")[2].partition("\n\n")[0].splitlines()
    assert [line.split(maxsplit=1) for line in lines] == [[name, summary] for name, (_, summary) in COMMANDS.items()]


def test_the_help_loads_no_command() -> None:
    ask = "from typer.testing import CliRunner\nfrom alerts.command.main import app\n"
    imported = _imported_by(ask + "CliRunner().invoke(app, ['--help'])")
    assert not imported & {"pydantic", "numpy", "ingest.cellar", "ingest.store", "alerts.command.now"}


@pytest.mark.parametrize("command", ["now", "journal", "acknowledge", "check", "enter", "bench"])
def test_a_command_that_a_person_waits_for_loads_no_library_of_the_daemons(command: str) -> None:
    module = COMMANDS[command][0].partition(":")[0]
    imported = _imported_by(f"import {module}")
    assert not imported & {"paho", "serial", "fastapi", "uvicorn", "apscheduler", "influxdb_client", "rich", "amqtt"}


@pytest.mark.parametrize("command", ["journal", "acknowledge", "check", "enter", "bench"])
def test_a_command_that_reads_no_readings_loads_no_numpy(command: str) -> None:
    assert "numpy" not in _imported_by(f"import {COMMANDS[command][0].partition(':')[0]}")


def test_what_a_command_returns_is_the_exit_code() -> None:
    assert CliRunner().invoke(app, ["bench", "signal", "4-20 mA = 0-30 psi", "12.5"]).exit_code == 0
    assert CliRunner().invoke(app, ["check", "/nowhere/cellar.toml"]).exit_code == 1
    assert CliRunner().invoke(app, ["nothing"]).exit_code == 2
