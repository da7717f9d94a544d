"""The alarm record in plain words."""

from __future__ import annotations

import pytest
from a_store import NOW
from cellar_text import BASE, cellar
from watch_limits import a_limit, a_silence

from alerts.view.alarms.record_lines import record_json, record_line
from alerts.watch.alarm_table import AlarmEvent, State
from alerts.watch.own_limits import watched_limits
from ingest.cellar import EffectiveLimit
from ingest.store.alarms.alarm_record import TransitionRow
from ingest.times import iso_utc

CELLAR = cellar(BASE)
LIMITS = watched_limits(CELLAR)
AIR = "K1/pressure/air"


def line(event: str, before: State, after: State, who: str = "", note: str = "", value: float | None = 3.25) -> str:
    row = TransitionRow(NOW, AIR, "a2b", event, str(before), str(after), value, who, note)
    whole = record_line(row, LIMITS, CELLAR.site.zone, "metric", NOW)
    head = f"19:30:00 CET  a2b   {AIR}{'' if value is None else ' 3.2 kPa'}: "
    assert whole.startswith(head)
    return whole.removeprefix(head)


E, S = AlarmEvent, State


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (line(E.BEGAN, S.NORMAL, S.UNACKNOWLEDGED), "alarm raised"),
        (line(E.ENDED, S.UNACKNOWLEDGED, S.RETURNED), "back to normal"),
        (line(E.ACKNOWLEDGE, S.UNACKNOWLEDGED, S.ACKNOWLEDGED, "Ana", "on my way"), "seen by Ana: on my way"),
        (
            line(E.SHELVE, S.NORMAL, S.SHELVED, "Ana", f"until {iso_utc(NOW + 3_600_000)}: lid: off"),
            "muted by Ana until 20:30:00 CET: lid: off",
        ),
        (line(E.BEGAN, S.SHELVED, S.SHELVED), "would be an alarm, but is muted"),
        (line(E.ENDED, S.OUT_OF_SERVICE, S.OUT_OF_SERVICE), "back to normal, muted"),
        (
            line(E.SHELVING_ENDED, S.SHELVED, S.UNACKNOWLEDGED, "", "shelved by Ana: x"),
            "mute ended, alarm raised: shelved by Ana: x",
        ),
        (line(E.UNSHELVE, S.SHELVED, S.SUPPRESSED, "Ana"), "mute ended by Ana, still muted (by design)"),
        (line(E.TAKE_OUT, S.NORMAL, S.OUT_OF_SERVICE, "Ana", "sent in", None), "taken out of service by Ana: sent in"),
        (line(E.RETURN_TO_SERVICE, S.OUT_OF_SERVICE, S.NORMAL, "Ana"), "returned to service by Ana"),
        (line(E.SUPPRESS, S.NORMAL, S.SUPPRESSED, "", "the vessel is empty"), "muted while the vessel is empty"),
        (line("released, condition true", S.SUPPRESSED, S.UNACKNOWLEDGED), "no longer muted, alarm raised"),
        (line(E.RELEASE, S.SUPPRESSED, S.NORMAL), "no longer muted"),
        (line(E.REMOVED, S.SHELVED, S.NORMAL), "limit removed"),
        (line("of a later version", S.NORMAL, S.NORMAL), "of a later version"),
    ],
)
def test_a_step_in_plain_words(text: str, words: str) -> None:
    assert text == words


def test_every_event_has_plain_words_of_its_own() -> None:
    words = {line(event, State.UNACKNOWLEDGED, State.NORMAL) for event in AlarmEvent}
    assert len(words) >= len(AlarmEvent) - 1, "unshelving and the end of a shelving may read alike"


@pytest.mark.parametrize(
    ("limit", "value"),
    [
        (None, "121.5"),
        (a_silence(), "2 min 2 s"),
        (a_limit(kind="due", quantity="titration"), "121 d 12 h"),
        (a_limit(), "17.62 psi"),
        (a_limit(kind="rate", quantity="temperature", unit_text="K", within_s=3600.0), "121.5 K"),
    ],
)
def test_a_value_is_in_the_unit_of_what_it_is_of(limit: EffectiveLimit | None, value: str) -> None:
    row = TransitionRow(NOW, "key", None, "condition began", "normal", "unacknowledged", 121.5, "", "", "slow leak")
    limits = {} if limit is None else {"key": limit}
    text = record_line(row, limits, CELLAR.site.zone, "us", NOW)
    assert text == f"19:30:00 CET  -     key {value}: alarm raised (slow leak)"


def test_programs_get_the_words_of_the_standard() -> None:
    row = TransitionRow(NOW, AIR, "a2b", "shelved", "normal", "shelved", 3.2, "Ana", "until ...: lid off")
    assert record_json(row) == {
        "at": iso_utc(NOW),
        "limit": AIR,
        "alarm": "a2b",
        "event": "shelved",
        "from_state": "normal",
        "to_state": "shelved",
        "value": 3.2,
        "finding": None,
        "who": "Ana",
        "note": "until ...: lid off",
    }
