"""`leeside now`: what it says about the daemons."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from a_cellar_on_disk import NOW, CellarOnDisk
from cellar_text import KEG, MQTT, SITE, probe, write_cellar
from running import leeside
from test_view_blanket import a_leak

from alerts.blanket.details import blanket_details
from ingest.cellar import load_cellar
from ingest.judgement import Judgement
from ingest.process import wall_ms
from ingest.pulse import AlertsPulse, BrokerPulse, IngestPulse
from ingest.store import create_or_open
from ingest.store.judgements import keep_judgements
from ingest.store.pulse_rows import write_pulse
from ingest.times import iso_utc


@pytest.mark.parametrize(("waiting", "words"), [(1, "1 message waits to be sent"), (2, "2 messages wait to be sent")])
def test_waiting_messages_are_counted(waiting: int, words: str, tmp_path: Path) -> None:
    on_disk = CellarOnDisk(tmp_path)
    file = write_cellar(tmp_path, on_disk.cellar.text)
    with on_disk.store.write() as connection:
        write_pulse(connection, AlertsPulse(waiting_messages=waiting), wall_ms(), wall_ms())
    assert words in leeside("now", file).stdout


def test_a_broker_that_delivers_is_not_called_unconnected(tmp_path: Path) -> None:
    on_disk = CellarOnDisk(tmp_path)
    file = write_cellar(tmp_path, on_disk.cellar.text)
    with on_disk.store.write() as connection:
        write_pulse(connection, IngestPulse(mqtt=BrokerPulse()), NOW - 5_000, NOW - 5_000)
    assert "broker: not connected yet" in leeside("now", file).stdout
    on_disk.reading("k1-pressure", 55.0, seconds_ago=1)
    shown = leeside("now", file).stdout
    assert "not connected yet" not in shown and "broker: connected since then" in shown


def test_the_gas_over_a_wine_is_a_line_a_card_and_an_object(tmp_path: Path) -> None:
    file = write_cellar(tmp_path, SITE, MQTT, KEG, probe())
    now_ms = wall_ms()
    with create_or_open(load_cellar(file).store_path, now_ms) as store, store.write() as connection:
        shown = a_leak(at_ms=now_ms, since_ms=now_ms - 3_600_000)
        hours_ago = now_ms - 5 * 3_600_000
        for row in (
            Judgement("K1", "compensated_pressure", hours_ago, 31.0, 30.0, 32.0, "sound"),
            Judgement("K1", "compensated_pressure", now_ms, 24.9, details=blanket_details(shown)),
        ):
            keep_judgements(connection, "gas", [row])
    line = "  blanket: slow leak, 0.4 to 0.6 mL a minute, 31 to 47 kPa a day, air floor of 5 kPa in 9 to 15 hours, "
    assert line in leeside("now", file).stdout
    card = leeside("now", file, "K1").stdout
    assert "  blanket: slow leak: gas is certainly lost\n" in card
    assert "  headspace 2.0 ± 0.2 L of nitrogen\n" in card
    for found in (
        json.loads(leeside("now", file, "--json").stdout)["places"][0],
        json.loads(leeside("now", file, "K1", "--json").stdout),
    ):
        assert found["blanket"]["finding"] == "slow leak"
        assert found["blanket"]["hours_to_floor_low"] == 9.2
    then = leeside("now", file, "K1", "--at", iso_utc(hours_ago + 60_000)).stdout
    assert "  blanket: sound: no gas is lost\n  31 ± 1 kPa compensated\n" in then
    assert "blanket" not in leeside("now", file, "K1", "--at", iso_utc(hours_ago - 4 * 3_600_000)).stdout
