"""`leeside away` as a person calls it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cellar_text import CARBOY, KEG, MQTT, SITE, mail, probe, write_cellar
from running import leeside
from test_cellar_people import person

from ingest.cellar import load_cellar
from ingest.store import create_or_open

BO = person("bo", '{ mail = "bo@cellar.example" }', priorities=[])
CY = person("cy", '{ mail = "cy@cellar.example" }', priorities=[], woken_by=[])


@pytest.fixture
def file(tmp_path: Path) -> Path:
    file = write_cellar(tmp_path, SITE, MQTT, KEG, CARBOY, probe(), mail(), BO, CY)
    create_or_open(load_cellar(file).store_path, 0).close()
    return file


def test_an_absence_is_written_shown_and_ended(file: Path) -> None:
    begun = leeside("away", file, "--until", "2027-01-05", "--helper", "bo", "--who", "Ana")
    assert begun.returncode == 0, begun.stderr
    assert "Away until 2027-01-06 00:00 CET: bo gets the messages." in begun.stdout
    assert "messages: away until 2027-01-06 00:00 CET: bo gets the messages" in leeside("now", file).stdout
    shown = json.loads(leeside("away", file, "--json").stdout)
    assert shown["away"]["helper"] == "bo"
    assert shown["away"]["written_by"] == "Ana"
    assert shown["away"]["until"] == "2027-01-05T23:00:00.000Z"
    ended = leeside("away", file, "--end")
    assert (ended.returncode, ended.stdout) == (0, "Messages go to you again.\n")
    assert leeside("away", file).stdout.startswith("Nobody is away")
    assert leeside("away", file, "--end").returncode == 1


def test_a_forecast_alone_changes_nothing(file: Path) -> None:
    forecast = leeside("away", file, "--until", "2027-01-05", "--json")
    assert forecast.returncode == 0
    assert json.loads(forecast.stdout)["away"] is None
    assert leeside("away", file).stdout.startswith("Nobody is away")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--until", "2027-01-05", "--helper", "di"), "has no [[person]] 'di'; there are: bo, cy"),
        (("--until", "2027-01-05", "--helper", "cy"), "would not wake cy"),
        (("--helper", "bo"), "needs --until"),
        (("--until", "2020-01-05", "--helper", "bo"), "is past"),
        (("--until", "2031-01-05", "--helper", "bo"), "more than a year from now"),
        (("--until", "soon"), "is not a time"),
        (("--until", "2027-02-30"), "2027-02-30"),
        (("--end", "--helper", "bo"), "cannot be combined with --end"),
    ],
)
def test_a_wrong_call_says_what_is_allowed_and_writes_nothing(
    file: Path, arguments: tuple[str, ...], words: str
) -> None:
    result = leeside("away", file, *arguments)
    assert result.returncode == 2
    assert words in " ".join(result.stderr.replace("│", " ").split())
    assert "Traceback" not in result.stderr
    assert leeside("away", file).stdout.startswith("Nobody is away")
