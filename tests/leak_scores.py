"""How well judgements of a keg's gas agree with its hidden truth: false alarms, delays, rates, ranges."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import NamedTuple

import numpy as np

from alerts.gas.blanket_facts import BlanketJudgement
from ingest.simulation.keg_trials.keg import TrialKeg
from ingest.simulation.keg_trials.readings import START_MS
from ingest.simulation.keg_trials.world import KegTruths

LEAKS = ("slow leak", "fast leak")
# When after the onset the rate is compared with the truth [h].
RATE_AT_H = (12.0, 48.0)
# A rate is compared while the gauge is above this [kPa]: near the floor hardly anything leaks any more.
RATE_ABOVE_KPA = 7.0
# A mL a minute at 0 °C and 101.325 kPa, out of a litre, is so many kPa a day at 288.15 K.
_KPA_DAY_L_PER_ML_MIN = 1.440 * 101.325 * 288.15 / 273.15


class Judged(NamedTuple):
    """What was said at one moment (s since the first reading); None where nothing was said."""

    at_s: float
    finding: str
    leak_certain: bool
    rate_ml_min: float | None = None
    u_rate_ml_min: float | None = None
    hours_low: float | None = None
    hours_high: float | None = None
    headspace_l: float | None = None
    u_headspace_l: float | None = None
    compensated_kpa: float | None = None
    hours_cold: float | None = None
    rate_kpa_day: float | None = None


def judged(judgement: BlanketJudgement, start_ms: int = START_MS) -> Judged:
    """Keep of a judgement what is scored."""
    return Judged(
        (judgement.at_ms - start_ms) / 1000.0,
        judgement.finding,
        judgement.leak_certain,
        judgement.rate_ml_min,
        judgement.u_rate_ml_min,
        judgement.hours_low,
        judgement.hours_high,
        judgement.headspace_l,
        judgement.u_headspace_l,
        judgement.compensated_kpa,
        judgement.hours_cold,
        judgement.rate_kpa_day,
    )


def judged_lines(lines: Iterable[str], start_ms: int = START_MS) -> list[Judged]:
    """Read what ``leeside bench leak FILE --as-it-goes`` printed: a JSON object on each line."""
    trace = []
    for line in lines:
        if not line.strip():
            continue
        fields: Mapping[str, object] = json.loads(line)
        at = datetime.fromisoformat(str(fields["at"]))

        def number(key: str, fields: Mapping[str, object] = fields) -> float | None:
            value = fields.get(key)
            return float(value) if isinstance(value, int | float) else None

        trace.append(
            Judged(
                at.timestamp() - start_ms / 1000.0,
                str(fields["finding"]),
                bool(fields["leak_certain"]),
                number("rate_ml_min"),
                number("u_rate_ml_min"),
                number("hours_to_floor_low"),
                number("hours_to_floor_high"),
                number("headspace_l"),
                number("u_headspace_l"),
                number("compensated_kpa"),
                number("hours_to_floor_cold"),
                number("rate_kpa_day"),
            )
        )
    return trace


class RateScore(NamedTuple):
    """A stated rate beside the true one, mL/min; at_h: h since the onset; the truth over the hour before, and since.

    fall, true_fall: the rate as kPa a day, at 288.15 K, stated and true over the hour before.
    """

    at_h: float
    stated: float
    u: float
    true_now: float
    true_since: float
    fall: float = 0.0
    true_fall: float = 1.0

    @property
    def fall_error(self) -> float:
        """Of the rate as a fall of pressure, which does not need the headspace; relative to the present one."""
        return self.fall / self.true_fall - 1.0

    @property
    def error(self) -> float:
        """Relative to the present rate."""
        return self.stated / self.true_now - 1.0

    @property
    def covered(self) -> bool:
        """Whether two standard uncertainties reach the present rate."""
        return abs(self.stated - self.true_now) <= 2.0 * self.u


class FloorScore(NamedTuple):
    """Stated hours to the air floor beside the true ones; low, high: None where no fall to it was foreseen, or no end.

    touched: whether somebody drew wine, let gas out or carried the keg meanwhile, which nobody can foresee.
    """

    low: float | None
    high: float | None
    true: float
    touched: bool

    @property
    def holds(self) -> bool:
        """Whether the true hours lie in the range, within two minutes."""
        if self.low is None:
            return False
        return self.low - 1 / 30 <= self.true and (self.high is None or self.true <= self.high + 1 / 30)

    @property
    def ratio(self) -> float:
        """How many times the low end the high one is; infinite without one."""
        return self.high / max(self.low or 0.0, 1 / 60) if self.high is not None else float("inf")


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one trial. Times in s since the first reading, delays in s since the onset.

    void: the leak has no meaning. false_at_s: a leak called certain before there was one; after: what had happened to
    the keg in the two hours before. found_s: delay until a leak was certain; named_s: until the finding was a leak.
    findings: share of the judgements, before the onset and after. rates: while the leak is certain;
    rates_missing: how often it was not. gap_s: from the onset to the first gap after it, 0 if it began in one, None
    without a gap. floor: how the hours to the floor, as stated when the leak became certain, agree with the true ones,
    None where these are not known. rising_s: when gas
    was first said to rise. cold_dips: how often a cold night brought the gauge under
    the floor; cold_announced: how many of these were called cooling then, or foreseen in the six hours before.
    headspace_error, headspace_z: at the end of learning or of the trial.
    """

    number: int
    keg: TrialKeg
    void: bool
    in_gap: bool
    onset_s: float | None
    false_at_s: float | None
    after: str
    found_s: float | None
    named_s: float | None
    rates: tuple[RateScore, ...]
    rates_missing: int
    gap_s: float | None
    floor: FloorScore | None
    headspace_error: float | None
    headspace_z: float | None
    findings: Mapping[str, float]
    findings_leaking: Mapping[str, float]
    rising_s: float | None = None
    cold_dips: int = 0
    cold_announced: int = 0
    simple: Mapping[str, tuple[float | None, float | None]] = field(default_factory=dict)


def outcome(
    number: int,
    truths: KegTruths,
    column: int,
    trace: Sequence[Judged],
    simple: Mapping[str, Sequence[float]] | None = None,
    ahead: KegTruths | None = None,
) -> Outcome:
    """Score the judgements of one keg. simple: the moments [s] at which simpler ways gave an alarm, by their names;
    ahead: the same truths, and how the keg goes on after the last reading.
    """
    keg = truths.kegs[column]
    onset = None if keg.leak is None or truths.leak_void[column] else keg.leak.onset_s
    until = np.inf if onset is None else onset
    false_at = next((each.at_s for each in trace if each.leak_certain and each.at_s < until), None)
    found = next((each for each in trace if each.leak_certain and each.at_s >= until), None)
    named = next((each.at_s for each in trace if each.finding in LEAKS and each.at_s >= until), None)
    rates: list[RateScore] = []
    missing = 0
    if onset is not None:
        for at_h in RATE_AT_H:
            scored = _rate(truths, column, trace, onset, at_h)
            if isinstance(scored, RateScore):
                rates.append(scored)
            missing += scored == "missing"
    before = [each for each in trace if each.at_s < until]
    known = next((each for each in reversed(before) if each.headspace_l is not None), None)
    error = z = None
    if known is not None and known.headspace_l is not None:
        step = int(np.searchsorted(truths.at_s, known.at_s))
        error = known.headspace_l - float(truths.headspace_l[min(step, len(truths.at_s) - 1), column])
        z = error / known.u_headspace_l if known.u_headspace_l else None
    gaps = keg.probes.gaps
    dips = _cold_dips(truths, column)
    return Outcome(
        number=number,
        keg=keg,
        void=bool(truths.leak_void[column]),
        in_gap=onset is not None and any(begin - 60.0 <= onset < end for begin, end in gaps),
        onset_s=onset,
        false_at_s=false_at,
        after=_after(keg, false_at),
        found_s=None if found is None else found.at_s - until,
        named_s=None if named is None else named - until,
        rates=tuple(rates),
        rates_missing=missing,
        gap_s=None
        if onset is None
        else min((max(begin - onset, 0.0) for begin, end in gaps if end > onset), default=None),
        floor=None if found is None else _floor_score(truths if ahead is None else ahead, column, found),
        headspace_error=error,
        headspace_z=z,
        findings=_shares(before),
        findings_leaking=_shares([each for each in trace if each.at_s >= until]),
        rising_s=next((each.at_s for each in trace if each.finding == "gas rising"), None),
        cold_dips=len(dips),
        cold_announced=sum(_announced(trace, dip_s) for dip_s in dips),
        simple={name: _first_alarms(alarms, until) for name, alarms in (simple or {}).items()},
    )


def _first_alarms(alarms: Sequence[float], until: float) -> tuple[float | None, float | None]:
    """The first alarm before the onset [s], and the delay of the first one after it [s]."""
    false_at = next((at_s for at_s in alarms if at_s < until), None)
    found = next((at_s - until for at_s in alarms if at_s >= until), None)
    return false_at, found


def _rate(truths: KegTruths, column: int, trace: Sequence[Judged], onset: float, at_h: float) -> RateScore | str:
    at_s = onset + 3600.0 * at_h
    step = int(np.searchsorted(truths.at_s, at_s))
    if step >= len(truths.at_s) or truths.gauge_kpa[step, column] < RATE_ABOVE_KPA:
        return "not asked"
    last = next((each for each in reversed(trace) if at_s - 3600.0 <= each.at_s <= at_s), None)
    if last is None or not last.leak_certain or last.rate_ml_min is None or last.u_rate_ml_min is None:
        return "missing"
    begin = int(np.searchsorted(truths.at_s, onset)) + 1
    rate = truths.rate_ml_min[: step + 1, column]
    true_now = float(rate[-60:].mean())
    return RateScore(
        at_h,
        last.rate_ml_min,
        last.u_rate_ml_min,
        true_now,
        float(rate[begin:].mean()),
        last.rate_kpa_day or 0.0,
        true_now * _KPA_DAY_L_PER_ML_MIN / float(truths.headspace_l[step, column]),
    )


def _floor_score(truths: KegTruths, column: int, found: Judged) -> FloorScore | None:
    keg = truths.kegs[column]
    assert keg.leak is not None
    later = (truths.at_s >= found.at_s) & (truths.gauge_kpa[:, column] < keg.leak.floor_kpa)
    if not later.any():
        return None
    until_s = float(truths.at_s[later][0])
    touched = any(found.at_s - 60.0 <= happening.at_s <= until_s for happening in keg.happenings)
    return FloorScore(found.hours_low, found.hours_high, (until_s - found.at_s) / 3600.0, touched)


def _cold_dips(truths: KegTruths, column: int, floor_kpa: float = 5.0) -> list[float]:
    """Find when cold, rather than the weather or a leak, brought the gauge of a tight keg under the floor [s]."""
    if truths.kegs[column].leak is not None:
        return []
    step_s = float(truths.at_s[1] - truths.at_s[0])
    day, hour = round(86_400.0 / step_s), round(3600.0 / step_s)
    gauge, wine_c = truths.gauge_kpa[:, column], truths.wine_c[:, column]
    station = truths.station_kpa[:, column]
    dips: list[float] = []
    for step in np.flatnonzero((gauge[day + 1 :] < floor_kpa) & (gauge[day:-1] >= floor_kpa)) + day + 1:
        colder = float(wine_c[step - day : step].mean() - wine_c[step])
        # At least 0.6 kPa fall with each kelvin; the weather must not have done as much.
        heavier = float(station[step] - station[step - day : step].mean())
        if colder > 0.5 and heavier < 0.3 * colder and (not dips or truths.at_s[step] - dips[-1] > 6 * hour * step_s):
            dips.append(float(truths.at_s[step]))
    return dips


def _announced(trace: Sequence[Judged], dip_s: float) -> bool:
    """Whether a dip is called cooling within twenty minutes, or was foreseen in the six hours before."""
    near = [each for each in trace if dip_s - 6 * 3600.0 <= each.at_s <= dip_s + 1200.0]
    at_dip = any(each.finding == "cooling" and each.at_s >= dip_s for each in near)
    return at_dip or any(each.hours_cold is not None and each.at_s < dip_s for each in near)


def _after(keg: TrialKeg, at_s: float | None) -> str:
    """What happened to the keg in the hours before a moment."""
    if at_s is None:
        return ""
    recent = [type(each).__name__ for each in keg.happenings if at_s - 6 * 3600.0 <= each.at_s <= at_s]
    recent += ["gap" for begin, end in keg.probes.gaps if begin <= at_s <= end + 2 * 3600.0]
    return "+".join(recent)


def _shares(trace: Sequence[Judged]) -> dict[str, float]:
    shares: dict[str, float] = {}
    for each in trace:
        shares[each.finding] = shares.get(each.finding, 0.0) + 1.0 / len(trace)
    return shares
