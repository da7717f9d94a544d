"""A few trial kegs with every disturbance through the leak watch; ``tests/benchmarks/leaks.py`` runs hundreds."""

from __future__ import annotations

import pytest
from leak_trials import HEADSPACES_L, ROWS, Batch, WatchedKeg, batch_readings, run_batch

SEED = 81


@pytest.mark.parametrize("headspace_l", HEADSPACES_L)
def test_tight_kegs_leak_on_none_of_a_few_nights(headspace_l: float) -> None:
    (scored,) = run_batch(Batch("tight", headspace_l, 0, 1, SEED, days=3.0))
    assert scored.false_at_s is None
    # It says something, too: it does not leave every night undecided.
    assert sum(scored.findings.get(finding, 0.0) for finding in ("sound", "cooling", "warming", "settling")) > 0.5


@pytest.mark.parametrize("headspace_l", HEADSPACES_L)
@pytest.mark.parametrize("row", ["60 kPa/h", "12 h"])
def test_a_leak_is_certain_in_time_and_not_before(row: str, headspace_l: float) -> None:
    (scored,) = run_batch(Batch(row, headspace_l, 1, 1, SEED))
    assert not scored.void
    assert not scored.in_gap
    assert scored.false_at_s is None
    assert scored.found_s is not None
    assert scored.found_s <= 3600.0 * ROWS[row].within_h
    assert scored.simple.keys() == {"gauge alone", "ideal gas"}


@pytest.mark.parametrize("number", [14, 15, 38])
def test_a_loss_of_half_the_blanket_in_half_a_day_shows_within_two_hours_over_half_a_litre(number: int) -> None:
    # No barometer, the temperature at the wall: two into wine that takes up gas, one whose wine had settled.
    (scored,) = run_batch(Batch("12 h", 0.5, number, 1, 9000))
    assert scored.false_at_s is None
    assert scored.found_s is not None
    assert scored.found_s <= 2.0 * 3600.0


def test_argon_that_goes_into_wine_from_air_is_no_leak() -> None:
    # Half a litre, entered as 0.65 L; nitrogen comes out of the wine meanwhile.
    (scored,) = run_batch(Batch("60 kPa/h", 0.5, 37, 1, 20261, barometer=True))
    assert scored.false_at_s is None
    assert scored.found_s is not None
    assert scored.found_s <= 600.0


@pytest.mark.parametrize(("headspace_l", "number", "seed"), [(2.0, 5, 9000), (0.5, 3, 1000), (2.0, 7, 1000)])
def test_carbon_dioxide_that_goes_in_and_out_of_wine_is_no_leak_and_no_gain(
    headspace_l: float, number: int, seed: int
) -> None:
    # Wine that is stirred fast, slowly and between, and nights 6 K colder: some 10 kPa go into the wine and out of it.
    (scored,) = run_batch(Batch("carbon dioxide, tight", headspace_l, number, 1, seed, days=4.0))
    assert scored.false_at_s is None
    assert scored.rising_s is None


@pytest.mark.parametrize(("headspace_l", "number"), [(0.5, 2), (2.0, 5)])
def test_a_wine_that_works_again_under_carbon_dioxide_is_found(headspace_l: float, number: int) -> None:
    # Some 3 kPa a day of what the wine does not keep, with a barometer.
    (scored,) = run_batch(Batch("carbon dioxide, rising", headspace_l, number, 1, SEED, days=3.0))
    assert scored.false_at_s is None
    assert scored.rising_s is not None
    assert scored.rising_s < 2.5 * 86_400.0


def test_a_leak_that_the_wine_feeds_is_found_without_its_being_held_against_it() -> None:
    # Half a litre under carbon dioxide: the wine, stirred fast, makes up for nearly all that is lost.
    (scored,) = run_batch(Batch("carbon dioxide, 12 h", 0.5, 5, 1, 1000))
    assert scored.false_at_s is None
    assert scored.found_s is not None
    assert scored.found_s <= 3600.0 * ROWS["carbon dioxide, 12 h"].within_h


def test_a_leak_of_the_last_hours_says_what_it_bets_on() -> None:
    readings = batch_readings(Batch("12 h", 0.5, 14, 1, 9000))
    watched = WatchedKeg(readings, 0, journal=False)
    for step in range(len(readings.at_ms)):
        watched.take(step)
        if watched.trace and watched.trace[-1].leak_certain:
            break
    (bet,) = (text for text in watched.watch.judge(int(readings.at_ms[step])).warnings if "stirred" in text)
    assert bet.startswith("The wine is taken to dissolve gas as evenly as before")
