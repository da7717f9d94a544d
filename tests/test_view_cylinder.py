"""A gas cylinder as people and programs read it: by now, by a message, by its subject."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from datetime import UTC
from pathlib import Path
from typing import Any

import pytest
from a_gas_store import GAUGE, HOUR_MS, WARMTH, GasStore, gauge_kpa
from cellar_text import MQTT, SITE, cellar, cylinder, limit, probe
from hypothesis import given
from hypothesis import strategies as st
from running import leeside
from test_message_gas_words import transition

from alerts.cylinders.details import CylinderShown, cylinder_details, cylinder_shown
from alerts.message.cautions import GAS
from alerts.message.wording import MessageText, compose, view_of
from alerts.turning.message_background import StoredBackground
from alerts.view.gas.cylinder_lines import cylinder_json, cylinder_lines, cylinder_of, lasts_text
from alerts.watch import AlarmEvent, Occasion, State
from alerts.watch.turn import JUDGEMENT_FRESH_S
from ingest.judgement import Judgement
from ingest.process import wall_ms
from ingest.store.judgements import MOST_DETAILS, keep_judgements

NOW = 1_791_021_600_000
CARE, SOON = "N2/cylinder_days_left/care", "N2/cylinder_days_left/soon"
CELLAR = cellar(SITE, MQTT, cylinder(), probe("n2-p", "N2", topic="n2/p"))


def a_cylinder(**changes: Any) -> CylinderShown:
    """Make a cylinder from which gas is drawn."""
    settings: dict[str, Any] = {
        "gas": "nitrogen",
        "basis": "pressure",
        "basis_ms": NOW,
        "raw_kpa": 3120.0,
        "temperature_c": 14.5,
        "thermometer": "room",
        "content_l": 312.4,
        "u_content_l": 8.0,
        "content_kg": 0.37,
        "use_l_day": 30.0,
        "use_low_l_day": 24.0,
        "use_high_l_day": 36.0,
        "use_days": 7.0,
        "use_seen": True,
        "days_low": 5.2,
        "days_high": 11.5,
    }
    return CylinderShown(**{**settings, **changes})


def lines(shown: CylinderShown, units: str = "metric") -> list[str]:
    return cylinder_lines(shown, UTC, units, NOW)


def judgement(shown: CylinderShown, at_ms: int = NOW) -> Judgement:
    details = json.loads(json.dumps(dict(cylinder_details(shown)), ensure_ascii=False))
    return Judgement(
        "N2", "cylinder_days_left", at_ms, shown.days_low, shown.days_low, shown.days_high, "", "", details
    )


# ---- now ------------------------------------------------------------------------------------------------------------


def test_a_cylinder_in_full() -> None:
    assert lines(a_cylinder(open_at=("K1", "K2"), remarks=("look at it",))) == [
        "holds 310 ± 20 L (0.370 kg) of nitrogen, gauge 31.2 bar at 14.5 °C",
        "uses 24 to 36 L a day; lasts 5 to 12 days",
        "supply open at K1, K2",
        "note: look at it",
    ]
    assert lines(a_cylinder(), "us")[0] == "holds 310 ± 20 L (0.370 kg) of nitrogen, gauge 453 psi at 58.1 °F"


def test_no_use_is_said_and_no_upper_end_invented() -> None:
    unused = a_cylinder(use_seen=False, use_days=28.2, use_low_l_day=0.0, days_low=311.0, days_high=None)
    assert lines(unused)[1] == "no use seen in 28 days; lasts at least 311 days"
    assert lines(a_cylinder(days_low=800.0, days_high=None))[1].endswith("lasts for more than a year")


def test_what_cannot_be_told_is_not_said() -> None:
    early = a_cylinder(
        use_days=None, use_l_day=None, use_low_l_day=None, use_high_l_day=None, days_low=None, days_high=None
    )
    assert lines(early)[1] == "how long it lasts cannot be told yet"
    assert lines(CylinderShown(gas="carbon dioxide", raw_kpa=4986.0, remarks=("weigh it",))) == [
        "gauge 49.9 bar",
        "note: weigh it",
    ]


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (0.0, 0.0, "down to its reserve: change it"),
        (0.0, None, "may be down to its reserve now"),
        (0.5, 3.5, "lasts at most 4 days"),
        (0.3, 0.9, "lasts 7 to 22 hours"),
        (66.0, 68.2, "lasts 66 to 69 days"),
        (66.0, 900.0, "lasts at least 66 days"),
    ],
)
def test_days_left_are_rounded_to_what_lasts(low: float, high: float | None, words: str) -> None:
    assert lasts_text(a_cylinder(days_low=low, days_high=high)) == words


def test_a_cylinder_known_by_hand_says_when() -> None:
    assert "read" not in lines(a_cylinder())[0]
    weighed = a_cylinder(basis="weight", basis_ms=NOW - 16 * HOUR_MS, raw_kpa=None, temperature_c=None)
    assert lines(weighed)[0] == "holds 310 ± 20 L (0.370 kg) of nitrogen, weighed 2026-10-02 18:00 UTC"


def test_an_old_judgement_says_nothing_of_use() -> None:
    old = NOW - round(JUDGEMENT_FRESH_S * 1000) - 600_000
    shown = cylinder_of([judgement(a_cylinder(), old)], NOW)
    assert shown is not None
    assert lines(shown)[1:] == [
        "how long it lasts cannot be told yet",
        "note: judged 40 min ago, and not since then",
    ]
    assert cylinder_of([Judgement("N2", "leak_rate", NOW, 0.1)], NOW) is None


NUMBERS = [field.name for field in fields(CylinderShown) if field.type == "float | None"]
NUMBER = st.none() | st.just(0.0) | st.floats(0.0, 1e5).map(lambda value: float(f"{value:.3g}"))


@given(
    shown=st.builds(
        CylinderShown,
        gas=st.sampled_from(["nitrogen", "argon", "carbon dioxide"]),
        basis=st.sampled_from(["", "pressure", "weight"]),
        thermometer=st.sampled_from(["", "room", "cylinder"]),
        by_hand=st.booleans(),
        use_seen=st.booleans(),
        basis_ms=st.none() | st.integers(0, 2**42),
        refilled_ms=st.none() | st.integers(0, 2**42),
        open_at=st.lists(st.sampled_from(["K1", "K2"]), max_size=2, unique=True).map(tuple),
        remarks=st.lists(st.text(max_size=200), max_size=3).map(tuple),
        **dict.fromkeys(NUMBERS, NUMBER),
    )
)
def test_what_was_judged_is_read_back_and_can_be_said(shown: CylinderShown) -> None:
    assert cylinder_shown(judgement(shown)) == shown
    assert all(lines(shown))
    json.dumps(cylinder_json(shown), allow_nan=False)


def test_details_stay_within_what_the_store_takes() -> None:
    numbers: dict[str, Any] = dict.fromkeys(NUMBERS, 12345.678)
    vessels = tuple(f"vessel-{number}" for number in range(99))
    full = CylinderShown(gas="carbon dioxide", remarks=("x" * 1000,) * 40, open_at=vessels, **numbers)
    assert len(json.dumps(dict(cylinder_details(full)), separators=(",", ":"))) <= MOST_DETAILS


def test_now_shows_cylinder_and_supply(tmp_path: Path) -> None:
    store = GasStore(tmp_path, GAUGE, WARMTH)
    store.write(1.0, "gas", "N2", act="supply opened")
    store.write(2.0, "gas", "K2", act="supply shut")
    with store.store.write() as connection:
        keep_judgements(connection, "cylinders", [judgement(a_cylinder(open_at=("K1",)), wall_ms())])
    words = leeside("now", store.path).stdout
    assert "uses 24 to 36 L a day; lasts 5 to 12 days" in words
    assert "gas supply of N2: open since 2026-09-2" in words
    assert "gas supply of N2: shut since 2026-09-2" in words
    places = {place["id"]: place for place in json.loads(leeside("now", store.path, "--json").stdout)["places"]}
    found = places["N2"]["cylinder"]
    assert (found["content_l"], found["days_left_low"], found["days_left_high"]) == (312.4, 5.2, 11.5)
    assert found["supply_open_at"] == ["K1"]
    assert places["K1"]["gas_supply"]["open"] is True
    assert places["K2"]["gas_supply"]["open"] is False
    assert places["CO2"]["cylinder"] is None
    card = leeside("now", store.path, "K1").stdout
    assert "gas supply of N2: open since" in card
    store.store.close()


# ---- messages -------------------------------------------------------------------------------------------------------


def raised(key: str, value: float, shown: CylinderShown | None, *own: str) -> MessageText:
    watched = cellar(SITE, MQTT, cylinder(), probe("n2-p", "N2", topic="n2/p"), *own)
    chosen = next(each for each in watched.limits if each.key == key)
    return compose(transition(key, value), chosen, replace(view_of(watched, "N2"), cylinder=shown))


def test_a_cylinder_that_runs_out_says_content_use_and_days() -> None:
    draft = raised(CARE, 5.2, a_cylinder(open_at=("K1",)))
    assert draft.subject == "MEDIUM PRIORITY: N2 cylinder lasts at least 5 days"
    body = draft.body.splitlines()
    assert body[0] == "N2: the cylinder lasts 5 to 12 days."
    for line in (
        "Content:     310 ± 20 L (0.370 kg) of nitrogen, gauge 31.2 bar at 14.5 °C",
        "Use:         24 to 36 L a day",
        "Time left:   5 to 12 days, to a reserve of 5 to 10 bar",
        "Supply:      open at K1",
    ):
        assert line in body
    assert "chain every cylinder upright" in draft.body
    assert GAS not in body, "fetching another is not a danger"


def test_a_cylinder_that_empties_fast_warns_of_the_room() -> None:
    leak = a_cylinder(fast_l_day=1440.0, fast_hours=3.0, days_low=0.2, days_high=12.0, open_at=("K1",))
    draft = raised(SOON, 0.2, leak)
    body = draft.body.splitlines()
    assert draft.subject == "MEDIUM PRIORITY: N2 cylinder lasts at least 4 hours"
    assert body[:3] == [
        "N2: the cylinder lasts about 4 hours if that goes on.",
        "It loses 1,440 L a day evenly in the last 3 hours, faster than usual. While a supply is open a leak does not "
        "show at the vessels, but here: shut the cylinder's valve and see whether it stops.",
        GAS,
    ]
    assert "Somebody draws gas, or it leaks" in raised(SOON, 0.2, replace(leak, open_at=())).body


def test_a_cylinder_at_its_reserve() -> None:
    draft = raised(SOON, 0.0, a_cylinder(days_low=0.0, days_high=0.0))
    assert draft.subject == "MEDIUM PRIORITY: N2 cylinder may be down to its reserve"
    assert draft.body.startswith("N2: the cylinder is down to its reserve.\n")


def test_a_limit_on_the_raw_gauge_says_the_same() -> None:
    own = limit(id="low", at="N2", quantity="pressure", low="3.5 MPa")
    body = raised("low", 3120.0, a_cylinder(), own).body
    assert body.startswith("N2: pressure is 3.1200 MPa, below the limit of 3.5 MPa.")
    assert "Time left:   5 to 12 days" in body
    assert "Time left" not in raised("low", 3120.0, None, own).body


def test_what_has_ended_says_how_the_cylinder_is_now() -> None:
    chosen = next(each for each in CELLAR.limits if each.key == CARE)
    ended = transition(
        CARE,
        46.0,
        from_state=State.UNACKNOWLEDGED,
        to_state=State.RETURNED,
        event=AlarmEvent.ENDED,
        occasion=Occasion.RETURNED,
        extreme=5.0,
    )
    view = replace(view_of(CELLAR, "N2"), cylinder=a_cylinder(content_l=1426.0, days_low=46.0, days_high=58.0))
    body = compose(ended, chosen, view).body
    assert body.startswith("N2: the cylinder lasts long enough again.\n")
    assert "lasts 46 to 58 days." in body


def test_the_store_gives_messages_the_newest_judgement(tmp_path: Path) -> None:
    store = GasStore(tmp_path, GAUGE, WARMTH)
    store.read("n2-pressure", lambda days: gauge_kpa(1426.0 - 20.0 * days, 15.0) / 100.0, 14.0)
    store.read("n2-temperature", lambda _: 15.0, 14.0)
    store.keep_judged(14.0)
    now_ms = int(store.judged(14.0)["N2"].at_ms)
    background = StoredBackground(store.cellar, store.store, store.series)
    shown = background.cylinder("N2", now_ms)
    assert shown is not None
    assert shown.use_l_day == pytest.approx(20.0, rel=0.05)
    assert background.cylinder("K1", now_ms) is None
    store.store.close()


def test_a_wide_range_of_use_has_no_digits_that_mean_nothing() -> None:
    shown = a_cylinder(content_l=1302.0, u_content_l=15.0, use_low_l_day=1.96, use_high_l_day=20.4)
    content, use, *_ = lines(shown)
    assert content.startswith("holds 1,300 ± 30 L")
    assert use.startswith("uses 2 to 20 L a day; ")
