"""How sound the gas over the wine was since the last racking, and how it is judged now."""

from __future__ import annotations

__all__ = ["blanket_section"]

from collections.abc import Iterator
from typing import Final

from alerts.gas.purge import MUCH_O2_MG_L
from alerts.review.amounts import gas_span, gas_text, milligrams
from alerts.review.blanket_record import BlanketRecord, blanket_record
from alerts.review.section import ReviewSection, ReviewVerdict, worse_of
from alerts.review.vessel_facts import BlanketPast, VesselFacts
from alerts.view.due_lines import day_text
from alerts.view.format import counted, days_text, value_text
from alerts.view.gas.blanket_lines import blanket_line, finding_name
from ingest.times import iso_utc

# Under the air floor for longer than this is worth a second look: an alarm waits a minute, and a person needs an hour.
_LONG_UNDER_AIR_H: Final = 1.0
_LONG_UNDER_CARE_H: Final = 24.0
# Of a past of which less than this was read nobody knows whether it was sound.
_LEAST_SEEN: Final = 0.9
# More headspace than this share of a vessel that is closed by a lock is much (a working default, no source).
_MUCH_HEADSPACE: Final = 0.05
_KEYS: Final = (
    "observed_h",
    "under_air_floor_h",
    "under_care_floor_h",
    "lowest_kpa",
    "leaked_low_l",
    "leaked_high_l",
    "fallen_l",
    "oxygen_at_most_mg_l",
    "so2_at_most_mg_l",
    "air_filled_mg_l",
)
# As much gas [L] or oxygen [mg/L] as this tells nothing.
_LITTLE_L: Final = 0.05
_LITTLE_O2_MG_L: Final = 0.05
_HARDLY: Final = f" That let in hardly any oxygen, under {_LITTLE_O2_MG_L:g} mg/L, unless it stood open."


def blanket_section(facts: VesselFacts) -> ReviewSection:
    """Judge the blanket's past and present; of a vessel without a blanket, its headspace."""
    past = facts.gas
    if not facts.under_gas:
        return _without_blanket(facts)
    if past is None:
        reason = (
            f"Since when the wine lies in {facts.vessel} is not in the journal, so nothing is said of its gas since "
            "then."
        )
        return ReviewSection("blanket", "Blanket", ReviewVerdict.NOT_KNOWN, reason, _now(facts), _numbers(None, None))
    record = blanket_record(past)
    numbers = _numbers(past, record)
    since = day_text(past.from_ms, facts.zone, facts.at_ms)
    if past.by_hand and (past.pressure is None or record.observed_h == 0.0):
        verdict, reason = _by_hand_words(facts, past, since)
        return ReviewSection("blanket", "Blanket", verdict, reason, _now(facts), numbers)
    if past.pressure is None or record.observed_h == 0.0:
        reason = (
            f"The pressure in {facts.vessel} was not read since {since}: fit a pressure probe, or write down what the "
            "gauge shows (leeside enter measurement --quantity pressure)."
        )
        return ReviewSection("blanket", "Blanket", ReviewVerdict.NOT_KNOWN, reason, _now(facts), numbers)
    verdict, reason = _past_words(facts, past, record, since)
    leaks = facts.shown is not None and facts.shown.finding in ("slow leak", "fast leak")
    if leaks and facts.shown is not None:
        verdict = worse_of(verdict, ReviewVerdict.TAKE_CARE)
        reason += f" Now: {finding_name(facts.shown)}; find it before more gas is lost."
    lines = [*_now(facts), *_past_lines(facts, past, record)]
    return ReviewSection("blanket", "Blanket", verdict, reason, tuple(lines), numbers)


def _by_hand_words(facts: VesselFacts, past: BlanketPast, since: str) -> tuple[ReviewVerdict, str]:
    """What readings by hand say: whether one was too low, never that all was sound between them."""
    at_ms, newest = past.by_hand[-1]
    lowest = min(kpa for _, kpa in past.by_hand)
    times = counted(len(past.by_hand), "time")
    reason = (
        f"Since {since} the gauge was read {times}, by hand: {value_text('pressure', newest, facts.units)} last, on "
        f"{day_text(at_ms, facts.zone, facts.at_ms)}"
    )
    if past.air_floor_kpa is not None and lowest < past.air_floor_kpa:
        floor = value_text("pressure", past.air_floor_kpa, facts.units)
        reason += f", and {value_text('pressure', lowest, facts.units)} at the lowest, under the air floor of {floor}"
        return ReviewVerdict.TAKE_CARE, f"{reason}. How it was between is not known."
    return ReviewVerdict.NOT_KNOWN, f"{reason}. How it was between is not known: a pressure probe would show that."


def _past_words(facts: VesselFacts, past: BlanketPast, record: BlanketRecord, since: str) -> tuple[ReviewVerdict, str]:
    air = 0.0 if record.under_air_h is None else record.under_air_h
    care = 0.0 if record.under_care_h is None else record.under_care_h
    seen = record.observed_h / record.hours if record.hours > 0.0 else 1.0
    verdict = ReviewVerdict.IN_ORDER
    read = "" if seen >= _LEAST_SEEN else f", in the {100.0 * seen:.0f} % of the time that was read,"
    floor = "" if past.air_floor_kpa is None else value_text("pressure", past.air_floor_kpa, facts.units)
    if air > _LONG_UNDER_AIR_H:
        verdict = ReviewVerdict.TAKE_CARE
        reason = f"Since {since} the gauge was{read} under the air floor of {floor} for {_span(air)}"
    elif air > 0.0:
        reason = f"Since {since} the gauge was{read} under the air floor of {floor} for {_span(air)} only"
    else:
        reason = f"Since {since} the gauge was{read} never under the air floor of {floor}"
    if care > _LONG_UNDER_CARE_H:
        verdict = worse_of(verdict, ReviewVerdict.TAKE_CARE)
    reason += f", and {_span(care)} under the care floor." if care > 0.0 else "."
    oxygen = record.oxygen_mg_l
    if oxygen is not None and air > 0.0:
        so2 = record.so2_at_most_mg_l or 0.0
        reason += (
            _HARDLY
            if oxygen < _LITTLE_O2_MG_L
            else (
                f" That may have let in up to {milligrams(oxygen)} mg/L of oxygen, which costs up to "
                f"{milligrams(so2)} mg/L of SO2."
            )
        )
        if oxygen >= MUCH_O2_MG_L:
            verdict = worse_of(verdict, ReviewVerdict.TAKE_CARE)
    if seen < _LEAST_SEEN:
        verdict = worse_of(verdict, ReviewVerdict.NOT_KNOWN)
    return verdict, reason


def _past_lines(facts: VesselFacts, past: BlanketPast, record: BlanketRecord) -> Iterator[str]:
    if record.lowest_kpa is not None:
        yield f"lowest gauge pressure: {value_text('pressure', record.lowest_kpa, facts.units)}"
    if record.leaked_high_l > _LITTLE_L:
        yield f"gas that leaks let out: {gas_span(record.leaked_low_l, record.leaked_high_l)}"
    if record.fallen_l is not None and record.fallen_l > _LITTLE_L:
        yield (
            f"what the compensated pressure fell by is {gas_text(record.fallen_l)} of gas: it left by leaks, or went "
            "into the wine"
        )
    if record.under_air_h and record.air_filled_mg_l is not None:
        yield (
            f"if it stood open, so that its headspace filled with air: {milligrams(record.air_filled_mg_l)} mg/L of "
            "oxygen each time"
        )
    if record.findings_h:
        hours = sorted(record.findings_h.items(), key=lambda found: -found[1])
        yield "judged by the hour: " + ", ".join(f"{finding} {_span(count)}" for finding, count in hours[:5])
    if past.temperature is None and record.under_air_h:
        yield "without a temperature nobody can say how much air cooling drew in; what diffuses is counted alone"


def _without_blanket(facts: VesselFacts) -> ReviewSection:
    """Of a vessel that is closed by a lock: how much there is to keep air out of."""
    contents = facts.contents
    headspace_l, capacity_l = contents.headspace_l, contents.capacity_l
    numbers = _numbers(None, None) | {"headspace_l": headspace_l}
    if headspace_l is None or capacity_l is None:
        reason = f"How full {facts.vessel} is, is not in the journal: look, and write its volume down."
        return ReviewSection("blanket", "Air over the wine", ReviewVerdict.NOT_KNOWN, reason, _now(facts), numbers)
    record = None if facts.gas is None else blanket_record(facts.gas)
    filled = None if record is None else record.air_filled_mg_l
    numbers["air_filled_mg_l"] = filled
    if headspace_l <= _MUCH_HEADSPACE * capacity_l:
        reason = f"{facts.vessel} has no blanket, and is full but for {headspace_l:.1f} L: little air can lie over it."
        return ReviewSection("blanket", "Air over the wine", ReviewVerdict.IN_ORDER, reason, _now(facts), numbers)
    oxygen = "" if filled is None else f": full of air that is {milligrams(filled)} mg of oxygen for each litre of wine"
    reason = (
        f"{facts.vessel} has no blanket and {headspace_l:.1f} L of headspace{oxygen}. Top it up, or move the wine into "
        "a vessel that it fills."
    )
    return ReviewSection("blanket", "Air over the wine", ReviewVerdict.TAKE_CARE, reason, _now(facts), numbers)


def _now(facts: VesselFacts) -> tuple[str, ...]:
    return () if facts.shown is None else (blanket_line(facts.shown, facts.zone, facts.units, facts.at_ms),)


def _span(hours: float) -> str:
    """A time to the nearest minute below an hour, hour below two days, else day."""
    if hours < 1.0:
        return f"{max(1, round(60.0 * hours))} min"
    if hours < 48.0:
        return f"{round(hours)} h"
    return days_text(round(hours / 24.0))


def _numbers(past: BlanketPast | None, record: BlanketRecord | None) -> dict[str, object]:
    of_past: dict[str, object] = {
        "since": None if past is None else iso_utc(past.from_ms),
        "air_floor_kpa": None if past is None else past.air_floor_kpa,
        "care_floor_kpa": None if past is None else past.care_floor_kpa,
    }
    numbers = (
        dict.fromkeys(_KEYS)
        if record is None
        else {
            "observed_h": record.observed_h,
            "under_air_floor_h": record.under_air_h,
            "under_care_floor_h": record.under_care_h,
            "lowest_kpa": record.lowest_kpa,
            "leaked_low_l": record.leaked_low_l,
            "leaked_high_l": record.leaked_high_l,
            "fallen_l": record.fallen_l,
            "oxygen_at_most_mg_l": record.oxygen_mg_l,
            "so2_at_most_mg_l": record.so2_at_most_mg_l,
            "air_filled_mg_l": record.air_filled_mg_l,
        }
    )
    rounded = {key: None if number is None else round(number, 4) for key, number in numbers.items()}
    return {**of_past, **rounded, "hours_by_finding": {} if record is None else dict(record.findings_h)}
