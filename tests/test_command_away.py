"""`leeside away` as a person calls it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from a_cellar_on_disk import CellarOnDisk
from cellar_text import CARBOY, KEG, MQTT, SITE, cylinder, keg, mail, probe, room, write_cellar
from running import leeside
from test_cellar_people import person

from alerts.watch.alarm_table import State
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


def test_hours_in_which_a_helper_sleeps_are_listed(file: Path) -> None:
    begun = leeside("away", file, "--until", "2027-01-05", "--helper", "cy", "--json")
    assert begun.returncode == 0, begun.stderr
    assert json.loads(begun.stdout)["unreached"] == [
        {
            "limits": ["K1/pressure/air", "leeside/ingest"],
            "from": "22:00",
            "until": "07:00",
            "passed_on": True,
        }
    ]
    shown = leeside("away", file, "--until", "2027-01-05", "--helper", "cy").stdout
    assert "From 22:00 to 07:00 an alarm of high priority does not reach cy at once, and somebody else only" in shown
    assert 'add "high" to woken_by of cy' in shown
    awake = leeside("away", file, "--until", "2027-01-05", "--helper", "bo")
    assert "an alarm of high priority" not in awake.stdout


def test_whoever_gets_the_urgent_alarms_alone_cannot_be_the_helper(tmp_path: Path) -> None:
    """What a helper can do nothing about would reach nobody."""
    ana = person("ana", '{ mail = "ana@cellar.example" }')
    file = write_cellar(tmp_path, SITE, MQTT, KEG, probe(), mail(to=None), ana, BO)
    create_or_open(load_cellar(file).store_path, 0).close()
    alone = leeside("away", file, "--until", "2027-01-05", "--helper", "ana")
    assert alone.returncode == 2
    assert "nobody but ana gets alarms of high priority" in " ".join(alone.stderr.replace("│", " ").split())
    assert leeside("away", file, "--until", "2027-01-05", "--helper", "bo").returncode == 0


def test_rooms_that_a_helper_may_enter_only_with_a_meter_are_named(tmp_path: Path) -> None:
    rooms = (room("closet", volume="5 m3"), room("hall", volume="300 m3"), keg(room="closet"), cylinder(room="hall"))
    file = write_cellar(tmp_path, SITE, MQTT, *rooms, probe(), mail(), BO, cylinder("N3", room="closet"))
    create_or_open(load_cellar(file).store_path, 0).close()
    begun = leeside("away", file, "--until", "2027-01-05", "--helper", "bo")
    assert "not to go in without a meter, since the worst case for the air is dangerous or not known: closet.\n" in (
        begun.stdout
    )
    assert json.loads(leeside("away", file, "--until", "2027-01-05", "--json").stdout)["rooms_that_need_a_meter"] == []


def test_a_helper_who_left_the_cellar_file_hides_no_message(file: Path) -> None:
    assert leeside("away", file, "--until", "2027-01-05", "--helper", "bo").returncode == 0
    file.write_text(file.read_text(encoding="utf-8").replace(BO, ""), encoding="utf-8")
    shown = leeside("away", file).stdout
    assert "the helper bo is no longer in the cellar file, so messages go to everybody as usual" in shown
    assert "so messages go to everybody as usual" in leeside("now", file).stdout


def test_a_second_absence_takes_the_place_of_the_first_and_says_so(file: Path) -> None:
    assert leeside("away", file, "--until", "2027-01-05", "--helper", "bo").returncode == 0
    again = leeside("away", file, "--until", "2027-02-01", "--helper", "cy")
    assert "This takes the place of the absence until 2027-01-06 00:00 CET, with bo." in again.stdout
    assert "Away until 2027-02-02 00:00 CET: cy gets the messages." in again.stdout
    assert leeside("away", file, "--end").returncode == 0
    assert leeside("away", file).stdout.startswith("Nobody is away"), "the first one does not come back"


def test_an_absence_over_a_clock_change_ends_with_the_day_of_the_cellar(file: Path) -> None:
    begun = leeside("away", file, "--until", "2027-03-28", "--helper", "bo", "--json")
    assert json.loads(begun.stdout)["away"]["until"] == "2027-03-28T22:00:00.000Z"


def test_alarms_that_stand_are_named_before_the_owner_leaves(tmp_path: Path) -> None:
    on_disk = CellarOnDisk(tmp_path, more=mail() + BO)
    on_disk.alarm(state=State.ACKNOWLEDGED)
    file = write_cellar(tmp_path, on_disk.cellar.text)
    shown = leeside("away", file, "--until", "2027-01-05").stdout
    assert shown.startswith(
        "1 alarm stands now: K1/pressure/low.\n  before you leave: see to them; a helper hears only"
    )
    assert json.loads(leeside("away", file, "--until", "2027-01-05", "--json").stdout)["standing"] == [
        "K1/pressure/low"
    ]


def test_a_forecast_alone_changes_nothing(file: Path) -> None:
    forecast = leeside("away", file, "--until", "2027-01-05", "--json")
    assert forecast.returncode == 0
    assert json.loads(forecast.stdout)["away"] is None
    assert leeside("away", file).stdout.startswith("Nobody is away")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--until", "2027-01-05", "--helper", "di"), "has no [[person]] 'di'; there are: bo, cy"),
        (("--helper", "bo"), "needs --until"),
        (("--until", "2020-01-05", "--helper", "bo"), "is past"),
        (("--until", "2031-01-05", "--helper", "bo"), "more than a year from now"),
        (("--until", "soon"), "is not a time"),
        (("--until", "2027-02-30"), "2027-02-30"),
        (("--until", "2027-02-29"), "'2027-02-29' is not a time (day is out of range for month)"),
        (("--until", "9999-12-31"), "9999-12-31 is more than a year from now; allowed: a year"),
        (("--until", "0001-01-01"), "is past"),
        (("--until", "2027-03-28 02:30"), "was skipped when the clocks went from 02:00 to 03:00"),
        (("--until", ""), "'' is not a time"),
        (("--until", "2027-01-05", "--helper", "Bo"), "did you mean bo? there are: bo, cy"),
        (("--until", "2027-01-05", "--helper", ""), "has no [[person]] ''"),
        (("--until", "2027-01-05", "--helper", "ana@cellar.example"), "has no [[person]] 'ana@cellar.example'"),
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
