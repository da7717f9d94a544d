"""`leeside review`: from a cellar file and entries typed through the command to a review."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from cellar_text import MQTT, SITE, carboy, cylinder, keg, probe, room, temperature, write_cellar
from running import leeside

from ingest.cellar import load_cellar
from ingest.probes.binding import declarations
from ingest.process import wall_ms
from ingest.store import create_or_open
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

IN_CELLAR = {"room": "cellar"}
TEXT = (
    SITE,
    MQTT,
    room(volume="30 m3"),
    keg("K1", **IN_CELLAR),
    keg("K2", **IN_CELLAR),
    keg("K3", capacity="10 L", **IN_CELLAR),
    carboy("C1", **IN_CELLAR),
    cylinder(**IN_CELLAR),
    cylinder("CO2", gas="carbon dioxide", **IN_CELLAR),
    probe("n2-pressure", "N2", topic="n2/p", unit="bar"),
    temperature("cellar-temperature", "cellar", topic="cellar/t"),
    probe("k1-pressure", "K1"),
)


class Cellar:
    """K1 holds 18 L, C1 22 L, K2 and K3 are empty; N2 stands at 120 bar and the cellar at 12 °C."""

    def __init__(self, folder: Path) -> None:
        self.file = write_cellar(folder, *TEXT)
        cellar = load_cellar(self.file)
        now_ms = wall_ms()
        with create_or_open(cellar.store_path, now_ms) as store:
            series = declare(store, declarations(cellar), now_ms)
            numbers = {"n2-pressure": 120.0, "cellar-temperature": 12.0, "k1-pressure": 54.0}
            Appender(store).append([(series[id], now_ms - 60_000, value, 0) for id, value in numbers.items()])
        self.enter("lot", "--lot", "R25", "--name", "Riesling", "--style", "white")
        self.enter("first-filling", "--vessel", "K1", "--lot", "R25", "--volume", "18 L")
        self.enter("first-filling", "--vessel", "C1", "--lot", "R25", "--volume", "22 L")
        for vessel in ("K2", "K3"):
            self.enter("vessel-status", "--vessel", vessel, "--status", "emptied")

    def enter(self, kind: str, *options: str) -> None:
        done = leeside("enter", kind, self.file, *options, "--yes")
        assert done.returncode == 0, done.stderr

    def review(self, *words: str, code: int = 0) -> dict[str, Any]:
        done = leeside("review", self.file, *words, "--json")
        assert done.returncode == code, done.stderr
        found: dict[str, Any] = json.loads(done.stdout)
        return found


@pytest.fixture(scope="module")
def cellar(tmp_path_factory: pytest.TempPathFactory) -> Cellar:
    return Cellar(tmp_path_factory.mktemp("review"))


def test_a_racking_from_keg_to_keg(cellar: Cellar) -> None:
    found = cellar.review("K1", "--to", "K2")
    sections = found["sections"]
    of_gas = ["receiver", "purge", "moving", "supply", "room"]
    assert list(sections) == ["rest", "clarity", "temperature", "blanket", "so2", *of_gas, "dose", "alarms"]
    verdicts = {name: sections[name]["verdict"] for name in of_gas}
    # A carbon dioxide cylinder that nobody weighed counts as full, which is too much for the room.
    assert verdicts == {**dict.fromkeys(of_gas, "in order"), "room": "take care"}
    # Nobody looked or titrated yet, and the wine has just been filled.
    assert {sections[name]["verdict"] for name in ("clarity", "dose")} == {"not known"}
    assert (sections["temperature"]["verdict"], sections["temperature"]["last_disturbed_by"]) == (
        "take care",
        "first-filling",
    )
    assert sections["so2"]["titrate_because"] == ["nobody has titrated free SO2 of this wine"]
    assert (sections["rest"]["days"], sections["alarms"]["alarms"]) == (0, [])
    assert found["verdict"] == "take care"
    assert sections["receiver"]["headspace_after_l"] == pytest.approx(1.5)
    assert sections["moving"]["temperature_c"] == 12.0
    # 10 L at 12,000 kPa gauge and 12 °C: 1,208 L by the reference equation of nitrogen (CoolProp).
    n2 = sections["supply"]["cylinders"][0]
    assert (n2["id"], n2["known_by"], n2["enough"]) == ("N2", "pressure", True)
    assert n2["content_l"] == pytest.approx(1208.0, rel=5e-3)
    rooms = sections["room"]["rooms"]
    assert (rooms[0]["worst_from"], rooms[0]["worst_known_by"]) == ("CO2", "full")


def test_every_number_has_its_unit_in_the_key(cellar: Cellar) -> None:
    units = (
        *("_l", "_m3", "_kpa", "_percent", "_mg_l", "_g_l", "_mm", "_m", "_c", "_k", "_h", "_l_min"),
        *("minutes", "minutes_low", "cycles", "days", "days_read", "expected", "at_best"),
    )
    # These are as `leeside now` and `leeside dose` print them; their own tests look at them.
    elsewhere = {"so2", "total_so2", "dose", "hours_by_finding"}

    def walk(value: object, key: str) -> None:
        if isinstance(value, dict):
            for name, inner in value.items():
                if name not in elsewhere or key == "sections":
                    walk(inner, name)
        elif isinstance(value, list):
            for inner in value:
                walk(inner, key)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            assert key.endswith(units), key

    walk(cellar.review("K1", "--to", "K2"), "")
    walk(cellar.review("C1", "--to", "K2", "--volume-l", "19"), "")
    walk(cellar.review("K1", "--for", "bottling"), "")


def test_the_same_in_words(cellar: Cellar) -> None:
    done = leeside("review", cellar.file, "K1", "--to", "K2")
    assert done.returncode == 0
    lines = done.stdout.splitlines()
    assert lines[0].startswith("Racking K1 into K2, as of ")
    assert "ok  Space in K2: in order. 18 L fit into K2 (19.5 L); headspace after: 1.5 L." in lines
    assert any("K1 stood at 54 kPa when it was last read" in line for line in lines)
    assert "  - leeside is not a gas alarm: where gas is used, have a meter for oxygen" in done.stdout
    assert f"leeside enter racking {cellar.file} --from K1 --to K2 --air 'under gas'" in done.stdout


def test_glass_is_never_pushed(cellar: Cellar) -> None:
    siphoned = cellar.review("C1", "--to", "K2", "--volume-l", "19")["sections"]["moving"]
    assert (siphoned["method"], siphoned["refused"], siphoned["lift_m"]) == ("siphon", None, None)
    found = cellar.review("C1", "--to", "K2", "--volume-l", "19", "--pressure-kpa", "20", code=1)
    assert found["verdict"] == "do not"
    assert "never put it under gas pressure" in found["sections"]["moving"]["refused"]


def test_a_receiver_that_is_too_small_or_not_named(cellar: Cellar) -> None:
    small = cellar.review("C1", "--to", "K2", code=1)
    assert small["sections"]["receiver"]["headspace_after_l"] == pytest.approx(-2.5)
    alone = cellar.review("K1")
    assert alone["to"] is None
    assert alone["sections"]["receiver"]["empty_vessels"] == ["K2", "K3"]
    assert alone["sections"]["receiver"]["fitting_vessels"] == ["K2"]


def test_a_bottling(cellar: Cellar) -> None:
    found = cellar.review("K1", "--for", "bottling", "--bottle-l", "0.75", "--bottle-l", "1.5", "--o2-mg-l", "1")
    assert (found["for"], found["vessel"], found["to"]) == ("bottling", "K1", None)
    sections = found["sections"]
    assert "receiver" not in sections
    assert sections["bottles"]["bottles"] == [
        {"size_l": 1.5, "expected": 11, "at_best": 12},
        {"size_l": 0.75, "expected": 22, "at_best": 24},
    ]
    assert sections["refermentation"]["verdict"] == sections["carbon_dioxide"]["verdict"] == "not known"
    assert sections["dose"]["bottling_o2_mg_l"] == 1.0
    words = leeside("review", cellar.file, "K1", "--for", "bottling").stdout
    assert words.startswith("Bottling K1, as of ")
    assert "have as many clean, and some more, with closures and capsules" in words


def test_a_pressure_above_the_stamp(cellar: Cellar) -> None:
    found = cellar.review("K1", "--to", "K2", "--pressure-kpa", "201", code=1)
    assert "more than the 200 kPa stamped" in found["sections"]["moving"]["reason"]


@pytest.mark.parametrize(
    ("words", "named", "message"),
    [
        (("K9",), "VESSEL", "no vessel 'K9': did you mean K1 or K2 or K3? There are: K1, K2, K3, C1"),
        (("c1",), "VESSEL", "did you mean C1?"),
        (("K1", "--to", "N2"), "--to", "N2 is a cylinder"),
        (("K1", "--to", "zzz"), "--to", "no vessel 'zzz': There are"),
        (("K1", "--to", "K1"), "--to", "into itself"),
        (("K1", "--volume-l", "18.5"), "--volume-l", "K1 holds 18 L"),
        (("K1", "--volume-l", "0"), "--volume-l", "above 0"),
        (("K1", "--volume-l", "nan"), "--volume-l", "not a usable number"),
        (("K1", "--bore-mm", "0"), "--bore-mm", "1 to 100 mm"),
        (("K1", "--bore-mm", "1e400"), "--bore-mm", "not a usable number"),
        (("K1", "--length-m", "-2"), "--length-m", "0.05 to 200 m"),
        (("K1", "--lift-m", "51"), "--lift-m", "-50 to 50 m"),
        (("K1", "--pressure-kpa", "0"), "--pressure-kpa", "0.1 to 1000 kPa"),
        (("K1", "--head-start-m", "1"), "--head-start-m", "--lift-m"),
        (("C1", "--lift-m", "1"), "--lift-m", "--head-start-m"),
        (("C1", "--head-start-m", "11"), "--head-start-m", "0.001 to 10 m"),
        (("K1", "--target-o2-percent", "0"), "--target-o2-percent", "out of range"),
        (("K1", "--target-o2-percent", "21"), "--target-o2-percent", "out of range"),
        (("K1", "--to", "K2", "--blanket-kpa", "300"), "--blanket-kpa", "200 kPa stamped on K2"),
        (("K1", "--for", "drinking"), "--for", "'drinking' is not known; allowed: racking and bottling"),
        (("K1", "--to", "K2", "--for", "bottling"), "--to", "it belongs to --for racking"),
        (("K1", "--bottle-l", "0.75"), "--bottle-l", "it belongs to --for bottling"),
        (("K1", "--o2-mg-l", "2"), "--o2-mg-l", "it belongs to --for bottling"),
        (("K1", "--for", "bottling", "--bottle-l", "0"), "--bottle-l", "bottles hold 0.05 to 30 L"),
        (("K1", "--for", "bottling", "--bottle-l", "x"), "--bottle-l", "number"),
        (("K1", "--for", "bottling", "--o2-mg-l", "21"), "--o2-mg-l", "0 to 20 mg/L"),
        (("K1", "--for", "bottling", "--volume-l", "19"), "--volume-l", "K1 holds 18 L"),
        ((), "VESSEL", "Missing"),
    ],
)
def test_a_wrong_call_names_what_is_wrong(cellar: Cellar, words: tuple[str, ...], named: str, message: str) -> None:
    done = leeside("review", cellar.file, *words)
    assert done.returncode == 2, done.stdout
    assert named in done.stderr
    assert message in " ".join(done.stderr.split())
    assert not done.stdout


def test_an_empty_vessel_is_refused(cellar: Cellar) -> None:
    done = leeside("review", cellar.file, "K2", "--to", "K1")
    assert (done.returncode, done.stderr) == (1, "K2 is empty: there is no wine in it to move\n")


def test_a_carbon_dioxide_cylinder_by_its_weight(tmp_path: Path) -> None:
    """4 kg of carbon dioxide are 2,149 L."""
    file = write_cellar(
        tmp_path,
        SITE,
        MQTT,
        keg("K1", gas="carbon dioxide"),
        keg("K2", gas="carbon dioxide"),
        cylinder("CO2", gas="carbon dioxide"),
    )
    for words in (
        ("lot", "--lot", "R25", "--name", "Riesling", "--style", "white"),
        ("first-filling", "--vessel", "K1", "--lot", "R25", "--volume", "18 L"),
        ("vessel-status", "--vessel", "K2", "--status", "emptied"),
        ("measurement", "--cylinder", "CO2", "--quantity", "weight", "--value", "14 kg", "--tare", "10 kg"),
    ):
        done = leeside("enter", words[0], file, *words[1:], "--yes")
        assert done.returncode == 0, done.stderr
    done = leeside("review", file, "K1", "--to", "K2", "--json")
    supply = json.loads(done.stdout)["sections"]["supply"]
    assert supply["cylinders"][0]["known_by"] == "weight"
    assert supply["cylinders"][0]["content_l"] == pytest.approx(2149.0, abs=1.0)
    assert supply["verdict"] == "in order"


def test_a_sheet_to_print(cellar: Cellar, tmp_path: Path) -> None:
    done = leeside(
        "review", cellar.file, "K1", "--to", "K2", "--pdf", tmp_path / "k1.pdf", "--png", tmp_path / "k1.png"
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [
        "Racking K1 into K2: take care",
        *(f"written: {tmp_path / name}" for name in ("k1.pdf", "k1-1.png", "k1-2.png")),
    ]
    assert (tmp_path / "k1.pdf").read_bytes().startswith(b"%PDF-")
    pages = [(tmp_path / name).read_bytes() for name in ("k1-1.png", "k1-2.png")]
    assert all(page.startswith(b"\x89PNG") for page in pages)
    assert pages[0] != pages[1]


def test_a_sheet_that_cannot_be_written(cellar: Cellar, tmp_path: Path) -> None:
    done = leeside("review", cellar.file, "K1", "--pdf", tmp_path / "missing" / "k1.pdf")
    assert done.returncode == 2
    assert "--pdf" in done.stderr
    assert "cannot be written: there is no folder" in " ".join(done.stderr.split())
