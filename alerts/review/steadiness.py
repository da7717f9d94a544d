"""The temperature of the last weeks: steady enough for lees to have settled?

Wine that warms and cools moves: warm wine rises along the wall and takes fine lees with it. Counted as steady is a week
in which the temperature swung by less than 2 °C in each day, and its daily mean stayed within 2 °C (common practice, no
source; the rule of thumb is meant for storage, and is used here because nothing better is published). What the wine was
stirred by lately counts too: fine lees take days to fall.
"""

from __future__ import annotations

__all__ = ["SteadyWeek", "steadiness_section", "steady_week"]

from dataclasses import dataclass
from typing import Final

import numpy as np

from alerts.review.section import ReviewSection, ReviewVerdict, worse_of
from alerts.review.vessel_facts import HourMeans, VesselFacts
from alerts.view.due_lines import day_text
from alerts.view.format import unit_name
from ingest.cellar import difference_in_unit, value_in_unit
from ingest.times import iso_utc_known

_HOUR_MS: Final = 3_600_000
_DAY_MS: Final = 24 * _HOUR_MS
_DAYS: Final = 7
# See above [K].
_SWING_K: Final = 2.0
_DRIFT_K: Final = 2.0
# A day counts if so many of its hours were read.
_LEAST_HOURS: Final = 18
# After the wine was stirred it rests for so long before fine lees lie (common practice, no source: some days to two
# weeks).
_STILL_DAYS: Final = 3
_WORDS: Final = {
    "racking": "racked",
    "topping": "topped up",
    "addition": "dosed",
    "first-filling": "filled",
}


@dataclass(frozen=True, slots=True)
class SteadyWeek:
    """The temperature of the last seven days, and of all hours that are known.

    days: of the seven, how many were read enough; largest_swing_k: in one of them, between means of hours; drift_k:
    between the warmest and the coldest daily mean; mean_c: of the seven; low_c, high_c: of all hours.
    """

    days: int
    largest_swing_k: float
    drift_k: float
    mean_c: float
    low_c: float
    high_c: float

    @property
    def steady(self) -> bool:
        """Whether lees may have settled, as far as the temperature goes."""
        return self.largest_swing_k < _SWING_K and self.drift_k < _DRIFT_K


def steady_week(hours: HourMeans, at_ms: int) -> SteadyWeek | None:
    """Work out how steady the seven days before at_ms [UTC ms] were; None where no day of them was read enough."""
    known = np.isfinite(hours.mean) & (hours.from_ms < at_ms)
    from_ms, mean = hours.from_ms[known], hours.mean[known]
    age_days = (at_ms - 1 - from_ms) // _DAY_MS
    days = [mean[age_days == day] for day in range(_DAYS)]
    days = [day for day in days if len(day) >= _LEAST_HOURS]
    if not days:
        return None
    means = [float(day.mean()) for day in days]
    return SteadyWeek(
        days=len(days),
        largest_swing_k=max(float(day.max() - day.min()) for day in days),
        drift_k=max(means) - min(means),
        mean_c=float(np.mean(means)),
        low_c=float(mean.min()),
        high_c=float(mean.max()),
    )


def steadiness_section(facts: VesselFacts) -> ReviewSection:
    """Judge whether lees may have settled, by the temperature and by what was done to the wine."""
    title = "Temperature and rest"
    hours = facts.temperature
    week = None if hours is None else steady_week(hours, facts.at_ms)
    verdict, reason = _temperature_words(facts, hours, week)
    lines = []
    if week is not None:
        span = f"{_celsius(facts, week.low_c)} to {_celsius(facts, week.high_c)} {_unit(facts)}"
        lines.append(f"in the last four weeks {span}; the last week {_celsius(facts, week.mean_c)} {_unit(facts)}")
    stirred = facts.disturbed
    if stirred is not None:
        days = max(0, facts.at_ms - stirred[1]) // _DAY_MS
        words = f"{_WORDS.get(stirred[0], stirred[0])} on {day_text(stirred[1], facts.zone, facts.at_ms)}"
        lines.append(f"last {words}: the wine has stood for {days} d since")
        if days < _STILL_DAYS:
            verdict = worse_of(verdict, ReviewVerdict.TAKE_CARE)
            reason += f" It was {words}: give stirred lees some days to fall."
    lines.append(
        f"steady: under {_kelvin(facts, _SWING_K)} within each day of the last week, and under "
        f"{_kelvin(facts, _DRIFT_K)} from day to day (common practice, no source); a vessel that was moved or "
        "shaken needs days as well, and leeside does not see that"
    )
    numbers: dict[str, object] = {
        "probe": None if hours is None else hours.probe,
        "mounted": None if hours is None else hours.mounted,
        "days_read": None if week is None else week.days,
        "steady": None if week is None else week.steady,
        "largest_swing_k": None if week is None else round(week.largest_swing_k, 3),
        "drift_k": None if week is None else round(week.drift_k, 3),
        "mean_c": None if week is None else round(week.mean_c, 2),
        "low_c": None if week is None else round(week.low_c, 2),
        "high_c": None if week is None else round(week.high_c, 2),
        "last_disturbed": iso_utc_known(None if stirred is None else stirred[1]),
        "last_disturbed_by": None if stirred is None else stirred[0],
    }
    return ReviewSection("temperature", title, verdict, reason, tuple(lines), numbers)


def _temperature_words(
    facts: VesselFacts, hours: HourMeans | None, week: SteadyWeek | None
) -> tuple[ReviewVerdict, str]:
    if week is None or hours is None:
        return (
            ReviewVerdict.NOT_KNOWN,
            f"No temperature of {facts.vessel} was read in the last week: whether it was steady is not known. Measure "
            "the wine morning and evening for some days (leeside enter measurement).",
        )
    swing, drift = _kelvin(facts, week.largest_swing_k), _kelvin(facts, week.drift_k)
    of = {"wine": "The wine's temperature", "wall": "The wall's temperature"}.get(hours.mounted, "The room's air")
    swung = f"{of} swung by at most {swing} within a day of the last week, and by {drift} from day to day"
    if week.steady:
        few = week.days < _DAYS
        seldom = f" Only {week.days} of 7 days were read." if few else ""
        verdict = ReviewVerdict.NOT_KNOWN if few else ReviewVerdict.IN_ORDER
        return verdict, f"{swung}: steady enough for lees to have settled.{seldom}"
    if hours.mounted not in ("wine", "wall"):
        return ReviewVerdict.NOT_KNOWN, f"{swung}; the wine swings less than the air, by how much is not known."
    return ReviewVerdict.TAKE_CARE, f"{swung}: that is not steady, and moving wine keeps fine lees afloat."


def _unit(facts: VesselFacts) -> str:
    return unit_name("temperature", facts.units)


def _celsius(facts: VesselFacts, celsius: float) -> str:
    return f"{value_in_unit('temperature', celsius, _unit(facts)):.1f}"


def _kelvin(facts: VesselFacts, kelvin: float) -> str:
    return f"{difference_in_unit('temperature', kelvin, _unit(facts)):.1f} {_unit(facts)}"
