"""A number that no double can hold is refused with its reason on the way in, and never goes out as Infinity."""

from __future__ import annotations

import ast
import json
from pathlib import Path
from typing import Any, NoReturn

import pytest
from cellar_text import KEG, MQTT, PROBE, SITE, cellar, write_cellar
from samples import a_sample
from typer.testing import CliRunner, Result

from alerts.command.main import app
from ingest.cellar import load_cellar
from ingest.errors import IngestError
from ingest.json_text import json_text
from ingest.probes.binding import bindings, declarations
from ingest.probes.decode import Decoder
from ingest.process import wall_ms
from ingest.reading import Quality, Reason, quality_code
from ingest.store import create_or_open
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

OUT_OF_RANGE = quality_code(Quality.BAD, Reason.OUT_OF_RANGE)
PSI = PROBE.replace('unit = "kPa"', 'unit = "psi"')
_HEAD = '[[probe]]\nid = "p"\nat = "K1"\nquantity = "pressure"\ntopic = "k1/p"\n'
_SERIAL = '[[serial]]\nid = "bench"\ndevice = "/dev/ttyUSB0"\n'


def _decode(keys: str, payload: str) -> tuple[list[tuple[float, int]], list[str]]:
    probe = keys if keys.startswith("[[") else _HEAD + keys
    decoder = Decoder(bindings(cellar(SITE, MQTT, _SERIAL, KEG, probe), {"p": 1}))
    source, address = ("bench", "bench") if "serial" in probe else ("mqtt", "k1/p")
    decoded = decoder.decode(a_sample(payload, address, source=source))
    return [(row.number, row.quality) for row in decoded.readings], [row.reason for row in decoded.refusals]


_WAYS = {
    "plain": ('unit = "psi"\n', "{}"),
    "json": ('unit = "psi"\npayload = "json"\npointer = "/v"\n', '{{"v": {}}}'),
    "SenML": ('unit = "psi"\npayload = "senml"\n', '[{{"n": "p", "u": "psi", "v": {}}}]'),
    "line": (_HEAD.replace('topic = "k1/p"', 'serial = "bench"\npattern = "(?P<value>.+)"\nunit = "psi"'), "{}"),
    "signal": ('signal = "4-20 mA = 0-30 psi"\n', "{}"),
}


@pytest.mark.parametrize("way", _WAYS)
@pytest.mark.parametrize("number", ["1e308", "-1e308", "1.7e308", "1e290"])
def test_a_number_that_overflows_in_its_unit_is_refused(way: str, number: str) -> None:
    keys, payload = _WAYS[way]
    assert _decode(keys, payload.format(number)) == ([], ["not finite"])


@pytest.mark.parametrize("way", ["plain", "json", "SenML", "line"])
def test_a_large_number_that_can_be_converted_is_kept_as_bad(way: str) -> None:
    keys, payload = _WAYS[way]
    assert _decode(keys, payload.format("1e100")) == ([(1e100, OUT_OF_RANGE)], [])


def test_sums_of_senml_that_overflow_are_refused() -> None:
    assert _decode(_WAYS["SenML"][0], '[{"n": "p", "u": "psi", "bv": 1.5e308, "v": 1.5e308}]') == ([], ["not SenML"])


# ---- a table of the past -------------------------------------------------------------------------------------------


def _say(file: Path, command: str, *words: object) -> Result:
    result = CliRunner().invoke(app, [command, str(file), *map(str, words)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


@pytest.fixture
def file(tmp_path: Path) -> Path:
    file = write_cellar(tmp_path, SITE, MQTT, KEG, PSI)
    loaded = load_cellar(file)
    with create_or_open(loaded.store_path, wall_ms()) as store:
        declare(store, declarations(loaded), wall_ms())
    return file


@pytest.mark.parametrize("write", [(), ("--write",)])
@pytest.mark.parametrize("unit", [(), ("--unit", "psi"), ("--unit", "Pa")])
def test_an_import_refuses_extremes_by_their_line_without_a_library_s_warning(
    file: Path, unit: tuple[str, ...], write: tuple[str, ...]
) -> None:
    table = file.with_name("table.csv")
    extremes = ("1e308", "-1e308", "1.7e308", "1e299", "-1e290")
    rows = [f"2026-11-01 10:{minute:02}:00,{value}" for minute, value in enumerate(("1.5", *extremes, "1e30"))]
    table.write_text("\n".join(["Time,P", *rows]), encoding="utf-8")
    result = _say(file, "import", table, "--probe", "k1-pressure", "--at", "Time", "--value", "P", *unit, *write)
    assert "k1-pressure at K1: 2 new" in result.stdout
    assert "5 not finite" in result.stdout
    assert "line 3: 1e+308 is too large to be converted" in result.stdout
    assert "Warning" not in result.output


def test_an_import_of_an_export_refuses_extremes_too(file: Path) -> None:
    table = file.with_name("table.csv")
    rows = ("1e308", "1e307", "1e306", "2")
    lines = [
        f"2026-11-01T10:{minute:02}:00Z,k1-pressure,K1,pressure,{value},kPa,good" for minute, value in enumerate(rows)
    ]
    table.write_text("\n".join(["at,probe,place,quantity,value,unit,quality", *lines]), encoding="utf-8")
    result = _say(file, "import", table, "--write")
    assert "1 new" in result.stdout
    assert "3 not finite" in result.stdout


# ---- what goes out -------------------------------------------------------------------------------------------------


def _no_constant(name: str) -> NoReturn:
    raise AssertionError(f"{name} stands in the JSON")


def _loaded(text: str) -> Any:
    return json.loads(text, parse_constant=_no_constant)


def test_what_was_stored_before_goes_out_as_a_number(file: Path) -> None:
    loaded, now_ms = load_cellar(file), wall_ms()
    with create_or_open(loaded.store_path, now_ms) as store:
        series = declare(store, declarations(loaded), now_ms)["k1-pressure"]
        Appender(store).append(
            [(series, now_ms - 9_000, 1e308, OUT_OF_RANGE), (series, now_ms - 5_000, -1e308, OUT_OF_RANGE)]
        )
    readings = _loaded(_say(file, "history", "k1-pressure", "--json").stdout)["readings"]
    assert [row["value"] for row in readings] == [1.7976931348623157e308, -1.7976931348623157e308]
    _loaded(_say(file, "now", "--json").stdout)
    for command in (("history", "k1-pressure", "--csv"), ("export", "--csv"), ("export", "--senml"), ("now",)):
        assert "inf" not in _say(file, *command).stdout.lower()


def test_json_has_no_form_for_what_is_not_finite() -> None:
    assert json_text({"wine": "žametovka", "p": 1.5}) == '{"wine": "žametovka", "p": 1.5}'
    with pytest.raises(IngestError, match="infinite or not a number"):
        json_text([float("inf")])


def test_json_for_other_programs_is_written_in_one_place() -> None:
    """Or with allow_nan=False of its own, where the form is a special one."""
    top = Path(__file__).parents[1]
    loose = [
        f"{path.relative_to(top)}:{node.lineno}"
        for folder in ("alerts/command", "alerts/page", "alerts/view", "ingest/exchange")
        for path in sorted((top / folder).rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and ast.unparse(node.func) in ("json.dumps", "json.dump")
        and not any(keyword.arg == "allow_nan" for keyword in node.keywords)
    ]
    assert loose == []
