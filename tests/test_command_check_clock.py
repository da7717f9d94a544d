"""`leeside check --clock`: what it says of a machine whose clock was ahead, and how it goes back."""

from __future__ import annotations

import json
from pathlib import Path

from cellar_text import KEG, MQTT, PROBE, SITE
from running import leeside

from ingest.cellar import load_cellar
from ingest.probes.binding import declarations
from ingest.process import wall_ms
from ingest.store import create_or_open, open_existing
from ingest.store.change_feed import cursor, set_cursor
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.readings.undated import KNOWN

FAR_MS = 4_102_444_800_000  # 2100


def test_a_wrong_future_is_shown_and_forgotten_by_the_owners_word(tmp_path: Path) -> None:
    file = tmp_path / "cellar.toml"
    file.write_text("\n".join((SITE, MQTT, KEG, PROBE)), encoding="utf-8")
    cellar = load_cellar(file)
    with create_or_open(cellar.store_path, wall_ms()) as store:
        series = declare(store, declarations(cellar), wall_ms())["k1-pressure"]
        Appender(store).append([(series, wall_ms() - 5000, 12.0, 0), (series, FAR_MS, 12.0, 0)])
        with store.write() as connection:
            set_cursor(connection, KNOWN, FAR_MS)

    shown = leeside("check", file, "--clock")
    assert shown.returncode == 1
    assert "it was already 2100-01-01" in shown.stdout
    assert "--clock --forget" in shown.stdout
    assert "1 reading of times that have not come yet, from 2100-01-01" in shown.stdout

    back = leeside("check", file, "--clock", "--forget", "--json")
    assert back.returncode == 0, back.stdout
    assert [tried["ok"] for tried in json.loads(back.stdout)["tried"]] == [True] * 4
    with open_existing(cellar.store_path) as store:
        assert abs((cursor(store, KNOWN) or 0) - wall_ms()) < 60_000
        assert Appender(store).stamp(series, wall_ms()) < FAR_MS
    again = leeside("check", file, "--clock")
    assert again.returncode == 0
    assert "all are marked as uncertain (clock)" in again.stdout


def test_a_clock_without_fault_is_in_order(tmp_path: Path) -> None:
    file = tmp_path / "cellar.toml"
    file.write_text("\n".join((SITE, MQTT, KEG, PROBE)), encoding="utf-8")
    assert "there is no store yet" in leeside("check", file, "--clock").stdout
    create_or_open(load_cellar(file).store_path, wall_ms()).close()
    result = leeside("check", file, "--clock")
    assert result.returncode == 0
    assert "no time is known yet" in result.stdout
