"""The SO2 of the wine in a vessel, as the estimate has it: lines for people, an object for programs."""

from __future__ import annotations

__all__ = [
    "TITRATED",
    "So2Summary",
    "done_words",
    "free_words",
    "judged_so2",
    "judged_so2_line",
    "molecular_words",
    "so2_done_words",
    "so2_json",
    "so2_line",
    "so2_lines",
    "summary_line",
]

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, tzinfo
from typing import Final, NamedTuple

from alerts.so2.judge import done_of, titrated_of
from alerts.so2.vessel_so2 import Titrated, VesselSo2
from alerts.watch.turn import is_judged_lately
from alerts.wine.so2_below import WhenBelow
from ingest.judgement import Judgement
from ingest.times import iso_utc, short_day

# What is judged by titrations of free SO2.
TITRATED: Final = frozenset({"free_so2", "molecular_so2"})
_DONE: Final = {"addition": "dosed", "racking": "racked", "topping": "topped", "first-filling": "blended"}


class So2Summary(NamedTuple):
    """What one line says, as of at_ms [UTC ms]: free SO2 with the ends of its 80 % interval, and molecular, None where
    it is not known [mg/L]; model: that molecular is by; titration: the last one; done: entries since, kind and time.
    """

    at_ms: int
    free_mg_l: float
    free_low_80_mg_l: float
    free_high_80_mg_l: float
    molecular_mg_l: float | None
    model: str
    titration: Titrated | None
    done: Sequence[tuple[str, int]]


def so2_line(so2: VesselSo2, zone: tzinfo) -> str:
    """Say free and molecular SO2, the last titration and what was done since, in one line.

    Such as "free SO2 about 27 mg/L (22 to 32), titrated 33 on 3 Oct, dosed 12 Oct; molecular 0.60 (simple)".
    """
    found = so2.estimate
    summary = So2Summary(
        so2.at_ms,
        found.free_mg_l,
        found.free_low_80_mg_l,
        found.free_high_80_mg_l,
        found.molecular_mg_l,
        str(so2.pk.model),
        so2.last_titration,
        so2.since_then_ms,
    )
    return summary_line(summary, zone)


def judged_so2(judgements: Iterable[Judgement], now_ms: int) -> So2Summary | None:
    """Give the same by what was judged of a vessel last; None where that is too old by now [UTC ms], or nothing was."""
    fresh = {each.name: each for each in judgements if is_judged_lately(each.at_ms, now_ms) and each.value is not None}
    free, molecular = fresh.get("free_so2"), fresh.get("molecular_so2")
    if free is None or free.value is None or free.low is None or free.high is None:
        return None
    return So2Summary(
        free.at_ms,
        free.value,
        free.low,
        free.high,
        None if molecular is None else molecular.value,
        "" if molecular is None else str(molecular.details.get("model", "")),
        titrated_of(free.details),
        done_of(free.details),
    )


def judged_so2_line(judgements: Iterable[Judgement], zone: tzinfo, now_ms: int) -> str:
    """Say it in one line, "" where there is nothing to say."""
    summary = judged_so2(judgements, now_ms)
    return "" if summary is None else summary_line(summary, zone)


def summary_line(summary: So2Summary, zone: tzinfo) -> str:
    """Put it into words."""
    return f"free SO2 {', '.join([free_words(summary), *done_words(summary, zone)])}; {molecular_words(summary)}"


def free_words(summary: So2Summary) -> str:
    """Say how much free SO2 there is, with its 80 % interval: "about 27 mg/L (22 to 32)"."""
    free = f"{summary.free_mg_l:.0f} mg/L ({summary.free_low_80_mg_l:.0f} to {summary.free_high_80_mg_l:.0f})"
    if summary.titration is None:
        return f"not titrated yet, by what wines usually have about {free}"
    return f"{_at_most(summary) or 'about '}{free}"


def so2_done_words(so2: VesselSo2, zone: tzinfo) -> list[str]:
    """Say what was done to the wine since its last titration: "dosed 12 Oct"."""
    return _done_words(so2.since_then_ms, so2.at_ms, zone)


def _done_words(done: Sequence[tuple[str, int]], at_ms: int, zone: tzinfo) -> list[str]:
    newest = sorted(dict(done).items(), key=lambda each: each[1])  # of each kind the last one
    return [f"{_DONE.get(kind, kind)} {short_day(done_ms, at_ms, zone)}" for kind, done_ms in newest]


def done_words(summary: So2Summary, zone: tzinfo) -> list[str]:
    """Say what was titrated last and what was done since: "titrated 33 on 3 Oct", "dosed 12 Oct"."""
    titration, at_ms = summary.titration, summary.at_ms
    done = _done_words(summary.done, at_ms, zone)
    if titration is None:
        return done
    return [f"titrated {titration.mg_l:.0f} on {short_day(titration.at_ms, at_ms, zone)}", *done]


def molecular_words(summary: So2Summary) -> str:
    """Say how much of it is molecular, by which model: "molecular 0.60 (simple)"."""
    if summary.molecular_mg_l is None:
        return "molecular not known without a pH"
    return f"molecular {_at_most(summary)}{summary.molecular_mg_l:.2f} ({summary.model})"


def _at_most(summary: So2Summary) -> str:
    return "at most " if summary.titration is not None and summary.titration.upper_bound else ""


def so2_lines(so2: VesselSo2, zone: tzinfo) -> list[str]:
    """Say all that is known of a vessel's SO2, line by line, the most important first."""
    found, learned = so2.estimate, so2.estimate.learned
    upper_bound = so2.last_titration is not None and so2.last_titration.upper_bound
    at_most = "at most " if upper_bound else ""
    lines = [so2_line(so2, zone)]
    if found.molecular_mg_l is not None and so2.ph is not None:
        lines.append(
            f"molecular {at_most}{found.molecular_mg_l:.2f} mg/L ({found.molecular_low_80_mg_l:.2f} to "
            f"{found.molecular_high_80_mg_l:.2f}), {so2.pk.model} with {so2.pk.name}, at pH {so2.ph.ph:.2f} "
            f"± {so2.ph.u_ph:.2f} of {short_day(so2.ph.at_ms, so2.at_ms, zone)} by {so2.ph.probe or 'hand'}"
        )
    if found.below_limit is not None:
        names = {"molecular_so2": f"molecular ({so2.pk.model})", "free_so2": "free"}
        limits = " and ".join(f"{limit.low_mg_l:g} mg/L {names[limit.quantity]}" for limit in so2.limits)
        lines.append(
            f"the low limit is {limits}: {_below_words(found.below_limit, so2.at_ms, zone, at_the_latest=upper_bound)}"
        )
    lines.append(
        f"loses {learned.loss_mg_l_per_30_days:.1f} ± {learned.u_loss_mg_l_per_30_days:.1f} mg/L in 30 days; "
        f"{100.0 * learned.yielded:.0f} ± {100.0 * learned.u_yielded:.0f} % of an addition stays free"
    )
    return [*lines, *(f"note: {remark}" for remark in so2.remarks)]


def so2_json(so2: VesselSo2, zone: tzinfo) -> dict[str, object]:
    """Give the same as an object; null for what is not known. Dates are those of the site's zone."""
    found, learned = so2.estimate, so2.estimate.learned
    below = found.below_limit or WhenBelow(None, None, None, None)
    titration = so2.last_titration

    def on(at_ms: int | None) -> str | None:
        return None if at_ms is None else _date(at_ms, zone).isoformat()

    return {
        "at": iso_utc(so2.at_ms),
        "free_mg_l": _short(found.free_mg_l),
        "u_free_mg_l": _short(found.u_free_mg_l),
        "free_low_80_mg_l": _short(found.free_low_80_mg_l),
        "free_high_80_mg_l": _short(found.free_high_80_mg_l),
        "molecular_mg_l": _short(found.molecular_mg_l),
        "molecular_low_80_mg_l": _short(found.molecular_low_80_mg_l),
        "molecular_high_80_mg_l": _short(found.molecular_high_80_mg_l),
        "model": str(so2.pk.model),
        "pk": so2.pk.value,
        "ph": None if so2.ph is None else _short(so2.ph.ph),
        "u_ph": None if so2.ph is None else _short(so2.ph.u_ph),
        "ph_at": None if so2.ph is None else iso_utc(so2.ph.at_ms),
        "ph_probe": None if so2.ph is None else so2.ph.probe,
        "temperature_c": None if so2.temperature is None else _short(so2.temperature.celsius),
        "last_titration": None
        if titration is None
        else {"at": iso_utc(titration.at_ms), "mg_l": titration.mg_l, "upper_bound": titration.upper_bound},
        "since_then": list(so2.since_then),
        "limits": [
            {"quantity": limit.quantity, "low_mg_l": limit.low_mg_l, "limit": limit.key or None} for limit in so2.limits
        ],
        "below_limit_on": {
            "median": on(below.median_ms),
            "low_80": on(below.low_ms),
            "high_80": on(below.high_ms),
        },
        "titrate_by": on(below.titrate_by_ms),
        "learned": {
            "loss_mg_l_per_30_days": _short(learned.loss_mg_l_per_30_days),
            "u_loss_mg_l_per_30_days": _short(learned.u_loss_mg_l_per_30_days),
            "yield": _short(learned.yielded),
            "u_yield": _short(learned.u_yielded),
        },
        "remarks": list(so2.remarks),
    }


def _below_words(below: WhenBelow, at_ms: int, zone: tzinfo, *, at_the_latest: bool) -> str:
    def day(at: int) -> str:
        return short_day(at, at_ms, zone)

    if below.titrate_by_ms is None:
        return "it is not reached within a year"
    if below.high_ms is not None and below.high_ms <= at_ms:
        return "the wine is below it"
    titrate = "titrate now" if below.titrate_by_ms <= at_ms else f"titrate by {day(below.titrate_by_ms)}"
    if below.low_ms is None:
        return f"it is hardly reached within a year; {titrate}"
    early = "now" if below.low_ms <= at_ms else day(below.low_ms)
    if below.median_ms is None:
        return f"perhaps reached from {early} on, more likely not within a year; {titrate}"
    if below.median_ms <= at_ms:
        return f"the wine is probably below it; {titrate}"
    late = "more than a year from then" if below.high_ms is None else day(below.high_ms)
    about = f"{day(below.median_ms)} at the latest" if at_the_latest else f"about {day(below.median_ms)}"
    return f"reached {about} ({early} to {late}); {titrate}"


def _date(at_ms: int, zone: tzinfo) -> date:
    return datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(zone).date()


def _short(number: float | None) -> float | None:
    """Four decimals: more mean nothing."""
    return None if number is None else round(number, 4)
