"""A limit on a rate of change: what raises and ends it, and that its memory says what all readings would say."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from watch_limits import BAD, IMPORTED, Rig, a_limit, a_silence

from alerts.watch import WatchState
from alerts.watch.change_window import PIECES, ChangeWindow
from alerts.watch.rate import FALLING, RISING, remembered
from alerts.watch.turn_inputs import WatchReading
from alerts.watch.watch_state import LimitRecord, kept

KEY = "K1/temperature/rate"
HOUR = 3600
RATE = a_limit(
    key=KEY,
    kind="rate",
    quantity="temperature",
    probe="t",
    setpoint=5.0,
    deadband=0.5,
    on_delay_s=0.0,
    off_delay_s=0.0,
    within_s=3600.0,
    unit_text="°C",
)
SILENCE = a_silence(key="K1/temperature/no-data", quantity="temperature", probe="t", setpoint=300.0)


def _run(rig: Rig, begin: int, end: int, begin_value: float, end_value: float, every: int = 60) -> None:
    """Readings on a straight line, begin included and end not."""
    for second in range(begin, end, every):
        share = (second - begin) / (end - begin)
        rig.at(second, begin_value + share * (end_value - begin_value), probe="t")


def _is_active(rig: Rig) -> bool:
    return rig.watch_state.records[KEY].track.active


@pytest.mark.parametrize(("end", "finding"), [(18.0, RISING), (6.0, FALLING)])
def test_a_change_beyond_the_setpoint_raises_it_in_both_directions(end: float, finding: str) -> None:
    rig = Rig(RATE, SILENCE)
    _run(rig, 0, HOUR, 12.0, end)
    condition = rig.watch_state.records[KEY].condition
    assert condition.active
    assert condition.finding == finding
    assert condition.value is not None
    assert 5.0 < condition.value < 6.0


def test_the_same_change_over_a_longer_time_does_not() -> None:
    rig = Rig(RATE, SILENCE)
    _run(rig, 0, 2 * HOUR, 12.0, 20.0)
    assert not _is_active(rig)


def test_it_ends_when_the_change_has_faded() -> None:
    rig = Rig(RATE, SILENCE)
    _run(rig, 0, 1800, 12.0, 18.0)
    assert _is_active(rig)
    _run(rig, 1800, 1800 + 1200, 18.0, 18.0)
    assert _is_active(rig)
    _run(rig, 3000, 1800 + HOUR + 60, 18.0, 18.0)
    assert not _is_active(rig)


def test_single_noisy_readings_are_no_change() -> None:
    rig = Rig(RATE, SILENCE)
    for second in range(0, 2 * HOUR, 60):
        rig.at(second, 30.0 if second % 600 == 300 else 12.0, probe="t")
        assert not _is_active(rig)


def test_readings_that_are_not_good_say_nothing() -> None:
    rig = Rig(RATE, SILENCE)
    for second in range(0, HOUR, 60):
        rig.at(second, 12.0, probe="t")
        rig.at(second + 30, 40.0, probe="t", quality=BAD)
        rig.at(second + 31, 40.0, probe="t", quality=IMPORTED)
        assert not _is_active(rig)


def test_a_gap_ends_nothing_before_the_whole_time_was_seen_again() -> None:
    rig = Rig(RATE, SILENCE)
    _run(rig, 0, HOUR, 12.0, 18.0)
    assert _is_active(rig)
    back = 4 * HOUR
    _run(rig, back, back + HOUR, 18.0, 18.0)
    assert _is_active(rig)
    _run(rig, back + HOUR, back + HOUR + 120, 18.0, 18.0)
    assert not _is_active(rig)


def test_a_change_within_the_time_counts_over_a_gap() -> None:
    rig = Rig(RATE, SILENCE)
    _run(rig, 0, 600, 12.0, 12.0)
    _run(rig, 2400, 2700, 18.0, 18.0)
    assert _is_active(rig)


def test_late_readings_are_passed_over() -> None:
    rig = Rig(RATE, SILENCE)
    _run(rig, 0, HOUR, 12.0, 12.0)
    for second in range(1000, 1300, 60):
        rig.turn([rig.reading(30.0, second, probe="t")])
    assert not _is_active(rig)


def test_what_the_journal_quiets_is_not_remembered() -> None:
    """An empty keg that is washed with hot water does not count as a change of the wine that comes into it."""
    rig = Rig(RATE, SILENCE)
    rig.quiet = {KEY: "the vessel is empty"}
    _run(rig, 0, HOUR, 50.0, 20.0)
    rig.quiet = {}
    _run(rig, HOUR, 2 * HOUR, 12.0, 12.0)
    assert not _is_active(rig)
    assert rig.state(KEY) == "normal"


@pytest.mark.parametrize("acknowledged", [True, False])
def test_a_change_of_the_wine_that_has_left_is_not_raised_for_the_next_one(*, acknowledged: bool) -> None:
    rig = Rig(RATE, SILENCE)
    _run(rig, 0, HOUR, 12.0, 20.0)
    if acknowledged:
        rig.acknowledge(KEY)
    rig.quiet = {KEY: "the vessel is empty"}
    _run(rig, HOUR, HOUR + 600, 20.0, 20.0)
    assert not _is_active(rig)
    rig.quiet = {}
    steps = rig.at(HOUR + 600, 12.0, probe="t").transitions
    assert [(step.key, step.occasion) for step in steps] == [(KEY, "returned")]
    _run(rig, HOUR + 660, 2 * HOUR, 12.0, 12.0)
    assert rig.state(KEY) == "normal"


def test_new_readings_alone_write_no_record() -> None:
    rig = Rig(RATE, SILENCE)
    _run(rig, 0, HOUR, 12.0, 13.0)
    before = rig.watch_state.records[KEY]
    _run(rig, HOUR, HOUR + 600, 13.0, 13.1)
    after = rig.watch_state.records[KEY]
    assert before.track != after.track
    assert kept(before) == kept(after)
    assert "window" not in after.to_json()


def test_after_a_restart_what_was_read_before_counts() -> None:
    rig = Rig(RATE, SILENCE)
    readings = [rig.reading(12.0 + second / 900, second, probe="t") for second in range(0, HOUR, 60)]
    for reading in readings:
        rig.second = (reading.at_ms - readings[0].at_ms) / 1000
        rig.turn([reading])
    assert not _is_active(rig)
    record = LimitRecord.from_json(rig.watch_state.records[KEY].to_json(), rig.now().mono)
    window = remembered(RATE, readings, fresh_s=300.0)
    state = WatchState({KEY: record}).with_windows({KEY: window, "of no limit": window})
    again = Rig(RATE, SILENCE, state=state)
    _run(again, HOUR, HOUR + 600, 16.0, 18.5)
    assert _is_active(again)


VALUES = st.lists(
    st.tuples(st.integers(1, 400), st.integers(-20, 20).map(lambda half: half / 2)), min_size=3, max_size=120
)


@given(VALUES)
def test_the_memory_is_bounded_and_its_change_lies_between_those_of_a_shorter_and_the_whole_time(
    steps: list[tuple[int, float]],
) -> None:
    """Beside an independent reference that keeps every reading."""
    within_ms, piece_ms = 600_000.0, 600_000.0 / PIECES
    window, at_ms = ChangeWindow(), 1_000_000
    values: list[float] = []
    middles: list[tuple[int, float]] = []
    for seconds, value in steps:
        at_ms += seconds * 1000
        window, change = window.after(at_ms, value, within_ms=within_ms, fresh_ms=300_000)
        values.append(value)
        if len(values) < 3:
            assert change is None
            continue
        middles.append((at_ms, sorted(values[-3:])[1]))
        assert change is not None
        most, least = (
            max(abs(middles[-1][1] - middle) for then, middle in middles if at_ms - then < span)
            for span in (within_ms, within_ms - piece_ms)
        )
        assert least <= abs(change.by) <= most
        assert len(window.pieces) <= PIECES
        assert len(window.last) == 2


def test_an_edited_time_begins_with_an_empty_memory() -> None:
    rig = Rig(RATE, SILENCE)
    _run(rig, 0, HOUR, 12.0, 16.0)
    rig.edit(a_limit(**{**_settings(), "within_s": 7200.0}), SILENCE)
    track = rig.watch_state.records[KEY].track
    assert getattr(track, "window", "none") is None
    rig.turn([WatchReading("t", rig.now().utc_ms, 16.0)])


def _settings() -> dict[str, object]:
    return {name: getattr(RATE, name) for name in RATE.__slots__}
