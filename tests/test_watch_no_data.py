"""A limit on silence."""

from __future__ import annotations

from watch_limits import BAD, EPOCH_MS, IMPORTED, Rig, a_limit, a_silence

KEY = "K1/pressure/no-data"


def test_a_probe_that_never_spoke_has_the_whole_time_from_start_up() -> None:
    rig = Rig(a_silence())
    rig.at(120)
    assert rig.state(KEY) == "normal", "equality does not begin it"
    (raised,) = rig.at(120.1).transitions
    assert (raised.tells, raised.since_ms) == ("raised", EPOCH_MS)


def test_any_reading_is_data_even_a_bad_one() -> None:
    rig = Rig(a_silence())
    rig.at(100, 3, quality=BAD)
    rig.at(219)
    assert rig.state(KEY) == "normal"
    rig.at(221)
    assert rig.state(KEY) == "unacknowledged"


def test_imported_and_late_readings_are_no_data() -> None:
    rig = Rig(a_silence())
    rig.at(100, 20)
    rig.at(200, 20, quality=IMPORTED)
    rig.second = 210
    rig.turn([rig.reading(20, 99)])
    rig.at(221)
    assert rig.state(KEY) == "unacknowledged"
    rig.second = 230
    rig.turn([rig.reading(20, 98), rig.reading(20, 230, IMPORTED)])
    assert rig.state(KEY) == "unacknowledged"


def test_the_first_reading_ends_it_and_its_since_is_the_last_reading_before() -> None:
    rig = Rig(a_silence())
    rig.at(50, 20)
    (raised,) = rig.at(171).transitions
    assert raised.since_ms == EPOCH_MS + 50_000
    assert raised.value == 121
    (ended,) = rig.at(300, 20).transitions
    assert ended.tells == "returned"
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
