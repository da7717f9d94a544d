"""From the judgement of a vessel's gas to the numbers that limits are judged by. Pure.

A number decides or it does not, whatever the gas's finding says: the compensated pressure of a settling blanket is
known well while nobody can tell whether it leaks. So each row has a finding of its own; that of the gas is in the
details.
"""

from __future__ import annotations

__all__ = ["GAS_NUMBERS", "LEAST_CERTAIN_ML_MIN", "judged_rows"]

from dataclasses import replace
from typing import Final

from alerts.blanket.details import BlanketShown, blanket_details
from alerts.blanket.followed_vessel import VesselJudged
from alerts.gas.blanket_facts import BlanketJudgement
from ingest.cellar import NOT_FORESEEN_H
from ingest.judgement import UNDECIDED, Judgement

# The judged quantities that these are.
GAS_NUMBERS: Final = frozenset(
    {"compensated_pressure", "leak_rate", "gas_gain_rate", "hours_to_air_floor", "hours_to_air_floor_by_cold"}
)

# What is certainly lost is more than nothing, however wide its range.
LEAST_CERTAIN_ML_MIN: Final = 0.002
# A compensated pressure that is known no better decides nothing [kPa].
_MOST_U_KPA: Final = 3.0
# With these a leak, or gas that comes in, may be there or not: its alarm stays as it is.
_OPEN: Final = frozenset({"slow leak", "fast leak", "settling", "drawn"})
_ASSUMED: Final = (
    "How much wine the vessel holds is not in the journal: it is taken to be nearly full. Enter its first filling, or "
    "a measured volume."
)


def judged_rows(judged: VesselJudged, now_ms: int) -> list[Judgement]:
    """Make the judgements of a vessel as of now (UTC ms)."""
    if not judged.has_blanket:
        judged = judged._replace(judgement=_without_blanket(judged.judgement))
    shown = _shown(judged, now_ms)
    vessel, judgement = judged.setting.vessel.id, judged.judgement
    # What a probe read that reads seldom holds until its next reading.
    holds = judged.setting.reads_seldom and judgement.finding != "no judgement"
    at_ms = now_ms if holds else min(shown.at_ms, now_ms)
    return [
        _compensated(vessel, at_ms, judgement, assumed=judged.episode.assumed)._replace(details=blanket_details(shown)),
        _rate(vessel, "leak_rate", at_ms, judgement, 1.0, is_certain=judgement.leak_certain),
        _rate(vessel, "gas_gain_rate", at_ms, judgement, -1.0, is_certain=judgement.finding == "gas rising"),
        _hours(vessel, at_ms, judgement, judged.setting.floor_kpa),
        _hours_by_cold(vessel, at_ms, judgement),
    ]


def _without_blanket(judgement: BlanketJudgement) -> BlanketJudgement:
    """Leave only what is said of a vessel in which no blanket is kept: its airlock lets gas out by design.

    So its gauge stands still while the temperature moves, and neither a pressure at another temperature nor a headspace
    can be learned from it.
    """
    is_rising = judgement.finding in ("gas rising", *UNDECIDED)
    if judgement.finding != "gas rising":
        judgement = replace(
            judgement, compensated_kpa=None, u_compensated_kpa=None, headspace_l=None, u_headspace_l=None
        )
    return replace(
        judgement,
        finding=judgement.finding if is_rising else "sound",
        warnings=judgement.warnings if is_rising else (),
        leak_certain=False,
        hours_low=None,
        hours_high=None,
        hours_cold=None,
    )


def _compensated(vessel: str, at_ms: int, judgement: BlanketJudgement, *, assumed: bool) -> Judgement:
    kpa, u_kpa = judgement.compensated_kpa, judgement.u_compensated_kpa
    is_known = not assumed if u_kpa is None else u_kpa <= _MOST_U_KPA
    if kpa is None and judgement.finding not in UNDECIDED:
        return Judgement(vessel, "compensated_pressure", at_ms, None, finding=judgement.finding)
    if kpa is None or judgement.finding == "no judgement" or not is_known:
        return Judgement(vessel, "compensated_pressure", at_ms, None, finding="no judgement")
    finding = "" if judgement.finding in UNDECIDED else judgement.finding
    spread = None if u_kpa is None else 2.0 * u_kpa
    low, high = (None, None) if spread is None else (kpa - spread, kpa + spread)
    return Judgement(vessel, "compensated_pressure", at_ms, kpa, low, high, finding)


def _rate(
    vessel: str, name: str, at_ms: int, judgement: BlanketJudgement, sign: float, *, is_certain: bool
) -> Judgement:
    """The rate that limits go by; sign: as ``_rate_range`` takes it; is_certain: gas certainly flows that way."""
    low, high = _rate_range(judgement, sign)
    value: float | None = 0.0
    if is_certain:
        value = max(low or 0.0, LEAST_CERTAIN_ML_MIN)
    elif not _decides(judgement) or judgement.finding in _OPEN:
        value = None
    return Judgement(vessel, name, at_ms, value, low, high, judgement.finding)


def _rate_range(judgement: BlanketJudgement, sign: float) -> tuple[float | None, float | None]:
    """The rate as a range, from 0 on; sign: -1 for gas that comes in."""
    rate, u_rate = judgement.rate_ml_min, judgement.u_rate_ml_min
    if rate is None or u_rate is None:
        return None, None
    return max(sign * rate - 2.0 * u_rate, 0.0), max(sign * rate + 2.0 * u_rate, 0.0)


def _hours(vessel: str, at_ms: int, judgement: BlanketJudgement, floor_kpa: float) -> Judgement:
    name, finding = "hours_to_air_floor", judgement.finding
    raw_kpa = judgement.raw_kpa
    # What cold alone does to the gauge has its own limit; here gas that is lost counts, or goes into the wine.
    is_lost = judgement.leak_certain or (finding == "settling" and judgement.hours_cold is None)
    if raw_kpa is not None and raw_kpa <= floor_kpa and is_lost:
        return Judgement(vessel, name, at_ms, 0.0, 0.0, 0.0, finding)
    if judgement.hours_low is not None and is_lost:
        low, high = _most(judgement.hours_low), judgement.hours_high
        return Judgement(vessel, name, at_ms, low, low, None if high is None else _most(high), finding)
    return Judgement(vessel, name, at_ms, NOT_FORESEEN_H if _decides(judgement) else None, finding=finding)


def _hours_by_cold(vessel: str, at_ms: int, judgement: BlanketJudgement) -> Judgement:
    name, hours = "hours_to_air_floor_by_cold", judgement.hours_cold
    if judgement.finding == "no judgement":
        return Judgement(vessel, name, at_ms, None, finding="no judgement")
    if hours is not None:
        return Judgement(vessel, name, at_ms, _most(hours), finding="cooling")
    finding = "" if judgement.finding in UNDECIDED else judgement.finding
    return Judgement(vessel, name, at_ms, NOT_FORESEEN_H, finding=finding)


def _most(hours: float) -> float:
    return min(max(hours, 0.0), NOT_FORESEEN_H)


def _decides(judgement: BlanketJudgement) -> bool:
    """Whether the finding says that gas is lost or gained, or is not. An open supply hides both."""
    return judgement.finding not in UNDECIDED and judgement.finding != "supply open"


def _shown(judged: VesselJudged, now_ms: int) -> BlanketShown:
    judgement, point, episode = judged.judgement, judged.point, judged.episode
    facts = episode.facts
    warnings = judgement.warnings
    if episode.assumed:
        warnings = (*warnings, _ASSUMED)
    missing = _missing(judged, now_ms)
    if judgement.finding == "no judgement":
        is_new = missing == "pressure" and judged.pressure_ms is None
        warnings = (*(_NONE_YET if is_new else _MISSING_WORDS.get(missing, ())), *warnings)
    return BlanketShown(
        at_ms=now_ms if point is None else point.at_ms,
        finding=judgement.finding,
        gas="" if facts is None else facts.gas.name,
        raw_kpa=judgement.raw_kpa,
        temperature_c=None if point is None else point.temperature_c,
        compensated_kpa=judgement.compensated_kpa,
        u_compensated_kpa=judgement.u_compensated_kpa,
        reference_c=None if facts is None else facts.reference_c,
        floor_kpa=judged.setting.floor_kpa if judged.has_blanket else None,
        rate_ml_min=judgement.rate_ml_min,
        u_rate_ml_min=judgement.u_rate_ml_min,
        rate_kpa_day=judgement.rate_kpa_day,
        hours_low=judgement.hours_low,
        hours_high=judgement.hours_high,
        hours_cold=judgement.hours_cold,
        headspace_l=judgement.headspace_l,
        u_headspace_l=judgement.u_headspace_l,
        since_ms=judgement.since_ms,
        last_sound_ms=judgement.last_sound_ms,
        leak_certain=judgement.leak_certain,
        supply_open=facts is not None and facts.supply_open,
        without_blanket=not judged.has_blanket,
        entry_kind=episode.kind,
        entry_ms=episode.at_ms if episode.kind else None,
        missing=missing,
        warnings=warnings,
    )


# Also in the minutes after a start, when readings have come but were not judged yet.
_NONE_YET: Final = ("No good reading of the pressure was judged yet; each minute is judged when it is over.",)
_MISSING_WORDS: Final[dict[str, tuple[str, ...]]] = {
    "pressure": ("There is no good reading of the pressure.",),
    "temperature": ("There is no good reading of the temperature of the wine or the wall.",),
}


def _missing(judged: VesselJudged, now_ms: int) -> str:
    """What is missing for a judgement: "pressure", "temperature", "contents", "" for nothing."""
    silent_ms = judged.setting.silent_ms
    if judged.pressure_ms is None or now_ms - judged.pressure_ms > silent_ms:
        return "pressure"
    point = judged.point
    if point is None or judged.pressure_ms - point.at_ms > silent_ms:
        return "temperature"
    return "contents" if judged.episode.assumed else ""
