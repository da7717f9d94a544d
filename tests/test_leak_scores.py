"""The scores of leak trials: what counts as a false alarm, as found in time, as a rate that is right."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from leak_scores import Judged, judged_lines, outcome
from leak_simple_ways import simple_alarms

from ingest.simulation.keg_trials.draw_kegs import KegKind, draw_kegs
from ingest.simulation.keg_trials.keg import KegAir, KegProbes, Leak, TrialKeg, Vent, WineDrawn
from ingest.simulation.keg_trials.readings import read
from ingest.simulation.keg_trials.world import KegTruths, keg_truths

HOUR_S = 3600.0
ONSET_S = 6 * HOUR_S


def leaky(**changes: object) -> KegTruths:
    keg = TrialKeg(seed=1, surface_m_per_s=0.0, leak=Leak(ONSET_S, "linear", floor_in_h=24.0))
    return keg_truths([replace(keg, **changes)], 1.5)  # type: ignore[arg-type]


def said(at_h: float, finding: str, *, certain: bool = False, **numbers: float) -> Judged:
    return Judged(at_h * HOUR_S, finding, certain, **numbers)


def test_the_delay_counts_from_the_onset() -> None:
    trace = [said(5.0, "sound"), said(7.0, "slow leak"), said(8.5, "slow leak", certain=True)]
    scored = outcome(0, leaky(), 0, trace)
    assert scored.false_at_s is None
    assert scored.named_s == 1.0 * HOUR_S
    assert scored.found_s == 2.5 * HOUR_S
    assert scored.findings == {"sound": 1.0}
    assert scored.findings_leaking == {"slow leak": 1.0}


def test_certain_before_the_onset_is_a_false_alarm() -> None:
    truths = leaky(happenings=(WineDrawn(4.5 * HOUR_S, 0.05),))
    scored = outcome(0, truths, 0, [said(5.0, "fast leak", certain=True), said(7.0, "sound")])
    assert scored.false_at_s == 5.0 * HOUR_S
    assert scored.after == "WineDrawn"
    assert scored.found_s is None


def test_a_leak_that_begins_in_a_gap_or_means_nothing_is_set_apart() -> None:
    gap = KegProbes(gaps=((ONSET_S - HOUR_S, ONSET_S + 2 * HOUR_S),))
    assert outcome(0, leaky(probes=gap), 0, []).in_gap
    assert outcome(0, leaky(probes=gap), 0, []).gap_s == 0.0
    later = KegProbes(gaps=((ONSET_S + HOUR_S, ONSET_S + 4 * HOUR_S),))
    assert outcome(0, leaky(probes=later), 0, []).gap_s == HOUR_S
    assert not outcome(0, leaky(), 0, []).in_gap
    assert outcome(0, leaky(), 0, []).gap_s is None
    low = outcome(0, leaky(start_kpa=12.0), 0, [said(8.0, "slow leak", certain=True)])
    assert low.void
    assert low.onset_s is None


def test_a_rate_is_compared_with_the_true_one() -> None:
    truths = leaky()
    step = round((ONSET_S + 12 * HOUR_S) / 60.0)
    true = float(truths.rate_ml_min[step - 59 : step + 1, 0].mean())
    trace = [
        said(17.9, "slow leak", certain=True, rate_ml_min=1.2 * true, u_rate_ml_min=0.15 * true, rate_kpa_day=60.0)
    ]
    (rate,) = outcome(0, truths, 0, trace).rates
    assert rate.error == pytest.approx(0.2, abs=1e-3)
    assert rate.covered
    assert rate.true_since > rate.true_now
    # Half an hour on either side, at a steady temperature: what the pressure falls by is what leaks.
    fall = 24.0 * float(truths.gauge_kpa[step - 60, 0] - truths.gauge_kpa[step, 0])
    assert rate.true_fall == pytest.approx(fall, rel=0.02)
    assert rate.fall_error == pytest.approx(60.0 / rate.true_fall - 1.0)
    assert outcome(0, truths, 0, [said(17.9, "slow leak", certain=True)]).rates_missing == 1


@pytest.mark.parametrize(("low", "high", "holds"), [(10.0, 40.0, True), (1.0, 3.0, False), (30.0, 40.0, False)])
def test_hours_to_the_floor_hold_the_truth_or_not(low: float, high: float, holds: bool) -> None:
    # It reaches the floor 24 h after the onset; two hours later that is 22.
    trace = [said(8.0, "slow leak", certain=True, hours_low=low, hours_high=high)]
    floor = outcome(0, leaky(), 0, trace).floor
    assert floor is not None
    assert floor.true == pytest.approx(22.0, abs=0.2)
    assert floor.holds is holds
    assert not floor.touched


def test_the_truth_of_the_hours_goes_on_after_the_last_reading() -> None:
    ahead = leaky(happenings=(Vent(20 * HOUR_S, 1.0),))
    short = ahead.until(0.5)
    trace = [said(8.0, "slow leak", certain=True, hours_low=20.0, hours_high=23.0)]
    assert outcome(0, short, 0, trace).floor is None
    floor = outcome(0, short, 0, trace, ahead=ahead).floor
    assert floor is not None
    assert floor.holds
    assert floor.touched
    assert floor.ratio == pytest.approx(1.15)


def test_a_cold_night_under_the_floor_is_counted_and_its_announcement_too() -> None:
    air = KegAir(mean_c=13.0, swing_k=9.0)
    keg = TrialKeg(seed=1, surface_m_per_s=0.0, start_kpa=6.0, air=air)
    truths = keg_truths([keg], 3.0)
    silent = outcome(0, truths, 0, [])
    assert silent.cold_dips == 2
    assert silent.cold_announced == 0
    every = [said(hour, "cooling") for hour in range(72)]
    minutes = [said(minute / 6.0, "cooling") for minute in range(432)]
    assert outcome(0, truths, 0, minutes).cold_announced == 2
    foreseen = [each._replace(finding="sound", hours_cold=5.0) for each in every]
    assert outcome(0, truths, 0, foreseen).cold_announced == 2


def test_lines_of_the_command_are_read() -> None:
    line = {
        "at": "2026-09-01T02:00:00Z",
        "finding": "slow leak",
        "leak_certain": True,
        "rate_ml_min": 0.5,
        "u_rate_ml_min": 0.1,
        "hours_to_floor_low": 3,
        "hours_to_floor_high": None,
        "headspace_l": 2.1,
        "u_headspace_l": 0.2,
        "compensated_kpa": 40.5,
        "warnings": [],
    }
    (read_back,) = judged_lines([json.dumps(line), "\n"])
    assert read_back == Judged(7200.0, "slow leak", True, 0.5, 0.1, 3.0, None, 2.1, 0.2, 40.5)


def test_the_simpler_ways_see_a_leak_and_not_a_steady_keg() -> None:
    kind = KegKind(2.0, 3.0, calm=True, leak=("floor in h", 12.0, 12.0), stirring=("slow",), start_kpa=(40.0, 50.0))
    leaking = draw_kegs(kind, 1, seed=1)[0]
    readings = read(keg_truths([leaking, replace(leaking, leak=None)], 3.0))
    onset_s = leaking.leak.onset_s if leaking.leak is not None else 0.0
    for alarms in simple_alarms(readings, 0).values():
        assert 0.0 < alarms[0] - onset_s < 3 * HOUR_S
    assert simple_alarms(readings, 1) == {"gauge alone": [], "ideal gas": []}
