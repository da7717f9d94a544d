"""Messages about gas: each finding as a person reads it, and never more than was found."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from cellar_text import KEG, MQTT, SITE, carboy, cellar, limit, probe, temperature
from test_view_blanket import HOUR, NOW, a_leak

from alerts.blanket.details import BlanketShown
from alerts.message.cautions import BURST_GLASS, GAS
from alerts.message.wording import MessageText, compose, view_of
from alerts.watch import AlarmEvent, Condition, Occasion, State
from alerts.watch.alarm import Transition
from ingest.cellar import NOT_FORESEEN_H

TABLES = (
    SITE,
    MQTT,
    KEG,
    probe(),
    temperature(),
    carboy(),
    probe("c1-pressure", "C1", topic="c1/p"),
    temperature("c1-temperature", "C1", topic="c1/t"),
)
CELLAR = cellar(*TABLES)
AIR, LEAK, SOON = "K1/pressure/air", "K1/leak_rate/high", "K1/hours_to_air_floor/soon"


def transition(key: str, value: float, **changes: Any) -> Transition:
    settings: dict[str, Any] = {
        "key": key,
        "occurrence": "7f3k",
        "at_ms": NOW,
        "from_state": State.NORMAL,
        "to_state": State.UNACKNOWLEDGED,
        "event": AlarmEvent.BEGAN,
        "occasion": Occasion.RAISED,
        "opened": "7f3k",
        "value": value,
        "raised_value": value,
        "since_ms": NOW - 60_000,
        "extreme": value,
        "condition": Condition(key, True, NOW - 60_000, value, extreme=value),
    }
    return Transition(**{**settings, **changes})


def raised(key: str, value: float, shown: BlanketShown | None, *own: str) -> MessageText:
    """The message of a limit that is raised, while the gas is judged so."""
    watched = cellar(*TABLES, *own) if own else CELLAR
    chosen = next(each for each in watched.limits if each.key == key)
    view = replace(view_of(watched, chosen.at), blanket=shown)
    return compose(transition(key, value), chosen, view)


def returned(key: str, value: float, shown: BlanketShown) -> MessageText:
    chosen = next(each for each in CELLAR.limits if each.key == key)
    ended = transition(
        key,
        value,
        from_state=State.UNACKNOWLEDGED,
        to_state=State.RETURNED,
        event=AlarmEvent.ENDED,
        occasion=Occasion.RETURNED,
        since_ms=NOW - 7 * HOUR,
        condition=Condition(key, False, NOW, value),
        extreme=0.5,
    )
    return compose(ended, chosen, replace(view_of(CELLAR, chosen.at), blanket=shown))


def cold(**changes: Any) -> BlanketShown:
    settings = {
        "finding": "cooling",
        "raw_kpa": 4.4,
        "compensated_kpa": 13.0,
        "rate_ml_min": 0.0,
        "hours_low": None,
        "hours_high": None,
        "leak_certain": False,
    }
    return a_leak(**{**settings, **changes})


def test_a_leak_in_full() -> None:
    draft = raised(LEAK, 0.4, a_leak())
    assert draft.subject == "MEDIUM PRIORITY: K1 loses gas, at least 0.40 mL a minute"
    assert draft.body.splitlines()[:2] == [
        "K1: slow leak. Gas is lost, 0.4 to 0.6 mL a minute, 31 to 47 kPa a day.",
        GAS,
    ]
    for line in (
        "Finding:     slow leak, since 2026-10-03 04:00:00 CEST (UTC+02:00)",
        "Gauge:       22.0 kPa; at 15 °C the same gas would show 25 ± 1 kPa",
        "Time left:   air floor of 5 kPa in 9 to 15 hours",
        "Last sound:  2026-10-03 03:00:00 CEST (UTC+02:00)",
    ):
        assert line in draft.body.splitlines()
    assert "soapy water on lid seal, posts and relief valve" in draft.body
    assert draft.body.count("0.4 to 0.6 mL a minute") == 1


def test_a_night_that_brings_the_gauge_under_the_floor_is_announced_as_cold() -> None:
    body = raised(AIR, 4.3, cold()).body
    assert body.startswith(
        "K1: pressure is 4.3 kPa, below the limit of 5 kPa. "
        "It is the cold: no gas is lost. At 15 °C the same gas would show 13 ± 1 kPa."
    )
    assert "There is no leak to look for." in body
    assert "close the leak" not in body
    own = limit(at="K1", quantity="pressure", low="5 kPa")
    body = raised("K1/pressure/low", 4.3, cold(), own).body
    assert "It is the cold" in body
    assert "What to do:  Look at the lid." in body, "what the owner wrote stands"


def test_an_empty_blanket_is_not_put_down_to_the_cold() -> None:
    body = raised(AIR, 4.3, cold(finding="sound", compensated_kpa=5.2)).body
    assert "It is the cold" not in body
    assert "No gas is lost now, but there is little in the vessel, cold or warm." in body
    assert "There is no leak" not in body


def test_what_was_judged_before_a_fall_is_not_said_of_it() -> None:
    body = raised(AIR, 4.3, cold(finding="sound", raw_kpa=52.0, compensated_kpa=55.0)).body
    assert "no gas is lost" not in body.lower()
    assert "The reason is not known yet: leeside judges the gas every minute, and its last finding was sound." in body
    assert "Gauge:" not in body
    assert "Before:      sound, since" in body


def test_a_leak_that_was_certain_explains_a_gauge_that_fell_further() -> None:
    body = raised(AIR, 4.3, a_leak(raw_kpa=13.3)).body
    assert "Slow leak: gas is lost, 0.4 to 0.6 mL a minute" in body
    assert "Finding:     slow leak, since" in body
    assert "13.3" not in body
    assert "Time left" not in body
    assert "Look first:  at lid seal, posts and relief valve, with soapy water; then at the regulator" in body
    assert "Look first" not in raised(AIR, 4.3, cold()).body
    assert "Look first" not in raised(LEAK, 0.4, a_leak()).body, "what to do says it"


def test_a_fast_leak_wakes_with_the_minutes_that_are_left() -> None:
    shown = a_leak(finding="fast leak", hours_low=0.15, hours_high=0.25)
    draft = raised(SOON, 0.15, shown)
    assert draft.subject == "HIGH PRIORITY: K1 loses its blanket, at least 9 minutes left"
    assert draft.body.startswith(
        "K1: if nothing is done, the gauge is below the air floor of 5 kPa in 9 to 15 minutes. Fast leak: gas is lost, "
    )


def test_cold_that_is_coming_is_said_as_cold() -> None:
    draft = raised("K1/hours_to_air_floor_by_cold/low", 9.2, cold(raw_kpa=8.0, hours_cold=9.2))
    assert draft.subject == "MEDIUM PRIORITY: K1 falls below the air floor by cold in 9 hours"
    assert draft.body.startswith(
        "K1: no gas is lost, but cold alone brings the gauge below the air floor of 5 kPa in about 9 hours, "
    )
    assert "leak" not in draft.body


def test_settling_asks_for_gas_and_not_for_soapy_water() -> None:
    shown = a_leak(finding="settling", leak_certain=False, hours_low=20.0, hours_high=None)
    body = raised("K1/hours_to_air_floor/low", 20.0, shown).body
    assert "Settling: the wine takes up gas" in body
    assert "in at least 20 hours" in body
    assert "the wine has taken up gas" in body
    assert "soapy" not in body


def test_glass_in_which_gas_rises_is_urgent_and_says_burst_first() -> None:
    shown = a_leak(finding="gas rising", rate_ml_min=-0.3, rate_kpa_day=-23.0, leak_certain=False)
    draft = raised("C1/gas_gain_rate/high", 0.2, replace(shown, without_blanket=True))
    assert draft.subject == "HIGH PRIORITY: C1 gains gas, at least 0.20 mL a minute"
    assert draft.body.splitlines()[:2] == [
        "C1: gas comes in, 0.2 to 0.4 mL a minute, 15 to 31 kPa a day. The wine gives off carbon dioxide.",
        BURST_GLASS,
    ]
    under_gas = raised("C1/gas_gain_rate/high", 0.2, shown).body
    assert "The wine gives off carbon dioxide, or the regulator creeps." in under_gas


def test_glass_under_an_airlock_is_never_called_sound() -> None:
    airlock = BlanketShown(at_ms=NOW, finding="sound", gas="carbon dioxide", raw_kpa=0.2, without_blanket=True)
    over = raised("C1/pressure/over", 4.0, airlock).body
    assert "its last finding was no gas rising." in over
    assert "sound" not in over
    assert "Now: no gas rising; gauge 0.2 kPa." in returned("C1/pressure/over", 0.2, airlock).body


def test_what_cannot_be_told_says_why_in_plain_words() -> None:
    reason = "The wine was racked 3 hours ago: for half a day its gas cannot be told from a leak."
    body = raised(AIR, 4.3, cold(finding="cannot tell yet", warnings=(reason,))).body
    assert "Leeside cannot say whether gas is lost. The wine was racked 3 hours ago: for half a day" in body
    assert "close the leak" in body, "to be on the safe side"


def test_what_is_not_judged_is_named_below_and_the_caution_stays_second() -> None:
    reason = "There is no good reading of the temperature of the wine or the wall."
    lines = raised(AIR, 4.3, cold(finding="no judgement", raw_kpa=None, warnings=(reason,))).body.splitlines()
    assert lines[1] == GAS
    assert "Finding:     no judgement, since" in "\n".join(lines)
    assert f"Note:        {reason}" in lines
    before = raised(AIR, 4.3, cold(finding="no judgement", raw_kpa=None, missing="pressure")).body
    assert "Finding" not in before


def test_a_limit_of_the_file_is_named_with_its_number() -> None:
    own = limit(at="K1", quantity="leak_rate", high="0.5 mL/min", priority="high")
    draft = raised(LEAK, 0.8, a_leak(rate_ml_min=0.9), own)
    assert draft.subject == "HIGH PRIORITY: K1 leak rate 0.80 mL/min, above 0.5 mL/min"
    assert "mL a minute, 35 to 43 kPa a day, above the limit of 0.5 mL/min." in draft.body


def test_without_a_judgement_at_hand_the_number_speaks() -> None:
    assert raised(LEAK, 0.4, None).body.startswith("K1 loses gas, at least 0.40 mL a minute.\n")
    assert raised(AIR, 4.3, None).body.startswith(f"K1: pressure is 4.3 kPa, below the limit of 5 kPa.\n{GAS}")


def test_what_has_ended_says_how_the_gas_is_now() -> None:
    sound = cold(finding="sound", raw_kpa=52.1, compensated_kpa=55.2)
    leak = returned(LEAK, 0.0, sound)
    assert leak.body.startswith("K1: no gas is lost any more.\nIt lasted 7 h, from ")
    assert "Now: sound; gauge 52.1 kPa, 55 ± 1 kPa at 15 °C." in leak.body
    near = returned(SOON, NOT_FORESEEN_H, sound)
    assert near.body.startswith("K1: the air floor is no longer near.")
    assert "10000" not in near.subject + near.body


def test_what_was_judged_before_a_recharge_is_not_said_of_it() -> None:
    body = returned(AIR, 55.0, a_leak(raw_kpa=3.8)).body
    assert "The finding before that was slow leak. Leeside judges the gas again within minutes." in body
    assert "Now: " not in body


def test_where_the_supply_is_open_the_supply_is_looked_at() -> None:
    body = raised(AIR, 4.3, cold(finding="supply open")).body
    assert "this vessel says nothing about leaks" in body
    assert "see whether the cylinder is empty" in body
