"""A limit on silence."""

from __future__ import annotations

import math

from watch_limits import BAD, CLOCK, EPOCH_MS, IMPORTED, UNCERTAIN, Rig, a_limit, a_silence

KEY = "K1/pressure/no-data"


def test_a_probe_that_never_spoke_has_the_whole_time_from_start_up() -> None:
    rig = Rig(a_silence())
    rig.at(120)
    assert rig.state(KEY) == "normal", "equality does not begin it"
    (raised,) = rig.at(120.1).transitions
    assert (raised.occasion, raised.since_ms) == ("raised", EPOCH_MS)


def test_any_reading_is_data_even_a_bad_one() -> None:
    rig = Rig(a_silence())
    rig.at(100, 3, quality=BAD)
    rig.at(219)
    assert rig.state(KEY) == "normal"
    rig.at(221)
    assert rig.state(KEY) == "unacknowledged"


def test_only_a_good_reading_ends_a_bad_measurement() -> None:
    key = "K1/pressure/bad-measurement"
    rig = Rig(a_silence(setpoint=1000.0), a_silence(key=key, role="bad measurement"))
    rig.at(0, 20)
    for second in range(10, 130, 10):
        rig.at(second, 20, quality=BAD if second % 20 else UNCERTAIN)
    rig.at(130, math.nan)
    assert (rig.state(key), rig.state(KEY)) == ("unacknowledged", "normal")
    rig.at(140, 20, quality=IMPORTED)
    assert rig.state(key) == "unacknowledged"
    rig.at(150, 20, quality=CLOCK)
    assert rig.state(key) == "returned"


def test_a_bad_measurement_does_not_lengthen_the_time_for_which_a_reading_is_fresh() -> None:
    rig = Rig(a_limit(on_delay_s=200.0), a_silence(), a_silence(key="bad", role="bad measurement", setpoint=1000.0))
    rig.at(0, 3)
    rig.at(300)
    assert rig.state() == "normal", "the reading was not fresh any more when the delay ran out"


def test_an_imported_reading_is_no_data() -> None:
    rig = Rig(a_silence())
    rig.at(100, 20)
    rig.at(200, 20, quality=IMPORTED)
    rig.at(221)
    assert rig.state(KEY) == "unacknowledged"
    rig.at(230, 20, quality=IMPORTED)
    assert rig.state(KEY) == "unacknowledged"


def test_silence_counts_from_arrival_whatever_the_readings_own_time() -> None:
    rig = Rig(a_silence())
    rig.at(100, 20)
    # The clock behind the own times is set back by an hour, and later a day ahead and back again.
    for second, skew_ms in ((200, -3_600_000), (300, 86_400_000), (400, -3_600_000), (500, 0)):
        rig.skew_ms = skew_ms
        rig.at(second, 20)
    rig.at(619)
    assert rig.state(KEY) == "normal"
    rig.at(621)
    assert rig.state(KEY) == "unacknowledged"
    # A backlog shows that the probe is alive; the silence did not end before it began.
    rig.second = 700
    (ended,) = rig.turn([rig.reading(20, 50)]).transitions
    assert ended.condition is not None
    assert ended.condition.since_ms == EPOCH_MS + 500_000


def test_the_first_reading_ends_it_and_its_since_is_the_last_reading_before() -> None:
    rig = Rig(a_silence())
    rig.at(50, 20)
    (raised,) = rig.at(171).transitions
    assert raised.since_ms == EPOCH_MS + 50_000
    assert raised.value == 121
    (ended,) = rig.at(300, 20).transitions
    assert ended.occasion == "returned"
    assert ended.condition is not None
    assert ended.condition.since_ms == EPOCH_MS + 300_000


def test_a_probe_whose_clock_is_wrong_is_heard_all_the_same() -> None:
    rig = Rig(a_silence())
    rig.skew_ms = -86_400_000
    rig.at(10, 20)
    rig.at(120, 20)
    rig.at(239)
    assert rig.state(KEY) == "normal"
    rig.at(241)
    assert rig.state(KEY) == "unacknowledged"


def test_a_silent_probe_leaves_its_level_alarm_as_it_stood() -> None:
    rig = Rig(a_silence(), a_limit(on_delay_s=0.0))
    rig.at(0, 3)
    rig.at(4000)
    assert (rig.state(), rig.state(KEY)) == ("unacknowledged", "unacknowledged")
