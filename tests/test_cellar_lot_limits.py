"""Limits on wine: where they apply, and what they replace there."""

from __future__ import annotations

import pytest
from cellar_text import KEG, MQTT, SITE, TEMPERATURE, cellar, keg, limit, probe, temperature

from ingest.cellar import Cellar, EffectiveLimit, WinePlaces
from ingest.journal.vessel_state import VesselState
from ingest.journal.wine import Wine
from ingest.journal.wine_places import wine_places

ANY = limit(lot="any", quantity="temperature", high="20 °C")
A1 = limit(lot="A1", quantity="temperature", high="26 °C")
PROBES = (TEMPERATURE, temperature("k2-temperature", at="K2", topic="k2/t"))


def _cellar(*limits: str) -> Cellar:
    return cellar(SITE, MQTT, KEG, keg("K2"), *PROBES, *limits)


def _of_file(limits: tuple[EffectiveLimit, ...]) -> dict[str, EffectiveLimit]:
    return {each.key: each for each in limits if each.origin == "file"}


def test_a_limit_on_a_lot_is_where_the_lot_lies() -> None:
    file = _cellar(A1)
    assert _of_file(file.limits) == {}
    nowhere = file.limits_with(WinePlaces())
    assert _of_file(nowhere) == {}
    there = _of_file(file.limits_with(WinePlaces({"K2": frozenset({"A1"})})))
    assert list(there) == ["lot A1/temperature/high/K2"]
    made = there["lot A1/temperature/high/K2"]
    assert (made.at, made.probe, made.lot, made.setpoint) == ("K2", "k2-temperature", "A1", 26.0)


def test_a_limit_on_any_wine_is_in_every_vessel_that_is_not_known_to_be_empty() -> None:
    file = _cellar(ANY)
    assert set(_of_file(file.limits_with(WinePlaces(empty=frozenset({"K1"}))))) == {"lot any/temperature/high/K2"}
    assert set(_of_file(file.limits_with(WinePlaces()))) == {
        "lot any/temperature/high/K1",
        "lot any/temperature/high/K2",
    }


def test_a_limit_on_the_lot_takes_the_place_of_one_on_any_wine_of_its_kind() -> None:
    low = limit(lot="any", quantity="temperature", low="10 °C")
    wine = WinePlaces({"K1": frozenset({"A1"}), "K2": frozenset({"B2"})})
    assert set(_of_file(_cellar(ANY, A1, low).limits_with(wine))) == {
        "lot A1/temperature/high/K1",
        "lot any/temperature/high/K2",
        "lot any/temperature/low/K1",
        "lot any/temperature/low/K2",
    }


def test_there_it_replaces_the_default_limit_that_it_reaches() -> None:
    limits = {each.key for each in _cellar(A1).limits_with(WinePlaces({"K1": frozenset({"A1"})}))}
    assert "K1/temperature/heat" not in limits
    assert {"K1/temperature/frost", "K2/temperature/heat"} <= limits


def test_two_lots_in_one_vessel_with_the_same_limit_are_one_alarm() -> None:
    b2 = limit(lot="B2", quantity="temperature", high="26 °C")
    limits = _of_file(_cellar(A1, b2).limits_with(WinePlaces({"K1": frozenset({"A1", "B2"})})))
    assert limits["lot A1/temperature/high/K1"].suppressed_by == ()
    assert limits["lot B2/temperature/high/K1"].suppressed_by == ("lot A1/temperature/high/K1",)


def test_two_probes_in_one_vessel_have_their_ids_behind_the_key() -> None:
    spare = temperature("spare", at="K1", topic="k1/spare")
    limits = _of_file(_cellar(A1, spare).limits_with(WinePlaces({"K1": frozenset({"A1"})})))
    assert set(limits) == {
        "lot A1/temperature/high/K1/k1-temperature",
        "lot A1/temperature/high/K1/spare",
    }


def test_an_id_stands_before_the_vessel() -> None:
    warm = limit(id="warm", lot="any", quantity="temperature", high="20 °C")
    assert set(_of_file(_cellar(warm).limits_with(WinePlaces()))) == {"warm/K1", "warm/K2"}


def test_a_judged_quantity_of_wine_needs_no_probe_and_wakes_nobody() -> None:
    low = limit(lot="any", quantity="molecular_so2", low="0.5 mg/L")
    made = _of_file(_cellar(low).limits_with(WinePlaces()))["lot any/molecular_so2/low/K1"]
    assert (made.probe, made.hours, made.deadband) == ("K1/molecular_so2", "waking", 0.05)


def test_possible_limits_are_those_of_every_place_of_the_wine() -> None:
    file = _cellar(ANY, A1)
    possible = {each.key for each in file.possible_limits}
    assert {each.key for each in file.limits} < possible
    for wine in (WinePlaces(), WinePlaces({"K1": frozenset({"A1"})}), WinePlaces({}, frozenset({"K1", "K2"}))):
        assert {each.key for each in file.limits_with(wine)} <= possible


def test_without_limits_on_wine_nothing_depends_on_it() -> None:
    file = cellar(
        SITE, MQTT, KEG, probe(), limit(due="titration", after="20 d", lot="any", consequence=None, action=None)
    )
    assert not file.has_limits_on_wine
    assert file.limits_with(WinePlaces({"K1": frozenset({"A1"})})) is file.limits


def test_a_deadband_of_wine_must_let_the_alarm_clear() -> None:
    text = limit(lot="A1", quantity="temperature", high="20 °C", deadband="60 °C")
    with pytest.raises(Exception, match="the alarm would clear only at -40 °C"):
        _cellar(text)


@pytest.mark.parametrize(("share", "counts"), [(0.09, False), (0.1, True), (1.0, True), (None, True)])
def test_a_lot_counts_from_a_tenth_of_the_wine_on(share: float | None, counts: bool) -> None:
    held = VesselState(True, 10.0, 0.1, Wine((("A1", share), (None, None))))
    empty = VesselState(True, 0.0, 0.0)
    places = wine_places({"K1": held, "K2": empty, "K3": VesselState(False)})
    assert places == WinePlaces({"K1": frozenset({"A1"})} if counts else {}, frozenset({"K2"}))
