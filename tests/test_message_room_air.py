"""What a message about gas says of the room's air."""

from __future__ import annotations

from pathlib import Path

import pytest
from a_cellar_on_disk import NOW
from cellar_text import LIMIT, MQTT, SITE, carboy, cylinder, keg, probe, room, table
from journal_entries import a_body
from running import leeside

from alerts.cylinders.details import CylinderShown, cylinder_details
from alerts.cylinders.gas_in_rooms import GasInRooms, QuickGasInRooms
from alerts.gas.gases import GASES
from alerts.gas.stock import GasStock, RoomGas
from alerts.message.bundle import Notice, together
from alerts.message.cautions import GAS, GOING_IN, cautions_in, without_cautions
from alerts.message.wording import MessageText
from alerts.view.gas.room_air_lines import room_air_json, room_air_text
from ingest.cellar import load_cellar, parse_cellar
from ingest.journal.entry import Draft
from ingest.judgement import Judgement
from ingest.probes.binding import declarations
from ingest.process import wall_ms
from ingest.store import create_or_open
from ingest.store.journal.entries import write_entry
from ingest.store.judgements import keep_judgements
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

NITROGEN, _, CARBON_DIOXIDE = GASES.values()
LOW = LIMIT + 'at = "K1"\nquantity = "pressure"\nlow = "5 kPa"\npriority = "high"\n'


def _air(stock: GasStock, volume_m3: float | None, name: str = "cellar") -> str:
    return room_air_text(RoomGas(name, volume_m3, (stock,)), "K1")


def test_a_room_that_stays_safe() -> None:
    assert _air(GasStock("N2", NITROGEN, 1426.0, None, "pressure"), 30.0) == (
        "Worst case: if the cylinder N2 (1,430 L of nitrogen) empties into the room cellar (30 m³), oxygen falls to "
        "20.0 %; leeside is not a gas alarm."
    )


def test_a_closet_is_a_caution() -> None:
    text = _air(GasStock("N2", NITROGEN, 1426.0, None, "pressure"), 5.0, "closet")
    assert "oxygen falls to 15.0 %: impaired judgement" in text
    assert "Air the room from outside, and do not go in before a meter for oxygen shows" in text
    assert "follow the local codes; leeside is not a gas alarm." in text


@pytest.mark.parametrize(("litres", "is_caution"), [(2070.0, False), (2080.0, True)])
def test_the_caution_begins_below_19_5_percent(litres: float, is_caution: bool) -> None:
    """20.95 % (1 - 2.076 / 30) = 19.5 %."""
    text = _air(GasStock("N2", NITROGEN, litres, None, "pressure"), 30.0)
    assert ("Air the room" in text) == is_caution
    assert "19.50 %" in text


@pytest.mark.parametrize(("litres", "is_caution"), [(149.0, False), (150.0, True)])
def test_carbon_dioxide_is_a_caution_from_half_a_percent(litres: float, is_caution: bool) -> None:
    text = _air(GasStock("CO2", CARBON_DIOXIDE, litres, None, "weight"), 30.0)
    assert ("a meter for carbon dioxide shows" in text) == is_caution
    assert f"{litres:.0f} L of carbon dioxide, by weight" in text
    assert "carbon dioxide rises by 0.5 %" in text


def test_what_is_not_known_is_said() -> None:
    stock = GasStock("N2", NITROGEN, 1872.0, None, "full")
    assert "not measured; 1,870 L of nitrogen if full" in _air(stock, 30.0)
    assert "leeside does not know the air of the room cellar: its `volume` is not in" in _air(stock, None)
    assert "does not say in which room K1 stands" in _air(stock, None, "")
    assert "how much gas can escape into the room cellar (30 m³)" in room_air_text(RoomGas("cellar", 30.0, ()), "K1")


def test_the_object_has_units_and_nulls() -> None:
    found = room_air_json(RoomGas("cellar", 30.0, (GasStock("N2", NITROGEN, 1426.0, None, "pressure", NOW),)))
    assert found == {
        "room": "cellar",
        "volume_m3": 30.0,
        "worst_from": "N2",
        "worst_gas": "nitrogen",
        "worst_released_l": 1426.0,
        "worst_known_by": "pressure",
        "worst_read_at": "2026-11-25T18:30:00.000Z",
        "worst_o2_percent": pytest.approx(19.954, abs=1e-3),
        "worst_co2_percent": 0.0,
    }
    assert set(room_air_json(RoomGas("", None, ())).values()) == {None}


# ---- from a cellar's store ------------------------------------------------------------------------------------------

N2_PRESSURE = probe("n2-pressure", "N2", topic="n2/p", unit="bar")


def _text(folder: Path, *pieces: str, n2_bar: float | None = None, at: str = "K1") -> str:
    folder.mkdir(exist_ok=True)
    cellar = parse_cellar("\n".join((SITE, MQTT, *pieces)), file="cellar.toml", base=folder)
    store = create_or_open(cellar.store_path, NOW)
    series = declare(store, declarations(cellar), NOW)
    if n2_bar is not None:
        Appender(store).append([(series["n2-pressure"], NOW, n2_bar, 0)])
    with store.read():
        gas = GasInRooms(cellar, store).around(at, NOW)
    store.close()
    return "" if gas is None else room_air_text(gas, at)


def test_the_cylinder_beside_a_keg(tmp_path: Path) -> None:
    """10 L of nitrogen at 14.9 MPa gauge and 15 °C: 1,457 L by the reference equation of nitrogen (CoolProp)."""
    in_cellar = (room(volume="30 m3"), keg(room="cellar"), cylinder(room="cellar"), N2_PRESSURE)
    text = _text(tmp_path, *in_cellar, n2_bar=149.0)
    assert text.startswith("Worst case: if the cylinder N2 (1,460 L of nitrogen) empties into the room cellar (30 m³)")


def test_a_cylinder_elsewhere_counts_where_a_gas_line_joins_it(tmp_path: Path) -> None:
    pieces = (room(volume="30 m3"), room("yard"), keg(room="cellar"), cylinder(room="yard"), N2_PRESSURE)
    assert "the vessel K1 (not measured; at most" in _text(tmp_path / "a", *pieces, n2_bar=149.0)
    line = table("[[gas_line]]", id="line", cylinder="N2", regulator="55 kPa", vessels=["K1"])
    assert "the cylinder N2 (1,460 L" in _text(tmp_path / "b", *pieces, line, n2_bar=149.0)


def test_vessels_without_gas_and_rooms_say_nothing(tmp_path: Path) -> None:
    pieces = (room(volume="30 m3"), carboy(room="cellar"), keg(gas=None), cylinder(room="cellar"), N2_PRESSURE)
    assert [_text(tmp_path / at, *pieces, at=at) for at in ("C1", "K1", "cellar", "gone")] == [""] * 4
    assert "the cylinder N2 (not measured" in _text(tmp_path / "N2", *pieces, at="N2")


def test_what_was_written_of_a_cylinder_under_its_former_name_counts(tmp_path: Path) -> None:
    cellar, renamed = (
        parse_cellar("\n".join((SITE, MQTT, room(volume="30 m3"), cylinder(**keys))), file="cellar.toml", base=tmp_path)
        for keys in ({"room": "cellar"}, {"id": "N3", "was": "N2", "room": "cellar"})
    )
    store = create_or_open(cellar.store_path, NOW)
    said = a_body("measurement", quantity="pressure", value=14_900.0)
    write_entry(store, Draft("measurement", NOW - 1000, "Ana", said, "N2", None), cellar, NOW)
    with store.read():
        (before,), (after,) = (GasInRooms(each, store).in_room("cellar", NOW).stocks for each in (cellar, renamed))
    store.close()
    assert (after.place, after.litres, after.at_ms) == ("N3", before.litres, NOW - 1000)


def test_the_message_of_a_limit_gives_the_worst_case(tmp_path: Path) -> None:
    """The whole way: the cellar file, a reading of the cylinder, and the message on trial."""
    pieces = (SITE, MQTT, room(volume="5 m3"), keg(room="cellar"), cylinder(room="cellar"), probe(), N2_PRESSURE, LOW)
    file = tmp_path / "cellar.toml"
    file.write_text("\n".join(pieces), encoding="utf-8")
    _text(tmp_path, *pieces[2:], n2_bar=149.0)
    done = leeside("limits", file, "--try", "K1/pressure/low", "--value", "3 kPa")
    assert done.returncode == 0, done.stderr
    assert "empties into the room cellar (5 m³), oxygen falls to 14.8 %: impaired judgement" in done.stdout
    assert "leeside is not a gas alarm." in done.stdout


def test_a_tank_warns_of_going_in(tmp_path: Path) -> None:
    tank = keg("T1", kind="tank", capacity="300 L", room="cellar")
    low = LOW.replace("K1", "T1")
    pieces = (SITE, MQTT, room(volume="30 m3"), tank, probe("t1-pressure", "T1"), low)
    file = tmp_path / "cellar.toml"
    file.write_text("\n".join(pieces), encoding="utf-8")
    create_or_open(tmp_path / "cellar.db", NOW).close()
    done = leeside("limits", file, "--try", "T1/pressure/low", "--value", "3 kPa")
    assert "Caution: never climb, reach or lean into a tank" in done.stdout


def test_several_messages_give_each_worst_case_once_and_one_that_is_over_none() -> None:
    worst = _air(GasStock("N2", NITROGEN, 1426.0, None, "pressure"), 30.0)
    body = f"K1: pressure is low.\n{GAS}\n\nPriority:    high\n\n{worst}\n{GOING_IN}\n\nLast readings:\n  1 kPa\n"
    assert cautions_in([body, body]) == [GAS, GOING_IN, worst]
    assert without_cautions(body) == "K1: pressure is low.\n\nPriority:    high\n\nLast readings:\n  1 kPa\n"


def test_the_cautions_of_a_file_with_two_alarms_stand_above_both() -> None:
    worst = _air(GasStock("N2", NITROGEN, 1426.0, None, "pressure"), 30.0)
    notices = [
        Notice((name,), "raised", MessageText(f"{name} is low", f"{name}: low.\n{GAS}\n\n{worst}\n"), "high", 0)
        for name in ("K1", "K2")
    ]
    whole = together(notices, "Mill Lane").draft.body
    assert whole.count(worst) == whole.count(GAS) == 1
    assert whole.index(worst) < whole.index("---- K1 is low")


# ---- the same for a turn, which must stay short ---------------------------------------------------------------------


class InAStore:
    """K1 under nitrogen in the cellar of 30 m³, with N2 beside it at 149 bar, and what a turn makes of it."""

    def __init__(self, folder: Path) -> None:
        pieces = (SITE, MQTT, room(volume="30 m3"), keg(room="cellar"), cylinder(room="cellar"), probe(), N2_PRESSURE)
        self.file = folder / "cellar.toml"
        self.file.write_text("\n".join(pieces), encoding="utf-8")
        self.cellar = load_cellar(self.file)
        self.store = create_or_open(self.cellar.store_path, NOW)
        series = declare(self.store, declarations(self.cellar), NOW)
        numbers = {"n2-pressure": 149.0, "k1-pressure": 55.0}
        Appender(self.store).append([(series[id], NOW - 1000, number, 0) for id, number in numbers.items()])
        self.quick = QuickGasInRooms(self.cellar, self.store)

    def around(self, at_ms: int = NOW) -> tuple[RoomGas | None, RoomGas | None]:
        """Both ways: the turn's, and that of commands."""
        with self.store.read():
            exact = GasInRooms(self.cellar, self.store).around("K1", at_ms)
            return self.quick.around("K1", at_ms), exact


def test_a_turn_finds_the_same_as_a_command(tmp_path: Path) -> None:
    quick, exact = InAStore(tmp_path).around()
    assert quick == exact
    assert exact is not None
    assert [stock.place for stock in exact.stocks] == ["K1", "N2"]


def test_a_turn_takes_a_cylinder_as_it_was_judged(tmp_path: Path) -> None:
    cellar = InAStore(tmp_path)
    shown = CylinderShown(gas="nitrogen", basis="pressure", basis_ms=NOW - 60_000, content_l=1400.0, thermometer="room")
    judged = Judgement("N2", "cylinder_days_left", NOW, 30.0, details=cylinder_details(shown))
    with cellar.store.write() as connection:
        keep_judgements(connection, "cylinders", [judged])
    quick, _ = cellar.around()
    assert quick is not None
    assert quick.stocks[1] == GasStock("N2", NITROGEN, 1400.0, None, "pressure", NOW - 60_000)


def test_a_turn_sees_what_was_written_down_since(tmp_path: Path) -> None:
    """An empty keg at 55 kPa holds ten times the nitrogen of a full one."""
    cellar = InAStore(tmp_path)
    wine = ("--lot", "R25", "--name", "Riesling", "--style", "white")
    for words in (("lot", *wine), ("first-filling", "--vessel", "K1", "--lot", "R25", "--volume", "19 L")):
        done = leeside("enter", words[0], cellar.file, *words[1:], "--yes")
        assert done.returncode == 0, done.stderr
    later = wall_ms() + 1000
    full, _ = cellar.around(later)
    emptied = ("--vessel", "K1", "--status", "emptied", "--yes", "--despite-warnings")
    done = leeside("enter", "vessel-status", cellar.file, *emptied)
    assert done.returncode == 0, done.stderr
    empty, exact = cellar.around(wall_ms() + 2000)
    assert full is not None and empty is not None
    assert empty == exact
    assert empty.stocks[0].litres > 10.0 * full.stocks[0].litres
