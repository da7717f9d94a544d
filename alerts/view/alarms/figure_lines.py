"""The figures of alarms beside the targets of the standards: lines for people, an object for programs.

The targets are per operator, of plants with thousands of measurements. Those of IEC 62682 and ANSI/ISA-18.2 stand in
their clauses on monitoring and assessment, those of EEMUA 191 in its chapter on performance metrics; the texts were not
available, so clause and numbers are from public material and from memory.
"""

from __future__ import annotations

__all__ = ["TARGETS", "FigureTarget", "figure_lines", "figures_json"]

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from statistics import median
from typing import Final

from alerts.view.alarms.alarm_figures import AlarmFigures, LimitFigures
from alerts.view.format import duration_text, exact_time
from ingest.times import iso_utc

_STANDARD: Final = "IEC 62682:2022 and ANSI/ISA-18.2-2016, clause 16, from memory"
_EEMUA: Final = "EEMUA Publication 191, from memory"
_OWN: Final = "this project's choice"
# A winemaker with a handful of kegs should see a few alarms a week.
MOST_A_DAY: Final = 6
LEAST_DAYS: Final = 30
_MOST_LIMITS: Final = 40


@dataclass(frozen=True, slots=True)
class FigureTarget:
    """A measure with its target. key: in JSON; value: of the figures, None where there is none; shown: in words."""

    key: str
    name: str
    value: Callable[[AlarmFigures], float | None]
    shown: Callable[[AlarmFigures], str]
    target: str
    source: str


def _percent(share: float) -> str:
    return f"{100.0 * share:.3g} %"


def _time(seconds: float | None) -> str:
    return "nothing was acknowledged" if seconds is None else duration_text(seconds)


def _share(figures: AlarmFigures, priority: str) -> float:
    return figures.priorities.get(priority, 0) / figures.alarms if figures.alarms else 0.0


TARGETS: Final = (
    FigureTarget(
        "alarms_a_day",
        "alarms a day, on average",
        lambda each: each.alarms / each.days,
        lambda each: f"{each.alarms / each.days:.2g}",
        f"at most {MOST_A_DAY}",
        _OWN,
    ),
    FigureTarget(
        "alarms_an_hour",
        "alarms an hour, on average",
        lambda each: each.alarms / each.days / 24,
        lambda each: f"{each.alarms / each.days / 24:.2g}",
        "about 6 (144 a day), at most 12",
        _STANDARD,
    ),
    FigureTarget(
        "most_in_a_day",
        "most alarms in one day",
        lambda each: each.most_in_a_day,
        lambda each: str(each.most_in_a_day),
        "about 150, at most 300",
        _STANDARD,
    ),
    FigureTarget(
        "alarms_in_10_minutes",
        "alarms in 10 minutes, on average",
        lambda each: each.alarms / each.days / 144,
        lambda each: f"{each.alarms / each.days / 144:.2g}",
        "fewer than 1",
        _EEMUA,
    ),
    FigureTarget(
        "flood_share",
        "10-minute periods with more than 10 alarms",
        lambda each: each.flood_share,
        lambda each: _percent(each.flood_share),
        "under 1 %",
        _STANDARD,
    ),
    FigureTarget(
        "frequent_share",
        "share of the ten most frequent",
        lambda each: each.frequent_share,
        lambda each: _percent(each.frequent_share),
        "1 to 5 %; of few limits it says nothing",
        _STANDARD,
    ),
    FigureTarget(
        "most_standing_over_24_h",
        "most that stood for over 24 h at once",
        lambda each: each.most_standing,
        lambda each: f"{each.most_standing} ({each.standing_now} at the end)",
        "fewer than 5, each with a plan",
        _STANDARD,
    ),
    FigureTarget(
        "chattering",
        "times that a limit chattered",
        lambda each: sum(limit.chattering for limit in each.limits),
        lambda each: str(sum(limit.chattering for limit in each.limits)),
        "0, each with a plan",
        _STANDARD,
    ),
    FigureTarget(
        "median_time_to_acknowledge_s",
        "time to acknowledge, median",
        lambda each: each.median_acknowledged_s,
        lambda each: _time(each.median_acknowledged_s),
        "none in the standards",
        _STANDARD,
    ),
    FigureTarget(
        "never_acknowledged",
        "not acknowledged",
        lambda each: sum(limit.unacknowledged for limit in each.limits),
        lambda each: str(sum(limit.unacknowledged for limit in each.limits)),
        "0",
        _OWN,
    ),
    FigureTarget(
        "high_priority_share",
        "of high priority",
        lambda each: _share(each, "high"),
        lambda each: _percent(_share(each, "high")),
        "about 5 %",
        _STANDARD,
    ),
    FigureTarget(
        "medium_priority_share",
        "of medium priority",
        lambda each: _share(each, "medium"),
        lambda each: _percent(_share(each, "medium")),
        "about 15 %",
        _STANDARD,
    ),
    FigureTarget(
        "low_priority_share",
        "of low priority",
        lambda each: _share(each, "low"),
        lambda each: _percent(_share(each, "low")),
        "about 80 %",
        _STANDARD,
    ),
)
_SOURCES: Final = (_STANDARD, _EEMUA, _OWN)


def figure_lines(figures: AlarmFigures, zone: tzinfo) -> list[str]:
    """Say the figures, all first, then limit by limit."""
    head = f"Alarms from {exact_time(figures.from_ms, zone)} to {exact_time(figures.to_ms, zone)}: {figures.alarms}"
    rows = [(each.name, each.shown(figures), f"{each.target} [{_SOURCES.index(each.source) + 1}]") for each in TARGETS]
    lines = [head, "", *_table(("", "here", "target"), rows), ""]
    lines += [f"[{number}] {source}" for number, source in enumerate(_SOURCES, 1)]
    if figures.days < LEAST_DAYS:
        lines.append(f"The standards ask for at least {LEAST_DAYS} days; these are {figures.days:.2g}.")
    if figures.limits:
        heads = ("limit", "alarms", "a day", "over 24 h", "chattered", "to acknowledge", "not acknowledged")
        lines += ["", *_table(heads, [_limit_row(each, figures.days) for each in figures.limits[:_MOST_LIMITS]])]
        if len(figures.limits) > _MOST_LIMITS:
            lines.append(f"and {len(figures.limits) - _MOST_LIMITS} limits more; --json has all")
    return lines


def _limit_row(limit: LimitFigures, days: float) -> tuple[str, ...]:
    times = limit.acknowledged_s
    return (
        limit.key,
        str(limit.alarms),
        f"{limit.alarms / days:.2g}",
        str(limit.standing),
        str(limit.chattering),
        duration_text(median(times)) if times else "-",
        str(limit.unacknowledged),
    )


def _table(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[column]) for row in (heads, *rows)) for column in range(len(heads))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in (heads, *rows)
    ]


def figures_json(figures: AlarmFigures) -> dict[str, object]:
    """Give the same as an object; null for what there is none of."""
    return {
        "from": iso_utc(figures.from_ms),
        "to": iso_utc(figures.to_ms),
        "days": round(figures.days, 3),
        "alarms": figures.alarms,
        "figures": [
            {
                "figure": each.key,
                "value": None if (value := each.value(figures)) is None else round(value, 6),
                "target": each.target,
                "source": each.source,
            }
            for each in TARGETS
        ],
        "limits": [_limit_json(each, figures.days) for each in figures.limits],
    }


def _limit_json(limit: LimitFigures, days: float) -> dict[str, object]:
    times = limit.acknowledged_s
    return {
        "limit": limit.key,
        "alarms": limit.alarms,
        "alarms_a_day": round(limit.alarms / days, 6),
        "standing_over_24_h": limit.standing,
        "chattering": limit.chattering,
        "acknowledged": len(times),
        "median_time_to_acknowledge_s": median(times) if times else None,
        "longest_time_to_acknowledge_s": max(times, default=None),
        "not_acknowledged": limit.unacknowledged,
    }
