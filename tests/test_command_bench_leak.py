"""`leeside bench leak`: tables as spreadsheets and loggers write them, and what is refused."""

from __future__ import annotations

import json
from collections.abc import Callable
from math import cos, exp, pi
from pathlib import Path
from typing import Any, Final

import pytest
from running import leeside

HEAD: Final = "at,pressure_kpa,temperature_c,barometer_kpa,room_c"
VESSEL: Final = ("--gas", "nitrogen", "--capacity-l", "19", "--wine-l", "17")


def _row(hour: float, zone: int = 0) -> str:
    """A reading: two litres of gas that are lost by 1 kPa an hour from the second day on, and a swing of 4 K."""
    celsius = 14.0 - 2.0 * cos(2.0 * pi * hour / 24.0)
    # 0.9 kPa/K: nitrogen at 55 kPa over 17 L of wine of 12 % vol in steel.
    kpa = 50.0 + 0.9 * (celsius - 14.0) - max(hour - 24.0, 0.0)
    day, clock = divmod(round((hour + zone) * 60.0), 1440)
    at = f"2026-03-{day + 2:02d}T{clock // 60:02d}:{clock % 60:02d}:00{f'{zone:+03d}:00' if zone else 'Z'}"
    return f"{at},{kpa:.2f},{celsius:.2f},100.00,{celsius - 1.0:.1f}"


ROWS: Final = tuple(_row(i / 6.0) for i in range(216))


def _judged(folder: Path, lines: list[str], *, end: str = "\n", encoding: str = "utf-8") -> dict[str, Any]:
    table = folder / "readings.csv"
    table.write_bytes((end.join(lines) + end).encode(encoding))
    result = leeside("bench", "leak", table, *VESSEL, "--json")
    assert result.returncode == 0, result.stderr
    judgement: dict[str, Any] = json.loads(result.stdout)
    return judgement


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    return _judged(tmp_path_factory.mktemp("plain"), [HEAD, *ROWS])


def test_the_leak_is_found_with_its_keys(plain: dict[str, Any]) -> None:
    assert (plain["finding"], plain["leak_certain"]) == ("slow leak", True)
    # 1 kPa an hour of 2 L at 14 °C is 0.31 mL a minute (0 °C, 101.325 kPa), by the ideal gas.
    assert plain["rate_ml_min"] == pytest.approx(0.31, rel=0.15)
    # At this speed it takes 35 h; a leak fades with the gauge.
    assert 33.0 < plain["hours_to_floor_low"] < plain["hours_to_floor_high"]
    assert plain["last_sound"] <= plain["since"]
    assert plain["warnings"] == []


@pytest.mark.parametrize(
    ("rows", "end", "encoding"),
    [
        (list(ROWS), "\r\n", "utf-8-sig"),
        ([_row(i / 6.0, 13) for i in range(216)], "\n", "utf-8"),
        ([row.replace("T", " ").replace("Z", "+00:00") for row in ROWS], "\n", "utf-8"),
    ],
    ids=["spreadsheet", "another zone", "space and offset"],
)
def test_the_same_readings_in_another_dress(
    tmp_path: Path, plain: dict[str, Any], rows: list[str], end: str, encoding: str
) -> None:
    assert _judged(tmp_path, [HEAD, *rows], end=end, encoding=encoding) == plain


@pytest.mark.parametrize(
    ("changed", "warned"),
    [
        (lambda rows: rows[::-1], "brought into the order of their times, since a later row stood before: 215 rows"),
        (lambda rows: [*rows[100:], *rows[:100]], "a later row stood before: 1 row"),
        (lambda rows: [row for row in rows for _ in range(2)], "a row of the same time before: 216 rows"),
    ],
    ids=["newest first", "two halves", "each twice"],
)
def test_rows_need_no_order(
    tmp_path: Path, plain: dict[str, Any], changed: Callable[[list[str]], list[str]], warned: str
) -> None:
    judgement = _judged(tmp_path, [HEAD, *changed(list(ROWS))])
    (warning,) = judgement.pop("warnings")
    assert warned in warning
    assert judgement == {key: value for key, value in plain.items() if key != "warnings"}


def test_a_line_on_the_way_is_made_from_what_lay_before_it(tmp_path: Path, plain: dict[str, Any]) -> None:
    lines = {}
    for count in (150, 216):
        table = tmp_path / f"{count}.csv"
        table.write_text("\n".join([HEAD, *ROWS[:count]]) + "\n")
        result = leeside("bench", "leak", table, *VESSEL, "--as-it-goes")
        lines[count] = [json.loads(line) for line in result.stdout.splitlines()]
    assert lines[150] == lines[216][: len(lines[150])]
    last = lines[216][-1]
    assert last.pop("at") == "2026-03-03T11:50:00.000Z"
    assert last == plain


def test_a_leak_of_days_ago_is_as_certain_without_the_judgements_on_the_way(tmp_path: Path) -> None:
    # It began a day after the first reading, three days ago, and has come near to an end.
    kept = [_row(i / 3.0).split(",") for i in range(288)]
    lines = [HEAD]
    for i, (at, kpa, *rest) in enumerate(kept):
        hour = i / 3.0
        # A viscous leak fades about as exp(-t/20 h) below 50 kPa; _row loses 1 kPa an hour.
        lost = 50.0 * (1.0 - exp(-max(hour - 24.0, 0.0) / 20.0))
        lines.append(",".join([at, f"{float(kpa) + max(hour - 24.0, 0.0) - lost:.2f}", *rest]))
    table = tmp_path / "readings.csv"
    table.write_text("\n".join(lines) + "\n")
    alone = json.loads(leeside("bench", "leak", table, *VESSEL, "--json").stdout)
    last = json.loads(leeside("bench", "leak", table, *VESSEL, "--as-it-goes").stdout.splitlines()[-1])
    for judgement in (alone, last):
        assert (judgement["finding"], judgement["leak_certain"]) == ("slow leak", True)
    assert alone["rate_ml_min"] == pytest.approx(last["rate_ml_min"], rel=0.2)


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ([], "no column at"),
        ([HEAD], "there is no row with a time"),
        (["pressure_kpa,temperature_c", "50,14"], "no column at"),
        ([HEAD, "yesterday,50,14,,"], "line 2: at 'yesterday' is not a time"),
        ([HEAD, "2026-03-02T00:00:00,50,14,,"], "is not a time; write RFC 3339 with the zone"),
        ([HEAD, ROWS[0], "2026-03-02T00:10:00Z,1200,14,,"], "line 3: pressure_kpa: pressure 1200 kPa is out of range"),
        ([HEAD, "2026-03-02T00:00:00Z,50,44,,"], "the properties of wine go from -5 to 40 °C"),
        ([HEAD, "2026-03-02T00:00:00Z,50,14,40,"], "the air has 50 to 110 kPa"),
        ([HEAD, "2026-03-02T00:00:00Z,nan,14,,"], "pressure_kpa 'nan' is not a usable number"),
        ([HEAD, "2026-03-02T00:00:00Z,50,14"], "3 values, where the first line names 5 columns"),
    ],
)
def test_a_wrong_table_names_the_line_and_what_is_allowed(tmp_path: Path, lines: list[str], message: str) -> None:
    table = tmp_path / "readings.csv"
    table.write_text("\n".join(lines) + "\n")
    result = leeside("bench", "leak", table, *VESSEL, "--json")
    assert result.returncode == 2
    assert "READINGS" in result.stderr and message in result.stderr
    assert result.stdout == ""
