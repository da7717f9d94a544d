"""Made-up winters written down through `leeside import --entries` and asked of the store.

What the estimate says must not depend on whether a winter comes to it as steps or as a journal: units, volumes, times
and which entries count all lie on that way.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from cellar_text import SITE, table, write_cellar
from running import leeside
from so2_scores import by_estimate
from so2_winters import HARD, Act, Winter, made_up

from alerts.so2.vessel_so2 import so2_at
from ingest.cellar import load_cellar
from ingest.process import wall_ms
from ingest.store import create_or_open

DAY_MS = 86_400_000
BEGIN = datetime(2025, 10, 1, 9, 0, tzinfo=UTC)
VOLUME_L = 18.0
SO2_IN_POTASSIUM_SALT = 128.12 / 222.31
WINTERS = 8
EVERY = 4


def _lines(number: int, winter: Winter) -> list[dict[str, Any]]:
    """One winter as entries of the wine in a vessel of its own, by time."""
    vessel, lot = f"V{number}", f"wine-{number}"

    def line(kind: str, day: float, body: dict[str, Any], *, of_lot: bool = False) -> dict[str, Any]:
        at = (BEGIN + timedelta(days=day)).isoformat(timespec="milliseconds")
        return {
            "kind": kind,
            "at": at,
            "written": at,
            "who": "Ana",
            "place": None if of_lot else vessel,
            "lot": lot if of_lot or kind == "first-filling" else None,
            "body": body,
            "struck": None,
        }

    def of_act(act: Act) -> dict[str, Any]:
        if act.found is not None:
            u = (winter.world.error_mg_l**2 + (winter.world.error_share * act.found) ** 2) ** 0.5
            body = {"quantity": "free", "method": "elsewhere", "so2_mg_l": act.found, "u_so2_mg_l": u}
            return line("titration", act.day, body)
        so2_g = (act.added or 0.0) * VOLUME_L / 1000.0
        body = {"form": "metabisulfite", "salt": "potassium", "mass_g": so2_g / SO2_IN_POTASSIUM_SALT, "so2_g": so2_g}
        return line("addition", act.day, body)

    ph = {"quantity": "pH", "value": winter.ph_found, "u_value": winter.world.ph_error}
    return [
        line("lot", -5.0, {"name": lot, "style": "white"}, of_lot=True),
        line("first-filling", 0.0, {"volume_l": VOLUME_L, "u_volume_l": 0.01}),
        line("measurement", 0.0, ph),
        *(
            line("measurement", float(day), {"quantity": "temperature", "value": round(float(celsius), 3)})
            for day, celsius in enumerate(winter.temperatures[:190])
            if day > 0
        ),
        *map(of_act, winter.acts),
    ]


@pytest.fixture(scope="module")
def winters() -> list[Winter]:
    made = (made_up(HARD, 7000 + seed) for seed in range(WINTERS))
    return [replace(winter, asked=winter.asked[seed % EVERY :: EVERY]) for seed, winter in enumerate(made)]


@pytest.fixture(scope="module")
def file(winters: list[Winter], tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("winters")
    vessels = (
        table("[[vessel]]", id=f"V{number}", kind=winter.kind, capacity="20 L") for number, winter in enumerate(winters)
    )
    file = write_cellar(folder, SITE, *vessels)
    create_or_open(load_cellar(file).store_path, wall_ms())
    lines = sorted(
        (line for number, winter in enumerate(winters) for line in _lines(number, winter)), key=lambda line: line["at"]
    )
    journal = folder / "journal.jsonl"
    journal.write_text("".join(json.dumps({"id": id, **line}) + "\n" for id, line in enumerate(lines, 1)), "utf-8")
    done = leeside("import", str(file), str(journal), "--entries", "--write")
    assert done.returncode == 0, done.stdout + done.stderr
    return file


def test_a_winter_in_the_journal_is_answered_as_one_given_as_steps(winters: list[Winter], file: Path) -> None:
    cellar = load_cellar(file)
    store = create_or_open(cellar.store_path, wall_ms())
    inside = total = 0
    for number, answers in enumerate(by_estimate(winters)):
        for asking, direct in answers:
            at_ms = round(BEGIN.timestamp() * 1000.0 + asking.day * DAY_MS)
            found = so2_at(cellar, store, at_ms, [f"V{number}"])[f"V{number}"].estimate
            # The journal also counts how well an addition was weighed.
            assert found.free_mg_l == pytest.approx(direct.free[1], abs=0.1)
            width = found.free_high_80_mg_l - found.free_low_80_mg_l
            assert width == pytest.approx(direct.free[2] - direct.free[0], rel=0.05, abs=0.1)
            inside += found.free_low_80_mg_l <= asking.free <= found.free_high_80_mg_l
            total += 1
    assert total > 30
    assert 0.6 <= inside / total <= 0.97


def test_the_command_gives_the_same(winters: list[Winter], file: Path) -> None:
    asking = winters[0].asked[-1]
    at = (BEGIN + timedelta(days=asking.day)).isoformat(timespec="milliseconds")
    done = leeside("now", str(file), "V0", "--at", at, "--json")
    assert done.returncode == 0, done.stderr
    (_, direct) = by_estimate(winters[:1])[0][-1]
    assert json.loads(done.stdout)["so2"]["free_mg_l"] == pytest.approx(direct.free[1], abs=0.5)
