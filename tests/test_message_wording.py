"""What a message says."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from cellar_text import KEG, SITE
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import CLOCK, a_limit, a_silence

from alerts.message.cautions import BURST_GLASS, CAUTIONS, GAS
from alerts.message.subject import tail_of
from alerts.message.wording import Ago, CellarView, MessageText, compose, view_of
from alerts.watch import AlarmEvent, Condition, Occasion, State
from alerts.watch.alarm import Transition
from alerts.watch.applied_limits import LEFT_NOTE, REPLACED_NOTE
from ingest.cellar import parse_cellar
from ingest.reading import ESTIMATED
from ingest.store.readings.series_history import HistoryRow

# 2023-11-14 22:13:20 UTC
SINCE_MS = 1_700_000_000_000
VIEW = CellarView("cellar.toml", ZoneInfo("Europe/Ljubljana"), "K1 (Riesling)", "keg", under_gas=True)
WALL = CellarView("cellar.toml", UTC, "cellar", "room")


def raised(**changes: Any) -> Transition:
    settings: dict[str, Any] = {
        "key": "K1/pressure/low",
        "occurrence": "7f3k",
        "at_ms": SINCE_MS + 60_000,
        "from_state": State.NORMAL,
        "to_state": State.UNACKNOWLEDGED,
        "event": AlarmEvent.BEGAN,
        "occasion": Occasion.RAISED,
        "opened": "7f3k",
        "value": 3.4,
        "raised_value": 3.4,
        "since_ms": SINCE_MS,
        "extreme": 3.4,
        "condition": Condition("K1/pressure/low", True, SINCE_MS, 3.4, extreme=3.4),
    }
    return Transition(**{**settings, **changes})


def returned(**changes: Any) -> Transition:
    ended = SINCE_MS + 725_000
    settings: dict[str, Any] = {
        "from_state": State.UNACKNOWLEDGED,
        "to_state": State.RETURNED,
        "event": AlarmEvent.ENDED,
        "occasion": Occasion.RETURNED,
        "value": 55.04,
        "extreme": 1.25,
        "condition": Condition("K1/pressure/low", False, ended, 55.04, extreme=1.25),
    }
    return raised(**{**settings, **changes})


def test_an_alarm_that_was_muted_says_so() -> None:
    ended = raised(from_state=State.SHELVED, event=AlarmEvent.SHELVING_ENDED, note="shelved by Ana: lid off")
    assert "\n\nIt was muted until now, shelved by Ana: lid off.\n" in compose(ended, a_limit(), VIEW).body
    for event in (AlarmEvent.UNSHELVE, AlarmEvent.RETURN_TO_SERVICE):
        again = raised(from_state=State.SHELVED, event=event, by="Ben", note="done early")
        assert (
            "It was muted until now; Ben lets it be watched again: done early." in compose(again, a_limit(), VIEW).body
        )
    assert "muted" not in compose(raised(from_state=State.SUPPRESSED, event=AlarmEvent.RELEASE), a_limit(), VIEW).body


def test_so2_of_which_only_an_upper_bound_is_known_is_at_most_so_much() -> None:
    limit, low = a_limit(quantity="molecular_so2", unit_text="mg/L", setpoint=0.4), raised(value=0.3, extreme=0.3)
    said = " is at most 0.30 mg/L, below the limit of 0.4 mg/L."
    assert said in compose(low, limit, replace(VIEW, upper_bound=True)).body
    assert "at most" not in compose(low, limit, VIEW).body
    assert "at most" not in compose(raised(), a_limit(), replace(VIEW, upper_bound=True)).body, "not of a pressure"


def test_a_raised_alarm_in_full() -> None:
    draft = compose(
        raised(), a_limit(), VIEW, readings=[HistoryRow(SINCE_MS + 1000 * n, 4.0 - n / 10, 0) for n in range(12)]
    )
    assert draft.subject == "HIGH PRIORITY: K1 pressure 3.4 kPa, below 5 kPa"
    for line in (
        "K1 (Riesling): pressure is 3.4 kPa, below the limit of 5 kPa.",
        "Since:       2023-11-14 23:13:20 CET (UTC+01:00)",
        "Priority:    high",
        "If ignored:  Air can reach the wine.",
        "What to do:  Look at the lid seal.",
        "Acknowledge: leeside acknowledge cellar.toml 7f3k",
        "  2023-11-14 23:13:22 CET (UTC+01:00)  3.8 kPa",
        "  2023-11-14 23:13:31 CET (UTC+01:00)  2.9 kPa",
    ):
        assert line in draft.body.splitlines()
    assert "23:13:21" not in draft.body, "only the last ten readings"
    assert "The clock of probe" not in draft.body


def test_a_probe_whose_clock_is_ahead_is_named() -> None:
    draft = compose(raised(), a_limit(), VIEW, readings=[HistoryRow(SINCE_MS, 3.4, CLOCK)])
    assert "The clock of probe k1-pressure is wrong: some of its readings carry times that had not come" in draft.body
    estimated = compose(raised(), a_limit(), VIEW, readings=[HistoryRow(SINCE_MS, 3.4, CLOCK + ESTIMATED)])
    assert "The clock of probe" not in estimated.body, "there it is the machine's clock"


@pytest.mark.parametrize(
    ("setpoint", "unit", "value", "quantity", "shown"),
    [
        (34.4737864659, "psi", 27.5790291727, "pressure", "4.00 psi, below 5 psi"),
        (50.0, "bar", 41.23, "pressure", "0.412 bar, below 0.5 bar"),
        (5.0, "kPa", 4.99, "pressure", "4.99 kPa, below 5 kPa"),
        (5.0, "kPa", -0.01, "pressure", "0.0 kPa, below 5 kPa"),
        (5.0, "Pa", 3.4, "pressure", "3400 Pa, below 5000 Pa"),
        (12.5, "°C", 9.04, "temperature", "9.0 °C, below 12.5 °C"),
        (10.0, "°F", 5.0, "temperature", "41.0 °F, below 50 °F"),
        (3.2, "pH", 3.1, "pH", "3.10 pH, below 3.2 pH"),
    ],
)
def test_values_are_in_the_limits_own_unit_with_sensible_decimals(
    setpoint: float, unit: str, value: float, quantity: str, shown: str
) -> None:
    limit = a_limit(setpoint=setpoint, unit_text=unit, quantity=quantity)
    assert (
        compose(raised(value=value, raised_value=value), limit, VIEW).subject == f"HIGH PRIORITY: K1 {quantity} {shown}"
    )


def test_a_high_limit_says_above() -> None:
    limit = a_limit(kind="high", quantity="temperature", setpoint=20.0, unit_text="°C", priority="medium")
    draft = compose(raised(value=21.42, raised_value=21.42), limit, VIEW)
    assert draft.subject == "MEDIUM PRIORITY: K1 temperature 21.4 °C, above 20 °C"
    assert "is 21.4 °C, above the limit of 20 °C." in draft.body


def test_a_rate_says_which_way_how_much_and_in_what_time() -> None:
    limit = a_limit(kind="rate", quantity="temperature", setpoint=5.0, unit_text="K", within_s=3600.0, priority="low")
    condition = Condition(limit.key, True, SINCE_MS, 6.13, "rising", 6.13)
    draft = compose(raised(value=6.13, raised_value=6.13, condition=condition), limit, VIEW)
    assert draft.subject == "LOW PRIORITY: K1 temperature change 6.1 K, above 5 K in 1 h"
    assert draft.body.startswith(
        "K1 (Riesling): temperature is rising quickly, by 6.1 K in 1 h. The limit is 5 K in 1 h.\n\nSince:"
    )
    back = compose(returned(value=3.0, extreme=7.0), limit, VIEW).body
    assert "temperature no longer changes quickly.\nIt changed by more than 5 K in 1 h for 12 min 5 s, from" in back
    assert "The largest change was 7.0 K." in back


def test_silence_in_words() -> None:
    draft = compose(raised(value=700.0, raised_value=700.0), a_silence(setpoint=600.0), VIEW)
    assert draft.subject == "MEDIUM PRIORITY: K1 pressure, no data for 10 min"
    assert "probe k1-pressure (pressure) has sent nothing for more than 10 min" in draft.body
    back = compose(returned(value=None), a_silence(setpoint=600.0), VIEW)
    assert back.subject == "BACK TO NORMAL after: K1 pressure, no data for 10 min"
    assert "probe k1-pressure (pressure) is heard again" in back.body
    assert "It was silent for 12 min 5 s" in back.body


def test_a_part_of_leeside_that_is_silent_is_not_called_a_probe() -> None:
    limit = a_silence(at="leeside", quantity="broker", probe="", setpoint=100.0)
    view = CellarView("c.toml", UTC, "leeside")
    draft = compose(raised(value=101.0, raised_value=101.0), limit, view)
    assert draft.subject == "MEDIUM PRIORITY: leeside broker, not responding for 1 min 40 s"
    assert draft.body.startswith("leeside: the broker has not responded for more than 1 min 40 s.")
    body = compose(returned(value=None), limit, view).body
    assert body.startswith("leeside: the broker responds again.\nThe alarm lasted ")
    assert "Nobody has acknowledged it yet: leeside acknowledge" in body


GLASS = CellarView("c.toml", UTC, "C1", "carboy", glass=True)
WOOD = CellarView("c.toml", UTC, "B1", "barrel")
CYLINDER = CellarView("c.toml", UTC, "N2", "cylinder")


@pytest.mark.parametrize(
    ("changes", "view", "caution"),
    [
        ({}, VIEW, GAS),
        ({"kind": "high"}, VIEW, GAS),
        ({"kind": "high"}, WOOD, GAS),
        ({"kind": "high"}, GLASS, BURST_GLASS),
        ({}, CYLINDER, GAS),
        ({"kind": "high", "quantity": "temperature", "unit_text": "°C"}, CYLINDER, GAS),
        ({"kind": "no data", "unit_text": "s"}, CYLINDER, ""),
        ({}, GLASS, ""),
        ({"kind": "high", "quantity": "temperature", "unit_text": "°C"}, VIEW, ""),
        ({"kind": "no data", "unit_text": "s"}, VIEW, ""),
        ({"kind": "rate", "unit_text": "kPa", "within_s": 3600.0}, VIEW, GAS),
        ({"kind": "rate", "unit_text": "kPa", "within_s": 3600.0}, GLASS, BURST_GLASS),
        ({"kind": "rate", "unit_text": "kPa", "within_s": 3600.0}, WOOD, ""),
        ({"kind": "high", "quantity": "leak_rate", "unit_text": "mL/min"}, VIEW, GAS),
        ({"quantity": "cylinder_days_left", "unit_text": "d"}, CYLINDER, ""),
        ({"quantity": "molecular_so2", "unit_text": "mg/L"}, VIEW, ""),
    ],
)
def test_what_may_hurt_stands_in_one_line_after_the_fact_and_in_no_all_clear(
    changes: dict[str, str], view: CellarView, caution: str
) -> None:
    lines = compose(raised(), a_limit(**changes), view).body.splitlines()
    assert [line for line in lines if line in CAUTIONS] == ([caution] if caution else [])
    if caution:
        assert lines.index(caution) == 1
    assert not set(compose(returned(), a_limit(**changes), view).body.splitlines()) & set(CAUTIONS)


def test_a_caution_fits_a_line_and_glass_speaks_of_bursting_first() -> None:
    assert all("\n" not in caution and len(caution) <= 120 for caution in CAUTIONS)
    assert "air the room before you go in" in GAS
    assert "do not go in alone" in GAS
    assert BURST_GLASS.index("burst") < BURST_GLASS.index("Air the room")


def test_back_to_normal_tells_how_long_and_how_far() -> None:
    draft = compose(returned(), a_limit(), VIEW)
    assert draft.subject == "BACK TO NORMAL at 55.0 kPa after: K1 pressure 3.4 kPa, below 5 kPa"
    assert "pressure has returned to normal: 55.0 kPa." in draft.body
    assert "It was below 5 kPa for 12 min 5 s, from 2023-11-14 23:13:20 CET" in draft.body
    assert "The lowest value was 1.2 kPa." in draft.body
    assert "Nobody has acknowledged it yet: leeside acknowledge cellar.toml 7f3k" in draft.body
    assert "acknowledge" not in compose(returned(to_state=State.NORMAL), a_limit(), VIEW).body
    assert "The highest value was 201.0 kPa" in compose(returned(extreme=201.0), a_limit(kind="high"), VIEW).body


def test_what_is_better_and_not_normal_says_what_still_stands() -> None:
    draft = compose(returned(value=12.0, still=("K1/pressure/care",)), a_limit(), VIEW)
    assert draft.subject == "IMPROVED at 12.0 kPa after: K1 pressure 3.4 kPa, below 5 kPa"
    assert draft.body.startswith("K1 (Riesling): pressure is no longer below 5 kPa: 12.0 kPa.\n")
    assert "It is not normal yet: K1/pressure/care still stands, which was reported before." in draft.body
    assert "returned to normal" not in draft.body


def test_a_limit_on_wine_says_that_the_wine_has_left() -> None:
    draft = compose(raised(occasion=Occasion.REMOVED, note=LEFT_NOTE), a_limit(), VIEW)
    assert draft.subject == "WINE HAS LEFT after: K1 pressure 3.4 kPa, below 5 kPa"
    assert draft.body.startswith("K1 (Riesling): the wine that the limit K1/pressure/low is on has left.\n")
    other = compose(raised(occasion=Occasion.REMOVED, note=REPLACED_NOTE), a_limit(), VIEW)
    assert "a limit on the wine that lies there now has taken the place of K1/pressure/low" in other.body


def test_a_limit_on_a_rate_speaks_of_the_change_and_shows_what_was_read() -> None:
    limit = a_limit(
        kind="rate", quantity="temperature", setpoint=5.0, within_s=3600.0, unit_text="°F", key="K1/temperature/change"
    )
    draft = compose(raised(value=6.0, raised_value=6.0), limit, VIEW, readings=[HistoryRow(SINCE_MS, 20.0, 0)])
    assert draft.subject.endswith("K1 temperature change 10.8 °F, above 9 °F in 1 h")
    assert "temperature is changing quickly, by 10.8 °F in 1 h. The limit is 9 °F in 1 h." in draft.body
    assert "68.0 °F" in draft.body


def test_a_subject_keeps_its_words_in_a_thread_though_the_limit_was_edited() -> None:
    first = compose(raised(), a_limit(), VIEW).subject
    later = compose(returned(), a_limit(setpoint=2.0), VIEW, thread_subject=first).subject
    gone = compose(raised(occasion=Occasion.REMOVED), None, VIEW, thread_subject=first).subject
    assert tail_of(first) == tail_of(later) == tail_of(gone)
    assert later.startswith("BACK TO NORMAL at 55.0 kPa after: ")
    assert gone.startswith("LIMIT REMOVED: ")


def test_a_limit_that_is_gone() -> None:
    draft = compose(raised(occasion=Occasion.REMOVED, to_state=State.NORMAL, closed="7f3k"), None, WALL)
    assert draft.subject == "LIMIT REMOVED: K1/pressure/low"
    assert "Its alarm 7f3k is closed" in draft.body
    assert "That does not mean that all is well" in draft.body


def test_a_step_that_tells_nothing_has_no_message() -> None:
    with pytest.raises(ValueError, match="'acknowledged' of K1/pressure/low is not announced"):
        compose(raised(occasion=None, to_state=State.ACKNOWLEDGED), a_limit(), VIEW)


def test_a_file_name_with_a_space_can_be_pasted() -> None:
    view = CellarView("my cellar.toml", UTC, "K1", "keg", under_gas=True)
    assert "leeside acknowledge 'my cellar.toml' 7f3k" in compose(raised(), a_limit(), view).body


def test_an_hour_that_comes_twice_is_told_apart() -> None:
    first, second = 1_792_887_000_000, 1_792_890_600_000  # 2026-10-25 02:10 CEST and CET
    bodies = [compose(raised(since_ms=at), a_limit(), VIEW).body for at in (first, second)]
    assert "2026-10-25 02:10:00 CEST (UTC+02:00)" in bodies[0]
    assert "2026-10-25 02:10:00 CET (UTC+01:00)" in bodies[1]


def test_a_long_name_is_cut_short_and_the_numbers_stay() -> None:
    draft = compose(returned(), a_limit(at="K" * 64), VIEW)
    assert draft.subject.endswith("KKK… pressure 3.4 kPa, below 5 kPa")
    assert len(draft.subject) == 78
    assert draft.subject.startswith("BACK TO NORMAL after: "), "the value would not fit; the text has it"
    assert len(compose(raised(occasion=Occasion.REMOVED, key="K" * 90), None, VIEW).subject) <= 78


@given(
    at=st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", fullmatch=True),
    value=st.floats(-1e6, 1e6),
    kind=st.sampled_from(["low", "high", "no data"]),
    priority=st.sampled_from(["low", "medium", "high"]),
    transition=st.sampled_from([raised, returned]),
)
def test_a_subject_fits_its_line(at: str, value: float, kind: str, priority: str, transition: Any) -> None:
    limit = a_limit(at=at, kind=kind, priority=priority, unit_text="h" if kind == "no data" else "kPa")
    draft: MessageText = compose(transition(value=value, raised_value=value), limit, VIEW)
    assert len(draft.subject) <= 78
    assert "\n" not in draft.subject


def test_what_is_on_its_way_back_when_a_mute_ends_is_not_said_to_be_beyond_the_limit() -> None:
    ended = {"event": AlarmEvent.SHELVING_ENDED, "from_state": State.SHELVED, "note": "shelved by Ana: lid off"}
    low = compose(raised(**ended, value=5.5, raised_value=5.5, extreme=1.25), a_limit(), VIEW)
    assert low.subject == "HIGH PRIORITY: K1 pressure 1.2 kPa, below 5 kPa"
    assert low.body.startswith(
        "K1 (Riesling): pressure is 5.5 kPa. It was below the limit of 5 kPa, lowest 1.2 kPa, and has not come back "
        "far enough yet.\n"
    )
    rate = a_limit(kind="rate", setpoint=20.0, within_s=60.0)
    change = compose(raised(**ended, value=0.1, raised_value=0.1, extreme=25.9), rate, VIEW)
    assert change.subject == "HIGH PRIORITY: K1 pressure change 25.9 kPa, above 20 kPa in 1 min"
    assert "pressure changed quickly, by up to 25.9 kPa in 1 min, and has not been calm for long" in change.body


def test_of_a_limit_that_was_changed_meanwhile_nothing_false_is_said() -> None:
    back = compose(returned(value=5.5, extreme=3.2), a_limit(setpoint=2.0), VIEW)
    assert "\nThe limit was changed meanwhile; the alarm lasted 12 min 5 s, from " in back.body
    assert "It was below 2 kPa" not in back.body
    assert "\nThe lowest value was 3.2 kPa.\n" in back.body


def test_a_raised_alarm_says_near_its_beginning_what_was_an_hour_and_a_day_ago() -> None:
    readings = [HistoryRow(SINCE_MS, 3.4, 0)]
    earlier = [Ago("an hour ago", 20.31), Ago("a day ago", 55.0)]
    body = compose(raised(), a_limit(), VIEW, readings=readings, earlier=earlier).body
    assert "(UTC+01:00)\nBefore:      an hour ago 20.3 kPa, a day ago 55.0 kPa\n" in body
    assert body.count("Before") == 1
    back = compose(returned(), a_limit(), VIEW, readings=readings, earlier=earlier).body
    assert back.endswith("3.4 kPa\nBefore: an hour ago 20.3 kPa, a day ago 55.0 kPa.\n")
    assert "Before" not in compose(raised(), a_limit(), VIEW, readings=readings).body


def test_the_page_is_named_where_people_can_reach_it() -> None:
    text = SITE + KEG + '[page]\nurl = "https://cellar.example"\npassword_hash_file = "hash"\n'
    view = view_of(parse_cellar(text, file="cellar.toml", base=Path()), "K1")
    assert "\nPage:        https://cellar.example/vessel/K1\n" in compose(raised(), a_limit(), view).body
    assert "Page:" not in compose(raised(), a_limit(), VIEW).body


def test_the_form_that_the_action_names_is_given_beside_the_command_where_people_can_reach_the_page() -> None:
    text = SITE + KEG + '[page]\nurl = "https://cellar.example"\npassword_hash_file = "hash"\n'
    view = view_of(parse_cellar(text, file="cellar.toml", base=Path()), "K1")
    limit = a_limit(action="Titrate free SO2 and write it down (leeside enter titration).")
    body = compose(raised(), limit, view).body
    assert "\nWhat to do:  Titrate free SO2 and write it down (leeside enter titration).\n" in body
    assert "\nWrite down:  https://cellar.example/enter/titration?vessel=K1\n" in body
    assert "Write down:" not in compose(raised(), limit, VIEW).body
    assert "Write down:" not in compose(raised(), a_limit(), view).body
