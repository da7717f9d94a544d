"""A limit and where it stands, as people and programs read it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from a_store import NOW
from cellar_text import BASE, KEG, MQTT, PROBE, cellar, limit, mail, probe, site, temperature

from alerts.view.alarms.limit_lines import WIDTH, LimitStatus, limit_json, limit_lines, limit_statuses, limit_words
from alerts.watch.alarm import AlarmState
from alerts.watch.alarm_table import State
from alerts.watch.own_limits import watched_limits
from alerts.watch.shelving import OutOfService, Shelving
from alerts.watch.watch_state import LimitRecord
from ingest.store.alarms.alarm_record import AlarmRow, TransitionRow

CELLAR = cellar(BASE)
LIMITS = watched_limits(CELLAR)
AIR, CARE = LIMITS["K1/pressure/air"], LIMITS["K1/pressure/care"]
DAY_MS = 86_400_000


def row(key: str, state: State, **changes: object) -> AlarmRow:
    record = LimitRecord.fresh(LIMITS[key], 0.0)
    record = replace(record, track=replace(record.track, active=state is State.UNACKNOWLEDGED))
    alarm = AlarmState(key, state=state, **changes)  # type: ignore[arg-type]  # a test's keywords
    return AlarmRow(key, str(state), alarm.occurrence, replace(record, alarm=alarm).to_json(), NOW)


def standing(status: LimitStatus) -> str:
    return " ".join(line.strip() for line in limit_lines([("K1 (keg)", [status])], CELLAR.site.zone, NOW)[4:])


def status_of(key: str, state: State, note: str = "", **changes: object) -> LimitStatus:
    step = TransitionRow(NOW, key, None, "an event", "normal", str(state), None, "", note)
    rows = [row(key, state, **changes)]
    rows += [row(parent, State.UNACKNOWLEDGED) for parent in LIMITS[key].suppressed_by]
    return limit_statuses([LIMITS[key]], rows, {key: step}, {})[0]


@pytest.mark.parametrize(
    ("status", "words"),
    [
        (status_of(AIR.key, State.NORMAL), "in range"),
        (status_of("leeside/ingest", State.NORMAL), "in order"),
        (
            status_of(AIR.key, State.UNACKNOWLEDGED, occurrence="a2b", since_ms=NOW),
            "ALARM a2b since 19:30:00 CET, not acknowledged",
        ),
        (
            status_of(AIR.key, State.ACKNOWLEDGED, occurrence="a2b", since_ms=NOW, acknowledged_by="ana"),
            "ALARM a2b since 19:30:00 CET, seen by ana",
        ),
        (
            status_of(AIR.key, State.RETURNED, occurrence="a2b", since_ms=NOW),
            "back to normal, alarm a2b not acknowledged",
        ),
        (status_of(CARE.key, State.SUPPRESSED), "muted: K1/pressure/air is active"),
        (status_of(CARE.key, State.SUPPRESSED, note="the vessel is empty"), "muted: the vessel is empty"),
        (
            status_of(AIR.key, State.SHELVED, shelving=Shelving("Ana", NOW, "lid off", 7200.0, NOW + 7_200_000)),
            "muted until 21:30:00 CET, by Ana: lid off",
        ),
        (
            status_of(AIR.key, State.OUT_OF_SERVICE, out_of_service=OutOfService("Ana", NOW, "sent in")),
            "out of service since 19:30:00 CET, by Ana: sent in",
        ),
        (limit_statuses([AIR], [], {}, {})[0], "not judged yet"),
        (limit_statuses([AIR], [AlarmRow(AIR.key, "normal", None, "{}", NOW)], {}, {})[0], "not judged yet"),
    ],
)
def test_where_a_limit_stands_in_plain_words(status: LimitStatus, words: str) -> None:
    assert standing(status).startswith(f"{words}; default; ")


def test_where_a_limit_comes_from_and_when_it_last_acted() -> None:
    own = watched_limits(cellar(BASE, limit(at="K1", quantity="pressure", low="5 kPa")))["K1/pressure/low"]
    acted = limit_statuses([own], [], {}, {own.key: NOW - DAY_MS})[0]
    assert standing(acted) == "not judged yet; from the cellar file; last alarm 2026-11-24 19:30 CET"
    assert standing(limit_statuses([AIR], [], {}, {})[0]) == "not judged yet; default; has never raised an alarm"


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("K1/pressure/air", "below 5 kPa"),
        ("K1/pressure/over", "above 180 kPa"),
        ("K1/pressure/no-data", "no data for 3 min"),
        ("K1/pressure/bad-measurement", "no good reading for 10 min"),
        ("leeside/broker", "not responding for 1 min 40 s"),
        ("leeside/disk", "nearly full"),
    ],
)
def test_when_a_limit_alarms(key: str, words: str) -> None:
    assert limit_words(LIMITS[key]) == words


def test_a_table_stays_within_its_width_whatever_the_keys() -> None:
    crowded = watched_limits(
        cellar(
            site(),
            MQTT,
            KEG,
            PROBE,
            probe("k1-second-pressure-with-a-long-name", topic="k1/p2"),
            temperature(topic="k1/t"),
            limit(at="K1", quantity="temperature", high="64.4 °F", on_delay="90 s", id="far-too-warm"),
            mail(),
        )
    )
    lines = limit_lines([("K1", limit_statuses(crowded.values(), [], {}, {}))], CELLAR.site.zone, NOW)
    assert max(map(len, "\n".join(lines).splitlines())) <= WIDTH
    text = "\n".join(lines)
    assert all(key in text for key in crowded)
    assert "above 64.4 °F" in text
    assert "0.72 °F" in text, "the deadband of 0.4 K in the unit of the limit"
    assert "1 min 30 s, 5 min" in text


def test_keys_of_an_object_carry_their_unit() -> None:
    air = limit_json(status_of(AIR.key, State.UNACKNOWLEDGED, occurrence="a2b", since_ms=NOW))
    assert (air["setpoint_kpa"], air["deadband_kpa"], air["on_delay_s"]) == (5.0, 1.0, 60.0)
    assert (air["state"], air["alarm"], air["origin"]) == ("unacknowledged", "a2b", "default")
    silence = limit_json(limit_statuses([LIMITS["K1/pressure/bad-measurement"]], [], {}, {AIR.key: NOW})[0])
    assert (silence["setpoint_s"], silence["kind"], silence["state"]) == (600.0, "bad measurement", None)
    warm = watched_limits(cellar(BASE, temperature(), limit(at="K1", quantity="temperature", high="20 °C")))[
        "K1/temperature/high"
    ]
    shown = limit_json(limit_statuses([warm], [], {}, {warm.key: NOW})[0])
    assert (shown["setpoint_c"], shown["deadband_k"]) == (20.0, 0.4)
    assert (shown["origin"], shown["last_raised"]) == ("file", "2026-11-25T18:30:00.000Z")
