"""What a helper, who does not know the cellar, reads of the room's air before they go in."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_cellar_on_disk import NOW
from cellar_text import LIMIT, MQTT, carboy, cylinder, keg, limit, mail, probe, room, site, temperature
from test_cellar_people import person
from turning_bench import Bench

from alerts.absence.safe_steps import GAUGE_STEP, KEEP_OUT_STEP
from alerts.cylinders.gas_in_rooms import GasInRooms, QuickGasInRooms
from alerts.gas.gases import GASES
from alerts.gas.stock import GasStock, RoomGas
from alerts.message.bundle import Notice, together
from alerts.message.cautions import GOING_IN
from alerts.message.helper_air import helper_air
from alerts.message.wording import MessageText
from ingest.cellar import parse_cellar
from ingest.store import create_or_open
from ingest.store.alarms.absences import begin_absence
from ingest.store.alarms.messages import MessageRow, recent_messages

NITROGEN, _, CARBON_DIOXIDE = GASES.values()
FULL = GasStock("N2", NITROGEN, 1426.0, None, "pressure")
METER = "Without a meter for oxygen that shows that the air is safe, do not go in, not even for a moment"
WARM = limit(at="K1", quantity="temperature", high="24 °C", on_delay="0 s", priority="medium")
HIGH = LIMIT + 'at = "K1"\nquantity = "pressure"\nhigh = "150 kPa"\non_delay = "0 s"\npriority = "high"\n'


def test_in_a_closet_nobody_goes_in_without_a_meter() -> None:
    air = helper_air(RoomGas("closet", 5.0, (FULL,)), GAUGE_STEP, "keg")
    assert air.text.startswith(
        "Worst case: if the gas cylinder N2 (1,430 L of nitrogen) has emptied into the room closet, the air there has "
        "15.0 % oxygen instead of 20.9 %. People faint in such air without a warning, and die."
    )
    assert METER in air.text
    assert "stay out and call the owner. Local rules come first; leeside is not a gas alarm." in air.text
    assert air.step == f"Only if a meter for oxygen shows that the air in the room is safe: {GAUGE_STEP}"


def test_in_a_large_room_the_room_is_aired_first() -> None:
    air = helper_air(RoomGas("cellar", 30.0, (FULL,)), GAUGE_STEP, "keg")
    assert "20.0 % oxygen instead of 20.9 %, which is enough to breathe." in air.text
    assert "near the floor, it can be far less: air the room before you go in." in air.text
    assert "meter" not in air.text
    assert air.step == GAUGE_STEP


def test_carbon_dioxide_needs_a_meter_of_its_own() -> None:
    stock = GasStock("CO2", CARBON_DIOXIDE, 900.0, None, "weight")
    air = helper_air(RoomGas("cellar", 30.0, (stock,)), GAUGE_STEP, "keg")
    assert "and 3 % carbon dioxide, which is poisonous. People faint" in air.text
    assert "a meter for carbon dioxide shows" in air.step


@pytest.mark.parametrize("gas", [RoomGas("cellar", None, (FULL,)), RoomGas("", None, (FULL,))])
def test_what_nobody_worked_out_counts_as_dangerous(gas: RoomGas) -> None:
    air = helper_air(gas, GAUGE_STEP, "keg")
    assert air.text.startswith("Room air: gas that suffocates is kept here, and nobody has worked out how far it would")
    assert "Without a meter for oxygen and carbon dioxide" in air.text
    assert "volume" not in air.text, "a helper knows nothing of the cellar file"


def test_where_a_vessel_may_burst_no_meter_lets_anybody_in() -> None:
    air = helper_air(RoomGas("closet", 5.0, (FULL,)), KEEP_OUT_STEP, "keg")
    assert "Stay out in any case." in air.text
    assert "meter" not in air.text
    assert air.step == KEEP_OUT_STEP


def test_a_tank_is_not_climbed_into_and_without_gas_nothing_is_said() -> None:
    assert helper_air(RoomGas("cellar", 30.0, (FULL,)), GAUGE_STEP, "tank").text.endswith(f"\n{GOING_IN}")
    assert helper_air(None, GAUGE_STEP, "carboy") == ("", GAUGE_STEP)


def test_of_two_alarms_in_a_room_the_worst_case_is_said_once_and_first() -> None:
    air = helper_air(RoomGas("closet", 5.0, (FULL,)), GAUGE_STEP, "keg")
    notices = [
        Notice((name,), "raised", MessageText(f"{name} is low", f"{name}: low.\n{air.text}\n\n{air.step}\n"), "high", 0)
        for name in ("K1", "K2")
    ]
    body = together(notices, "Mill Lane").draft.body
    assert body.count("Worst case: ") == 1
    assert body.index("Worst case: ") < body.index("Only if a meter")


@pytest.mark.parametrize("gas_in_rooms", [GasInRooms, QuickGasInRooms])
def test_all_gas_of_the_room_counts_whatever_the_alarm_is_at(tmp_path: Path, gas_in_rooms: type[GasInRooms]) -> None:
    pieces = (room(volume="30 m3"), room("hall"), keg(room="cellar"), carboy(room="cellar"), cylinder(room="cellar"))
    cellar = parse_cellar(
        "\n".join((site(), MQTT, *pieces, carboy("C2", room="hall"))), file="cellar.toml", base=tmp_path
    )
    with create_or_open(cellar.store_path, NOW) as store, store.read():
        gas = gas_in_rooms(cellar, store)
        beside = {place: gas.beside(place, NOW) for place in ("K1", "C1", "N2", "cellar", "C2", "hall", "gone")}
    stocks = {place: sorted(each.place for each in found.stocks) for place, found in beside.items() if found}
    assert stocks == {place: ["K1", "N2"] for place in ("K1", "C1", "N2", "cellar")}


def test_what_stands_nobody_knows_where_counts_as_one_room(tmp_path: Path) -> None:
    cellar = parse_cellar("\n".join((site(), MQTT, keg(), carboy(), cylinder())), file="cellar.toml", base=tmp_path)
    with create_or_open(cellar.store_path, NOW) as store, store.read():
        found = GasInRooms(cellar, store).beside("C1", NOW)
    assert found is not None
    assert (found.room, found.volume_m3, len(found.stocks)) == ("", None, 2)


def _helped(tmp_path: Path, *pieces: str, volume: str, psi: float = 8.0, celsius: float = 14.0) -> list[MessageRow]:
    """What bo gets while the owner is away, and K1 shows this."""
    bo = person("bo", '{ mail = "bo@cellar.example" }', priorities=[])
    kept = (room(volume=volume), keg(room="cellar"), cylinder(room="cellar"), probe(unit="psi"), temperature())
    bench = Bench(tmp_path, "\n".join((site(), MQTT, *kept, mail(), bo, *pieces)))
    begin_absence(bench.store, "bo", "Ana", bench.now.utc_ms, bench.now.utc_ms + 86_400_000)
    for _ in range(3):
        bench.second += 1
        bench.reading(psi)
        bench.appender.append([(bench.series["k1-temperature"], bench.now.utc_ms, celsius, 0)])
        bench.turner.turn(bench.now)
    rows = [row for row in recent_messages(bench.store) if row.recipient == "bo@cellar.example" and "K1" in row.subject]
    bench.store.close()
    return rows


def test_a_helper_who_is_sent_into_the_room_reads_of_its_air_whatever_the_alarm_is_about(tmp_path: Path) -> None:
    (warm,) = _helped(tmp_path, WARM, volume="5 m3", celsius=26.0)
    fact, worst, *rest = warm.body.split("\n")
    assert fact.startswith("K1: temperature is 26.0 °C")
    assert worst.startswith("Worst case: if the gas cylinder N2 (not measured; ")
    assert METER in worst
    said = "\n".join(rest)
    assert "What to do:  Only if a meter for oxygen shows that the air in the room is safe: Open door" in said
    assert "If somebody lies inside, do not go in to help: call the emergency services." in said
    assert "leeside acknowledge" not in said


def test_a_helper_who_must_keep_out_is_not_sent_for_a_meter(tmp_path: Path) -> None:
    (over,) = _helped(tmp_path, HIGH, volume="5 m3", psi=25.0)
    assert "Stay out in any case." in over.body
    assert KEEP_OUT_STEP in over.body
    assert "meter" not in over.body
