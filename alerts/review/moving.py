"""Moving the wine: pushed from a keg or tank, siphoned from all else, never pushed from glass."""

from __future__ import annotations

__all__ = ["Move", "moves", "moving_section"]

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from alerts.allowed_range import AllowedRange
from alerts.errors import OutOfRange
from alerts.gas.moving_wine import PLENTY_KPA, Transfer, push, siphon
from alerts.gas.tube_flow import BORE_RANGE, LENGTH_RANGE, Tube
from alerts.gas.vessel_walls import why_no_pressure
from alerts.gas.wine_density import ALCOHOL_RANGE, TEMPERATURE_RANGE
from alerts.number_text import number_text
from alerts.review.amounts import gas_span, gas_text, minutes_span
from alerts.review.racking_facts import RackingFacts, RackingVessel, RackingWish
from alerts.review.section import ReviewSection, ReviewVerdict
from alerts.view.format import with_capital
from ingest.journal.vessel_state import liters

# What is not pushed is not under pressure: above this the high limit of glass speaks [kPa].
_NO_PRESSURE_KPA: Final = 2.0
# Gauge pressures to push with: 20 to 35 kPa is plenty (common practice, no source) [kPa].
_PUSH_KPA: Final = (20.0, 35.0)
_PRESSURE_RANGE: Final = AllowedRange("push pressure", 0.1, 1000.0, "kPa", "wine is pushed with")
# A hose of a small cellar (common practice, no source).
_BORE_MM: Final = 8.0
_LENGTH_M: Final = 2.0
# Others that are sold for wine: a quarter and three eighths of an inch, and half an inch.
_OTHER_BORES_MM: Final = (6.35, 9.5, 12.7)
# Both vessels stand on the same floor, and a dip tube lifts the wine over the rim.
_LIFT_M: Final = 0.5
# A carboy on a table, the receiver on the floor: the level falls by the height of the carboy (common practice, no
# source).
_HEAD_START_M: Final = 0.9
_HEAD_END_M: Final = 0.4


@dataclass(frozen=True, slots=True)
class Move:
    """A way to move the wine. pressure_kpa: gauge, of a push, None of a siphon."""

    pressure_kpa: float | None
    transfer: Transfer


def moves(facts: RackingFacts, wish: RackingWish, moved_l: float) -> tuple[list[Move], str]:
    """Work out the ways to move so much wine; and why it is not pushed as it was wished, or could be, else "".

    Raises OutOfRange for numbers that cannot be.
    """
    source = facts.source
    tube = _tube(wish)
    if wish.pressure_kpa is not None:
        _PRESSURE_RANGE.checked(wish.pressure_kpa)
    celsius = TEMPERATURE_RANGE.nearest(facts.temperature_c)
    alcohol = ALCOHOL_RANGE.nearest(facts.alcohol_percent_vol)
    if not source.takes_pressure:
        if wish.lift_m is not None:
            raise OutOfRange(
                "height",
                f"{source.id} is siphoned, which cannot lift wine: give the heads between the two levels "
                "(--head-start-m, --head-end-m)",
            )
        start_m = _HEAD_START_M if wish.head_start_m is None else wish.head_start_m
        end_m = min(_HEAD_END_M, start_m) if wish.head_end_m is None else wish.head_end_m
        worked = siphon(
            moved_l,
            start_m,
            end_m,
            tube,
            celsius,
            alcohol_percent_vol=alcohol,
            barometer_kpa=facts.barometer_kpa,
        )
        why_not = "" if wish.pressure_kpa is None else why_no_pressure(source.wall_kind, source.stamp_kpa)
        return [Move(None, worked)], why_not
    if wish.head_start_m is not None or wish.head_end_m is not None:
        of = "head at the start" if wish.head_start_m is not None else "head at the end"
        raise OutOfRange(of, f"{source.id} is pushed: give the lift (--lift-m) in place of the heads of a siphon")
    ways, refused = [], ""
    for kpa in _PUSH_KPA if wish.pressure_kpa is None else (wish.pressure_kpa,):
        try:
            worked = push(
                source.wall_kind,
                moved_l,
                kpa,
                _lift_m(wish),
                tube,
                celsius,
                alcohol_percent_vol=alcohol,
                stamp_kpa=source.stamp_kpa,
                barometer_kpa=facts.barometer_kpa,
            )
        except OutOfRange as error:
            if error.of not in ("pressure", "stamped pressure"):
                raise
            refused = str(error)
            continue
        ways.append(Move(kpa, worked))
    return ways, refused


def moving_section(
    facts: RackingFacts, wish: RackingWish, known_l: float | None, ways: Sequence[Move], refused: str
) -> ReviewSection:
    """Judge how the wine is moved. known_l: how much, None for a source that is taken to be brimful; ways, refused: as
    ``moves`` gives them.
    """
    source = facts.source
    moved_l = source.capacity_l if known_l is None else known_l
    is_push = source.takes_pressure
    title = f"{'Pushing' if is_push else 'Siphoning'} from {source.id}"
    numbers: dict[str, object] = {
        "method": "push" if is_push else "siphon",
        "moved_l": moved_l,
        "moved_l_known": known_l is not None,
        "bore_mm": _tube(wish).bore_mm,
        "length_m": _tube(wish).length_m,
        "lift_m": _lift_m(wish) if is_push else None,
        "temperature_c": facts.temperature_c,
        "refused": refused or None,
        "choices": [_move_json(way) for way in ways],
    }
    lines = [_line(way) for way in ways]
    if known_l is None:
        lines.append(f"Worked out for {liters(moved_l)}, a brimful {source.id}: how much it holds is not known.")
    lines.append(_assumed(facts, wish))
    others = _other_bores(facts, wish, moved_l)
    numbers["other_bores"] = [
        {"bore_mm": bore_mm, "minutes_low": way.transfer.low_minutes, "minutes": way.transfer.minutes}
        for bore_mm, way in others
    ]
    if others:
        times = [
            f"{bore_mm:g} mm {minutes_span(way.transfer.low_minutes, way.transfer.minutes)}" for bore_mm, way in others
        ]
        at = "" if others[0][1].pressure_kpa is None else f" at {others[0][1].pressure_kpa:g} kPa"
        lines.append(f"Other bores{at}: {', '.join(times)}.")
    if refused and (not ways or not is_push):
        return ReviewSection("moving", title, ReviewVerdict.DO_NOT, f"{with_capital(refused)}.", tuple(lines), numbers)
    verdict = ReviewVerdict.IN_ORDER
    if refused:
        lines.append(f"{with_capital(refused)}.")
    if is_push:
        reason = f"{source.id} can be pushed: {_span(ways)}."
        if source.stamp_kpa is None:
            verdict = ReviewVerdict.TAKE_CARE
            lines.insert(0, f"The cellar file does not say what is stamped on {source.id}: read it, and stay below it.")
        highest = max(way.pressure_kpa or 0.0 for way in ways)
        if highest > PLENTY_KPA:
            verdict = ReviewVerdict.TAKE_CARE
            lines.append(f"20 to {PLENTY_KPA:g} kPa is plenty to push wine; more dissolves more gas in it.")
        pressure = source.pressure_kpa
        if pressure is not None and pressure.value > highest:
            lines.append(
                f"{source.id} stood at {pressure.value:.0f} kPa when it was last read: vent it to what you push with."
            )
    else:
        reason = f"{source.id} is siphoned and never pushed, since {_kind_words(source)}: {_span(ways)}."
        lines.append("Let gas follow freely at no pressure: neither pressure nor vacuum in it.")
        pressure = source.pressure_kpa
        if pressure is not None and pressure.value > _NO_PRESSURE_KPA:
            verdict = ReviewVerdict.TAKE_CARE
            lines.insert(
                0,
                f"{source.id} stood at {pressure.value:.0f} kPa when it was last read: stand aside, and let that off "
                "slowly at bung or airlock before you open it.",
            )
    return ReviewSection("moving", title, verdict, reason, tuple(lines), numbers)


def _other_bores(facts: RackingFacts, wish: RackingWish, moved_l: float) -> list[tuple[float, Move]]:
    """How long it takes through other usual tubes, where nobody said which one it is; by the first way."""
    if wish.bore_mm is not None:
        return []
    ways = ((bore_mm, moves(facts, replace(wish, bore_mm=bore_mm), moved_l)[0]) for bore_mm in _OTHER_BORES_MM)
    return [(bore_mm, found[0]) for bore_mm, found in ways if found]


def _tube(wish: RackingWish) -> Tube:
    bore_mm = _BORE_MM if wish.bore_mm is None else wish.bore_mm
    length_m = _LENGTH_M if wish.length_m is None else wish.length_m
    return Tube(BORE_RANGE.checked(bore_mm), LENGTH_RANGE.checked(length_m))


def _lift_m(wish: RackingWish) -> float:
    return _LIFT_M if wish.lift_m is None else wish.lift_m


def _kind_words(source: RackingVessel) -> str:
    return {
        "glass": "glass bursts",
        "carboy": "a carboy bursts",
        "bottle": "a bottle bursts",
        "barrel": "a barrel is not a pressure vessel",
        "plastic": "plastic is not a pressure vessel",
    }.get(source.wall_kind, f"a {source.wall_kind} is not a pressure vessel")


def _span(ways: Sequence[Move]) -> str:
    time = minutes_span(min(way.transfer.low_minutes for way in ways), max(way.transfer.minutes for way in ways))
    gas = [way.transfer.gas_l for way in ways]
    return f"{time}, and {gas_span(min(gas), max(gas))} of gas take its place"


def _line(way: Move) -> str:
    worked = way.transfer
    flow, uncertain = f"{number_text(worked.l_min, 2)} L/min", ""
    if worked.high_l_min > 1.05 * worked.l_min:
        flow = f"{number_text(worked.l_min, 2)} to {number_text(worked.high_l_min, 2)} L/min"
        uncertain = "; between laminar and turbulent flow nobody can say which it is"
    ends = f"{minutes_span(worked.low_minutes, worked.minutes)}, {gas_text(worked.gas_l)} of gas{uncertain}"
    if way.pressure_kpa is not None:
        return f"at {way.pressure_kpa:g} kPa: {flow}, {ends}"
    start, end = number_text(worked.start_l_min, 2), number_text(worked.end_l_min, 2)
    return f"{flow} on average, from {start} to {end} L/min as the head falls: {ends}"


def _assumed(facts: RackingFacts, wish: RackingWish) -> str:
    """What the times are worked out for, and what of it nobody gave."""
    tube = _tube(wish)
    parts = [f"{tube.length_m:g} m of {tube.bore_mm:g} mm"]
    usual = [wish.bore_mm, wish.length_m]
    if facts.source.takes_pressure:
        parts.append(f"a lift of {_lift_m(wish):g} m")
        usual.append(wish.lift_m)
    else:
        start_m = _HEAD_START_M if wish.head_start_m is None else wish.head_start_m
        end_m = min(_HEAD_END_M, start_m) if wish.head_end_m is None else wish.head_end_m
        parts.append(f"a head of {start_m:g} m that falls to {end_m:g} m")
        usual += [wish.head_start_m, wish.head_end_m]
    parts.append(f"wine of {facts.temperature_c:.0f} °C")
    if facts.source.temperature_c is None:
        parts[-1] += " (nobody measured it)"
    ends = "; give your own" if None in usual else ""
    return f"Through {', '.join(parts)}. Fittings, filters and sweet wine make it slower{ends}."


def _move_json(way: Move) -> dict[str, object]:
    worked = way.transfer
    return {
        "pressure_kpa": way.pressure_kpa,
        "flow_l_min": worked.l_min,
        "flow_high_l_min": worked.high_l_min,
        "flow_start_l_min": worked.start_l_min,
        "flow_end_l_min": worked.end_l_min,
        "minutes": worked.minutes,
        "minutes_low": worked.low_minutes,
        "regime": str(worked.regime),
        "gas_l": worked.gas_l,
    }
