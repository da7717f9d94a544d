"""A cellar without a barometer: what the other gauges show finds a slow leak that weather would hide."""

from __future__ import annotations

import pytest
from cellar_trials import Cellar, run_cellar

SEED = 9000


@pytest.mark.parametrize(("kegs", "is_found"), [(1, False), (3, True)])
def test_other_gauges_find_a_leak_that_weather_hides(kegs: int, is_found: bool) -> None:
    first, *beside = run_cellar(Cellar("10 d", 0.5, 0, SEED, kegs, days=4.5, every_s=3600.0))
    assert (first.found_s is not None) is is_found
    assert all(keg.false_at_s is None for keg in (first, *beside))
