"""What would end a chatter: with the deadband or the on-delay that is advised, the same readings would not chatter."""

from __future__ import annotations

import math
import random
import tomllib
from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import EPOCH_MS, a_limit, a_silence

from alerts.message.chatter_words import advice_text
from alerts.watch import level
from alerts.watch.chatter import MOST_RAISES
from alerts.watch.chatter_advice import _MOST_DEADBAND, _MOST_DELAY_S, ChatterAdvice, advise
from alerts.watch.level import LevelTrack
from alerts.watch.turn_inputs import WatchReading
from ingest.cellar import QUANTITIES, EffectiveLimit, difference_in_unit

HIGH = a_limit(kind="high", setpoint=100.0, deadband=1.0, on_delay_s=0.0, off_delay_s=0.0, priority="medium")
FRESH_S = 120.0


def readings(values: Sequence[float], every_s: float = 10.0) -> list[WatchReading]:
    return [WatchReading("k1-pressure", EPOCH_MS + round(place * every_s * 1000), value) for place, value in
            enumerate(values)]  # fmt: skip


def raises(limit: EffectiveLimit, seen: Sequence[WatchReading]) -> int:
    _, changes = level.judge(LevelTrack(), limit, seen, fresh_s=FRESH_S, mono=0.0)
    return sum(change.active for change in changes)


def test_noise_around_the_setpoint_asks_for_a_deadband_beyond_it() -> None:
    chance = random.Random(5)
    seen = readings([chance.gauss(100.0, 0.7) for _ in range(180)])
    assert raises(HIGH, seen) > MOST_RAISES
    advice = advise(HIGH, seen, fresh_s=FRESH_S)
    assert advice.deadband in (2.0, 3.0)
    assert raises(replace(HIGH, deadband=advice.deadband), seen) <= MOST_RAISES


def test_short_peaks_ask_for_an_on_delay_that_outlasts_them() -> None:
    seen = readings(([140.0] * 3 + [60.0] * 27) * 6)
    advice = advise(HIGH, seen, fresh_s=FRESH_S)
    assert advice == ChatterAdvice(None, 60.0, None, 40.0, 30.0), "back by 40 kPa is no noise, half a minute is short"
    assert raises(replace(HIGH, on_delay_s=60.0), seen) == 0


def test_what_really_comes_and_goes_gets_neither() -> None:
    seen = readings(([140.0] * 60 + [60.0] * 60) * 6)
    advice = advise(replace(HIGH, priority="high"), seen, fresh_s=FRESH_S)
    assert (advice.deadband, advice.on_delay_s) == (None, None)
    words = advice_text(HIGH, advice, "K1")
    assert "Neither a larger deadband nor a longer on_delay would be right here: the value came back by 40 kPa" in words
    assert "stayed above the limit for up to 10 min" in words


def test_a_low_limit_is_the_mirror_image_and_speaks_in_its_own_unit() -> None:
    limit = a_limit(
        setpoint=difference_in_unit("pressure", 1.0, "kPa") * 34.47, unit_text="psi", deadband=0.1, on_delay_s=0.0
    )
    seen = readings([34.0, 34.9, 34.2, 35.2, 34.1] * 20)
    advice = advise(limit, seen, fresh_s=FRESH_S)
    words = advice_text(limit, advice, "K1")
    assert 'deadband = "0.15 psi"  # it came back by up to 0.106 psi' in words
    assert 'on_delay = "30 s"' in words
    lines = [line for line in words.splitlines() if line.startswith("  ")]
    assert tomllib.loads("\n".join(lines)) == {"deadband": "0.15 psi", "on_delay": "30 s"}


def test_a_default_limit_has_to_be_written_first() -> None:
    seen = readings([99.0, 101.0] * 20)
    words = advice_text(replace(HIGH, origin="default"), advise(HIGH, seen, fresh_s=FRESH_S), "K1")
    assert "write it as a [[limit]] of your own first" in words


def test_a_probe_that_is_silent_again_and_again() -> None:
    gaps_s = [60, 60, 200, 60, 230, 60, 180]
    seen = [WatchReading("k1-pressure", EPOCH_MS + 1000 * sum(gaps_s[:place]), 50.0) for place in range(8)]
    advice = advise(a_silence(), seen, fresh_s=FRESH_S)
    assert advice.no_data_s == 300.0
    assert 'no_data = "5 min"' in advice_text(a_silence(), advice, "K1")


@pytest.mark.parametrize("limit", [a_silence(probe=""), a_silence(role="bad measurement"), HIGH])
def test_without_readings_nothing_is_made_up(limit: EffectiveLimit) -> None:
    assert advise(limit, [], fresh_s=FRESH_S) == ChatterAdvice()
    assert advice_text(limit, ChatterAdvice(), "K1")


def test_every_quantity_has_its_bound() -> None:
    assert set(_MOST_DEADBAND) == set(QUANTITIES)


_LIMITS = [a_limit(kind=kind, priority=urgency) for kind in ("low", "high") for urgency in ("low", "medium", "high")]
_VALUES = st.lists(st.floats(90.0, 110.0), min_size=2, max_size=180)


@given(
    values=_VALUES,
    every_s=st.sampled_from([1.0, 10.0, 30.0, 90.0]),
    bounds=st.sampled_from(_LIMITS),
    deadband=st.floats(0.0, 3.0),
    delays=st.tuples(st.sampled_from([0.0, 5.0, 60.0]), st.sampled_from([0.0, 15.0])),
)
def test_with_what_is_advised_the_same_readings_do_not_chatter(
    values: list[float], every_s: float, bounds: EffectiveLimit, deadband: float, delays: tuple[float, float]
) -> None:
    limit = replace(bounds, setpoint=100.0, deadband=deadband, on_delay_s=delays[0], off_delay_s=delays[1])
    seen = readings(values, every_s)
    advice = advise(limit, seen, fresh_s=FRESH_S)
    if advice.deadband is not None:
        assert limit.deadband < advice.deadband <= _MOST_DEADBAND["pressure"]
        assert raises(replace(limit, deadband=advice.deadband), seen) <= MOST_RAISES
        assert float(f"{advice.deadband:.2g}") == advice.deadband, "a number that a person would write"
    if advice.on_delay_s is not None:
        assert limit.on_delay_s < advice.on_delay_s <= _MOST_DELAY_S[limit.priority]
        assert raises(replace(limit, on_delay_s=advice.on_delay_s), seen) == 0
    if advice.depth is not None and advice.excursion_s is not None:
        assert 0 <= advice.depth <= 20
        assert not math.isnan(advice.excursion_s)
    assert advice_text(limit, advice, "K1")
