"""The cellar file may be left out of every call; help, version, completion and log level."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any, Final

import pytest
import typer.main
from cellar_text import KEG, MQTT, PROBE, SITE
from running import leeside
from typer.testing import CliRunner

from alerts.command.cellar_file import FileCommand
from alerts.command.main import COMMANDS, app
from ingest.daemon_log import LEVEL_VARIABLE

CELLAR: Final = "\n".join((SITE, MQTT, KEG, PROBE))
NO_STORE: Final = "there is no store yet"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to stand in, with a configuration folder of its own and no cellar file anywhere."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LEESIDE_CELLAR", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return tmp_path


def cellar_at(path: Path) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(CELLAR, encoding="utf-8")
    return path


def test_it_is_taken_from_this_folder_and_named(folder: Path) -> None:
    cellar_at(folder / "cellar.toml")
    done = leeside("check")
    assert (done.returncode, done.stderr) == (0, "Cellar file: cellar.toml (in this folder)\n")


def test_the_variable_goes_before_this_folder(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (folder / "cellar.toml").write_text("not a cellar", encoding="utf-8")
    mine = cellar_at(folder / "there" / "mine.toml")
    monkeypatch.setenv("LEESIDE_CELLAR", str(mine))
    done = leeside("check")
    assert (done.returncode, done.stderr) == (0, f"Cellar file: {mine} (named by LEESIDE_CELLAR)\n")


def test_the_configuration_folder_comes_last(folder: Path) -> None:
    path = cellar_at(folder / "config" / "leeside" / "cellar.toml")
    assert leeside("check").stderr == f"Cellar file: {path} (in the configuration folder)\n"


def test_a_file_that_is_named_is_taken_without_a_word(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LEESIDE_CELLAR", "/nowhere/else.toml")
    done = leeside("check", cellar_at(folder / "cellar.toml"))
    assert (done.returncode, done.stderr) == (0, "")


def test_without_any_the_ways_to_name_one_are_listed(folder: Path) -> None:
    done = leeside("now")
    assert done.returncode == 2
    said = " ".join(done.stderr.split())
    assert "name the cellar file: LEESIDE_CELLAR is not set, and there is no cellar.toml in this folder" in said


@pytest.mark.parametrize(
    "words",
    [
        ["strike", "17", "--reason", "twice"],
        ["strike", "--reason", "twice", "17"],
        ["acknowledge", "7f3k", "8g4m"],
        ["acknowledge", "--all"],
        ["history", "k1-pressure"],
        ["export", "k1-pressure", "k2-pressure"],
        ["now", "K1"],
        ["dose", "K1"],
        ["journal"],
        ["alarms"],
        ["shelve", "K1/pressure/low", "--for", "2h", "--why", "cleaning"],
        ["unshelve", "K1/pressure/low"],
    ],
)
def test_what_follows_the_file_keeps_its_place_without_it(folder: Path, words: list[str]) -> None:
    cellar_at(folder / "cellar.toml")
    done = leeside(*words)
    assert NO_STORE in done.stderr, done.stderr
    assert leeside(words[0], "cellar.toml", *words[1:]).stderr == done.stderr.partition("\n")[2]


def test_data_to_import_and_a_backup_are_not_taken_for_the_cellar_file(folder: Path) -> None:
    cellar_at(folder / "cellar.toml")
    (folder / "data.csv").write_text("Time,Temp\n", encoding="utf-8")
    assert "Cellar file: cellar.toml" in leeside("import", "data.csv", "--probe", "k1-pressure").stderr
    (folder / "cellar-1.tar.gz").write_bytes(b"")
    assert "Cellar file: cellar.toml" in leeside("restore", "cellar-1.tar.gz").stderr


def test_serial_devices_are_listed_without_a_cellar(folder: Path) -> None:
    assert "cellar file" not in leeside("listen", "--ports").stderr


def test_a_cellar_file_of_another_name_is_known_by_its_path(folder: Path) -> None:
    other = cellar_at(folder / "garage")
    done = leeside("now", other, "K1")
    assert NO_STORE in done.stderr and "Cellar file" not in done.stderr


def test_each_command_whose_first_word_is_the_cellar_file_lets_it_be_left_out() -> None:
    group: Any = typer.main.get_command(app)
    context = group.make_context("leeside", [], resilient_parsing=True)
    seen = 0
    for name in COMMANDS:
        command = group.get_command(context, name)
        for each in getattr(command, "commands", {name: command}).values():
            if any(parameter.metavar == "FILE" for parameter in each.params):
                assert isinstance(each, FileCommand), name
                seen += 1
    assert seen > 20


# ---- help, version, completion ---------------------------------------------------------------------------------------


def test_the_version_is_that_of_the_project() -> None:
    done = CliRunner().invoke(app, ["--version"])
    assert done.exit_code == 0 and re.fullmatch(r"leeside \d+\.\d+\.\d+\n", done.stdout)


@pytest.mark.parametrize("words", [[], ["now"], ["enter"], ["enter", "titration"], ["bench", "signal"]])
def test_h_is_help(words: list[str]) -> None:
    short, long = (CliRunner().invoke(app, [*words, option]) for option in ("-h", "--help"))
    assert (short.exit_code, short.stdout) == (0, long.stdout)
    assert short.stdout.startswith("Usage: ")


def test_no_help_shows_the_type_of_a_word() -> None:
    group: Any = typer.main.get_command(app)
    context = group.make_context("leeside", [], resilient_parsing=True)
    for name in COMMANDS:
        command = group.get_command(context, name)
        for word, each in getattr(command, "commands", {name: command}).items():
            help_text = each.get_help(each.make_context(word, [], parent=context, resilient_parsing=True))
            assert not re.search(r"<\w", help_text), help_text


def test_a_shell_can_complete_commands_kinds_and_options() -> None:
    for typed, number, wanted in (
        ("leeside ack", "1", "acknowledge"),
        ("leeside enter tit", "2", "titration"),
        ("leeside acknowledge --w", "2", "--who"),
    ):
        environ = {**os.environ, "_LEESIDE_COMPLETE": "complete_bash", "COMP_WORDS": typed, "COMP_CWORD": number}
        done = subprocess.run(
            [Path(sys.executable).parent / "leeside"], capture_output=True, text=True, env=environ, check=False
        )
        assert wanted in done.stdout.split(), done


# ---- the log ---------------------------------------------------------------------------------------------------------


def test_a_log_level_that_there_is_not_is_refused(folder: Path) -> None:
    done = leeside("run", cellar_at(folder / "cellar.toml"), "--log-level", "loud")
    assert done.returncode == 2
    assert "'loud' is not a level; allowed: error, warning, info, debug" in " ".join(done.stderr.split())


def test_the_log_begins_at_the_level_that_is_asked_for() -> None:
    code = (
        "import logging\nfrom ingest.daemon_log import log_to_stderr\n"
        "log_to_stderr('warning')\nlogging.info('calm')\nlogging.warning('loud')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "loud" in done.stderr and "calm" not in done.stderr


def test_run_hands_the_level_on_to_its_daemons(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(LEVEL_VARIABLE, "info")
    levels: list[str] = []
    monkeypatch.setattr(os, "execv", lambda *_: levels.append(os.environ[LEVEL_VARIABLE]))
    CliRunner().invoke(app, ["run", str(cellar_at(folder / "cellar.toml")), "--log-level", "error"])
    assert levels == ["error"]
