"""Readings that are judged as a whole are judged as one by one."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st
from watch_limits import BAD, CLOCK, IMPORTED, IN_DOUBT, a_limit, a_silence

from alerts.watch import LimitRecord, Now, WatchReading, level, no_data
from alerts.watch.good_run import good_run
from alerts.watch.level import LevelTrack
from alerts.watch.no_data import SilenceTrack
from alerts.watch.probe_clock import AHEAD_MS, ProbeClock, judged_times, usual
from alerts.watch.turn_inputs import may_be_judged

VALUES = [-1e308, 1e308, 0.0, 4.0, 5.0, 5.5, 6.0, 6.5, 20.0, float("nan"), float("inf")]
times = st.integers(-5, 40)
maybe_time = st.none() | times
readings = st.lists(
    st.builds(
        WatchReading,
        st.just("k1-pressure"),
        times,
        st.sampled_from(VALUES),
        st.sampled_from([0] * 12 + [BAD, CLOCK, IMPORTED, IN_DOUBT]),
        st.sampled_from(["", "cooling"]),
    ),
    min_size=1,
    max_size=5,
) | st.builds(
    lambda start, values: [WatchReading("k1-pressure", start + at, value) for at, value in enumerate(values)],
    times,
    st.lists(st.sampled_from(VALUES[2:9]), min_size=1, max_size=5),
)
tracks = st.builds(
    LevelTrack,
    active=st.booleans(),
    since_ms=maybe_time,
    pending_ms=maybe_time,
    pending_mono=st.just(7.0),
    newest_ms=maybe_time,
    newest_mono=st.just(9.0),
    value=st.sampled_from([None, 5.0]),
    extreme=st.sampled_from([None, 3.0, 8.0]),
)


@given(readings, tracks, st.sampled_from(["low", "high"]), st.sampled_from([0.0, 0.001, 10.0]))
def test_a_limit_that_no_reading_moves(
    given_readings: list[WatchReading], track: LevelTrack, kind: str, s: float
) -> None:
    run = good_run(given_readings)
    limit = a_limit(kind=kind, on_delay_s=s, off_delay_s=s)
    quick = None if run is None else level.unmoved(track, limit, run, mono=11.0)
    if quick is not None:
        assert level.judge(track, limit, given_readings, fresh_s=0.01, mono=11.0) == (quick, [])


@given(st.lists(st.sampled_from(VALUES[3:9]), min_size=1, max_size=5), st.sampled_from(["low", "high"]))
def test_the_usual_readings_are_judged_as_a_whole(values: list[float], kind: str) -> None:
    run = good_run([WatchReading("k1-pressure", at, value) for at, value in enumerate(values)])
    assert run is not None
    for active in (False, True):
        moved = level.unmoved(LevelTrack(active), a_limit(kind=kind), run, mono=1.0) is None
        sign = 1 if kind == "high" else -1
        edge = sign * 5.0 - (1.0 if active else 0.0)
        assert moved is any((sign * value < edge) if active else (sign * value > edge) for value in values)


@given(readings, st.booleans(), maybe_time)
def test_a_silence_hears_a_run_as_its_readings(
    given_readings: list[WatchReading], active: bool, since: int | None
) -> None:
    run = good_run(given_readings)
    if run is None:
        return
    track = SilenceTrack(active, since, 3.0, since)
    for role in ("", "bad measurement"):
        limit = a_silence(role=role)
        expected = no_data.judge(track, limit, given_readings, mono=11.0)
        assert no_data.hear(track, limit, (run.first_ms, run.last_ms), mono=11.0) == expected


@given(readings, st.builds(ProbeClock, maybe_time, st.just(2.0), maybe_time, st.just(2.0)), st.integers(-10, 50))
def test_a_clock_that_is_right(given_readings: list[WatchReading], clock: ProbeClock, utc_ms: int) -> None:
    run = good_run(given_readings)
    now = Now(utc_ms - AHEAD_MS, 11.0)
    after = None if run is None else usual(clock, run, now)
    if after is not None:
        assert judged_times(clock, given_readings, fresh_s=1.0, now=now) == (after, given_readings)


@given(readings)
def test_only_what_may_be_judged_and_is_in_order_is_a_run(given_readings: list[WatchReading]) -> None:
    if good_run(given_readings) is not None:
        assert all(may_be_judged(each.value, each.quality) for each in given_readings)
        moments = [each.at_ms for each in given_readings]
        assert moments == sorted(moments)


def test_a_record_with_another_track_keeps_all_else() -> None:
    record = LimitRecord.fresh(a_limit(), 3.0)
    record = replace(record, alarm=replace(record.alarm, note="seen"))
    track = LevelTrack(active=True)
    assert record.tracked(track) == replace(record, track=track)
