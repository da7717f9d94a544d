"""From fits to a finding: what is certain, what is calm, and what cannot be told yet. Pure."""

from __future__ import annotations

__all__ = [
    "Finding",
    "calm_finding",
    "from_wine",
    "goes_on",
    "is_gain",
    "is_leak",
    "is_young_leak",
    "leak_finding",
    "may_be_young_leak",
]

from typing import Final, NamedTuple

from alerts.gas.air_floor import GasNow
from alerts.gas.blanket_facts import BlanketFacts
from alerts.gas.fitted_blanket import FittedBlanket
from alerts.gas.leak_evidence import LeakEvidence

# A leak is certain if it explains the readings by so much better than anything else (half of it: the logarithm of how
# many times), and so much gas is gone. Once certain, less will do.
_CERTAIN: Final = 30.0
_STILL_CERTAIN: Final = 9.0
# What falls slowly in the first two days, or from the first reading on, may be dissolving into a smaller headspace than
# was entered, until days have shown its size: then so many times as much evidence.
_LEARNING_D: Final = 2.0
_FROM_FIRST_D: Final = 0.04
_UNKNOWN_SIZE_D: Final = 4.0
_UNLEARNED_CERTAIN: Final = 2.0
_LEAST_LOST_KPA: Final = 1.2
# In a litre of headspace or more; in less, what is not known of wine and instruments moves so much more.
_LEAST_KPA_DAY: Final = 0.25
# Slower leaks, which would take longer than this to the air floor, worry nobody, and are hardly told from settling.
_SLOWEST_DAYS: Final = 70.0
# Over less than a litre, what is not known of dissolving moves the gauge more than a leak of so many days does.
_LITTLE_W: Final = 1.0
_SLOWEST_OF_LITTLE_DAYS: Final = 20.0
# A loss smaller than this share of what the wine has taken up may be a flaw in how that is worked out.
_SETTLING_SHARE: Final = 0.15
# Where the wine sets the pressure, no leak is believed if even the best fit leaves more than so many times what is
# likely (chi squared over its expectation).
_MOST_SCALE: Final = 1.5
# Nor one that the wine feeds with so much of the loss, if the pressure falls by less a day: dissolving that is not
# quite as in the formula can do that.
_FED_SHARE: Final = 0.4
_FED_KPA_DAY: Final = 1.2
# Wine takes up more than twice as much argon as nitrogen, and gives off nitrogen meanwhile: the flaw is that much
# larger, in losses that are not faster than any of it.
_ARGON: Final = 2.0
# That flaw shows over days: over a short part of them no more than so many times that part of it.
_UPTAKE_SPREAD: Final = 4.0
# So may a loss smaller than a share of what temperature has done meanwhile: half after a day, less with each day.
_THERMAL_DAYS: Final = 0.5
_LEAST_THERMAL: Final = 0.1
_MOST_THERMAL: Final = 0.6
_FALLEN_KPA: Final = 0.6
_OPEN_KPA: Final = 0.5
_RISEN_KPA: Final = 1.5
# A leak is young for so long; so much evidence makes it worth looking again, if it loses so much a day (a deep low
# brings 2.4 kPa a day).
_YOUNG_DAYS: Final = 0.25
_WORTH_LOOKING: Final = 5.0
_YOUNG_KPA_DAY: Final = 12.0
# A leak that was certain is over when the pressure has been flat for so long.
_FLAT_DAYS: Final = 0.3
_FLAT_KPA: Final = 0.4
# Faster than this is a fast leak: 10 kPa an hour.
_FAST_KPA_DAY: Final = 240.0
# Before so long nothing can be told but a fast leak.
_LEAST_DAYS: Final = 0.5
_SETTLING_KPA_DAY: Final = 0.5
# Temperature alone has moved the gauge by so much in six hours.
_MOVED_KPA: Final = 0.8


# Carbon dioxide comes from the wine: it has raised the pressure by so much a day (this project's choice), without a
# barometer by so much, since the weather may have done the rest; once found, half of it will do.
_FROM_WINE_KPA: Final = 1.5
_FROM_WINE_NO_AIR_KPA: Final = 5.0
_FROM_WINE_DAYS: Final = (1.0, 2.0, 3.0)
_OVER_AIRLOCK_KPA: Final = 1.0


class Finding(NamedTuple):
    """A word of ``ingest.judgement.FINDINGS``; whether a leak is certain; since when (UTC ms), None if not known."""

    word: str
    leak_certain: bool = False
    since_ms: int | None = None


def is_gain(fitted: FittedBlanket) -> bool:
    """Whether gas certainly comes in."""
    gain = fitted.gain
    # An airlock keeps the gauge where it is; what cold wine would take up must not be called a gain then.
    risen = fitted.risen(gain.onset_days) if _is_at_airlock(fitted) else -_fallen(fitted, gain)
    return gain.better > max(_CERTAIN, fitted.leak.better) and risen > _RISEN_KPA


def from_wine(fitted: FittedBlanket, facts: BlanketFacts, *, has_air: bool, was_found: bool) -> bool:
    """Whether carbon dioxide from the wine has raised the pressure at T0, day by day, and not the warmth alone.

    The fits explain such a rise as the reverse of settling, from a wine that held more than its blanket did. has_air:
    whether a barometer says what the weather does; was_found: whether it was found before.
    """
    if facts.gas.name != "carbon dioxide" or fitted.risen(fitted.days - 1.0) <= 0.0:
        return False
    if _is_at_airlock(fitted):
        return False
    least = _FROM_WINE_KPA if has_air or not facts.weather_moves else _FROM_WINE_NO_AIR_KPA
    least *= 0.5 if was_found else 1.0
    for days in _FROM_WINE_DAYS:
        since = fitted.days - days
        if since >= 0.0:
            given_off, u_given_off = fitted.given_off(since, facts)
            if given_off - u_given_off > days * least:
                return True
    return False


def _is_at_airlock(fitted: FittedBlanket) -> bool:
    """Whether the gauge is as low as over an airlock, which lets gas out and in at 0.2 to 0.3 kPa: the amount then
    follows the temperature.
    """
    columns = fitted.fit.columns
    return bool(columns.absolute[-1] - columns.air[-1] < _OVER_AIRLOCK_KPA)


def is_leak(fitted: FittedBlanket, facts: BlanketFacts, pressure_kpa: float, *, was_certain: bool) -> bool:
    """Whether nothing but a leak explains the readings. pressure_kpa: gauge now."""
    leak = fitted.leak
    if not was_certain and pressure_kpa < _OPEN_KPA:
        # Nothing leaks out of a vessel that sucks.
        return False
    part = min(1.0, _UPTAKE_SPREAD * (fitted.days - leak.onset_days) / fitted.days)
    harder = _ARGON if facts.gas.name == "argon" and leak.kappa < _YOUNG_KPA_DAY else 1.0
    least = max(_LEAST_LOST_KPA, harder * _SETTLING_SHARE * part * abs(leak.uptake_kpa))
    if not was_certain and fitted.fit.answers is not None and not _is_plain(fitted):
        return False
    days = _SLOWEST_OF_LITTLE_DAYS if leak.w > _LITTLE_W and not was_certain else _SLOWEST_DAYS
    slowest = max(_LEAST_KPA_DAY * max(1.0, leak.w), (pressure_kpa - facts.floor_kpa) / days)
    certain = harder * _CERTAIN
    is_from_first = leak.onset_days < _FROM_FIRST_D and fitted.days < _UNKNOWN_SIZE_D
    if is_from_first or (leak.kappa < _YOUNG_KPA_DAY and fitted.days < _LEARNING_D):
        certain *= _UNLEARNED_CERTAIN
    if leak.better < (_STILL_CERTAIN if was_certain else certain) or leak.lost < least or leak.kappa < slowest:
        return False
    share = min(max(_THERMAL_DAYS / fitted.days, _LEAST_THERMAL), _MOST_THERMAL)
    if not was_certain and leak.lost < share * fitted.thermal_swing(leak.onset_days, facts):
        return False
    return _fallen(fitted, leak) > _FALLEN_KPA


def _is_plain(fitted: FittedBlanket) -> bool:
    """Whether a leak under gas that the wine holds much of is more than a flaw in how the wine answers."""
    leak = fitted.leak
    is_fed = leak.fallen < (1.0 - _FED_SHARE) * leak.lost
    is_quick = leak.fallen > _FALLEN_KPA + _FED_KPA_DAY * (fitted.days - leak.onset_days)
    return fitted.fit.scale <= _MOST_SCALE and (is_quick or not is_fed)


def _fallen(fitted: FittedBlanket, leak: LeakEvidence) -> float:
    """By how much the pressure has fallen since a leak began [kPa at T0]. Where the wine sets the pressure temperature
    moves it by more than the leak: then only what is the leak's.
    """
    return leak.fallen if fitted.fit.answers is not None else -fitted.risen(leak.onset_days)


def may_be_young_leak(fitted: FittedBlanket, facts: BlanketFacts, pressure_kpa: float) -> bool:
    """Whether a leak may have begun in the last hours that would reach the air floor within a day, faster than any
    weather: then it is worth looking again, with the noise that was seen. pressure_kpa: gauge now.
    """
    leak = fitted.leak
    is_young = fitted.days - leak.onset_days < _YOUNG_DAYS
    return (
        is_young and leak.better > _WORTH_LOOKING and leak.kappa > max(pressure_kpa - facts.floor_kpa, _YOUNG_KPA_DAY)
    )


def is_young_leak(sharp: FittedBlanket, facts: BlanketFacts, pressure_kpa: float) -> bool:
    """Whether nothing but a leak of the last hours explains the readings, by the noise that was seen in two hours
    before. sharp: fits with that noise, good for hours only, since over days more is left out of the model.
    """
    return may_be_young_leak(sharp, facts, pressure_kpa) and is_leak(sharp, facts, pressure_kpa, was_certain=False)


def goes_on(fitted: FittedBlanket) -> bool:
    """Whether a leak that was certain may still be there: the pressure has fallen in the last hours."""
    return fitted.risen(fitted.days - _FLAT_DAYS) < -_FLAT_KPA


def leak_finding(fitted: FittedBlanket, since_ms: int) -> Finding:
    """Name a leak that is certain."""
    return Finding("fast leak" if fitted.leak.kappa > _FAST_KPA_DAY else "slow leak", True, since_ms)


def calm_finding(fitted: FittedBlanket, gas: GasNow, celsius: float, facts: BlanketFacts) -> Finding:
    """Name what there is without a leak that is certain. gas, celsius: now."""
    leak = fitted.leak
    if fitted.days < _LEAST_DAYS or (leak.better > _STILL_CERTAIN and leak.lost > 0.7 * _LEAST_LOST_KPA):
        return Finding("cannot tell yet")
    moved, taken = fitted.moved_by_temperature(gas, celsius, facts), fitted.learned.uptake_kpa_day
    if taken > _SETTLING_KPA_DAY and taken / 4.0 > abs(moved) - _MOVED_KPA:
        return Finding("settling", since_ms=fitted.when_ms(0.0))
    if abs(moved) > _MOVED_KPA:
        return Finding("cooling" if moved < 0.0 else "warming")
    return Finding("sound")
