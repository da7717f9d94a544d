"""The gas over the wine in a vessel, as it was judged: lines for people, an object for programs."""

from __future__ import annotations

__all__ = [
    "blanket_json",
    "blanket_line",
    "blanket_lines",
    "blanket_of",
    "finding_name",
    "finding_text",
    "floor_text",
    "lost_text",
]

from collections.abc import Iterable
from datetime import tzinfo
from typing import Final

from alerts.blanket.details import BlanketShown, blanket_shown
from alerts.view.format import age, local_time, value_text
from alerts.view.gas.blanket_values import compensated_text, headspace_text, hours_text, rate_pressure_text, rate_text
from alerts.watch.turn import is_judged_lately
from ingest.judgement import UNDECIDED, Judgement
from ingest.times import iso_utc, iso_utc_known

_LEAKS: Final = frozenset({"slow leak", "fast leak"})
_MEANINGS: Final = {
    "sound": "no gas is lost",
    "cooling": "the gauge falls because it gets colder; no gas is lost",
    "warming": "the gauge rises because it gets warmer; no gas comes in",
    "settling": "the wine takes up gas, as it does after charging, racking or moving; a small leak would not show yet",
    "slow leak": "gas is certainly lost",
    "fast leak": "gas is certainly lost, and fast",
    "drawn": "gas or wine was drawn or vented at one time; nothing has been lost since",
    "gas rising": "gas comes in, because the wine gives off carbon dioxide or the regulator creeps",
    "supply open": "gas flows in from the supply, so this vessel says nothing about leaks; the cylinder does",
    "cannot tell yet": "whether gas is lost cannot be seen yet",
    "no judgement": "the gas cannot be judged",
}
# Each minute is judged when it is over; what is older than this is said with its time.
_NOW_MS: Final = 180_000
# Where no blanket is kept, there is no supply either, and only gas that rises counts.
_NO_GAS_RISES: Final = "no gas rising"
_FROM_WINE: Final = "gas comes in, because the wine gives off carbon dioxide"
_NOT_CERTAIN: Final = "gas seems to be lost, but that is not certain yet"


def blanket_of(judgements: Iterable[Judgement], now_ms: int) -> BlanketShown | None:
    """Give the gas over the wine by what was judged of a vessel last; None where it is not judged.

    What is too old by now (UTC ms) is shown as no judgement.
    """
    for judgement in judgements:
        if judgement.name == "compensated_pressure" and (shown := blanket_shown(judgement)) is not None:
            if is_judged_lately(judgement.at_ms, now_ms):
                return shown
            old = f"the last judgement is {age(now_ms - judgement.at_ms)} old: it was {shown.finding}"
            return BlanketShown(at_ms=shown.at_ms, finding="no judgement", gas=shown.gas, warnings=(old,))
    return None


def finding_name(shown: BlanketShown) -> str:
    """Name the finding in a word or two: "slow leak", "perhaps slow leak"; without a blanket "no gas rising"."""
    if shown.without_blanket and shown.finding == "sound":
        return _NO_GAS_RISES
    return f"perhaps {shown.finding}" if shown.finding in _LEAKS and not shown.leak_certain else shown.finding


def finding_text(shown: BlanketShown) -> str:
    """Say the finding and what it means: "cooling: the gauge falls because it gets colder; no gas is lost"."""
    if shown.finding in _LEAKS and not shown.leak_certain:
        return f"perhaps a {shown.finding}: {_NOT_CERTAIN}"
    if shown.without_blanket and shown.finding == "sound":
        return _NO_GAS_RISES
    meaning = (
        _FROM_WINE if shown.without_blanket and shown.finding == "gas rising" else _MEANINGS.get(shown.finding, "")
    )
    return f"{shown.finding}: {meaning}".rstrip(": ")


def lost_text(shown: BlanketShown, units: str) -> str:
    """Say how fast gas is lost, or comes in: "0.4 to 0.6 mL a minute, 4 to 6 kPa a day"; "" where it is not known."""
    if shown.rate_ml_min is None:
        return ""
    rate = rate_text(shown.rate_ml_min, shown.u_rate_ml_min)
    if shown.rate_kpa_day is None:
        return rate
    return f"{rate}, {rate_pressure_text(shown.rate_kpa_day, shown.rate_ml_min, shown.u_rate_ml_min, units)}"


def floor_text(shown: BlanketShown, units: str) -> str:
    """Say when the air floor is reached: "air floor of 5 kPa in 11 to 16 hours"; "" where it is not foreseen."""
    floor = "air floor" if shown.floor_kpa is None else f"air floor of {_plain(shown.floor_kpa, units)}"
    if shown.hours_high == 0:
        return f"{floor} reached"
    parts = []
    is_lost = shown.leak_certain or shown.finding in (*_LEAKS, "settling")
    if is_lost and (hours := hours_text(shown.hours_low, shown.hours_high)):
        parts.append(f"{floor} in {hours}")
    if shown.hours_cold == 0:
        parts.append("reached by cold alone" if parts else f"{floor} reached by cold alone")
    elif cold := hours_text(shown.hours_cold, shown.hours_cold):
        begin = f"{floor} " if not parts else ""
        parts.append(f"{begin}by cold alone in {cold}")
    return ", ".join(parts)


def blanket_line(shown: BlanketShown, zone: tzinfo, units: str, now_ms: int) -> str:
    """Say finding, pressures and, where it is not sound, rate, hours left and since when, in one line.

    Such as "blanket: slow leak, 0.4 to 0.6 mL a minute, 4 to 6 kPa a day, air floor of 5 kPa in 11 to 16 hours, since
    14:05:00 CET; gauge 32.1 kPa, 36 ± 2 kPa at 15 °C".
    """
    words = [finding_name(shown)]
    if shown.finding == "cooling":
        words.append("no gas lost")
    if _is_moving(shown) and (lost := lost_text(shown, units)):
        words.append(lost)
    if floor := floor_text(shown, units):
        words.append(floor)
    if shown.finding != "sound" and shown.finding not in UNDECIDED and shown.since_ms is not None:
        when = local_time(shown.since_ms, zone, now_ms)
        if shown.finding == "drawn":
            words[0] += f" at {when}"
        else:
            words.append(f"since {when}")
    if shown.finding in UNDECIDED and shown.warnings:
        words.append(_within(shown.warnings[0].rstrip(".")))
    pressures = _pressures(shown, units, zone, now_ms)
    return f"{_subject(shown)}: {', '.join(words)}{'; ' if pressures else ''}{pressures}"


def blanket_lines(shown: BlanketShown, zone: tzinfo, units: str, now_ms: int) -> list[str]:
    """Say all that is known of the gas over a wine, line by line, the most important first."""
    lines = [f"{_subject(shown)}: {finding_text(shown)}"]
    times = []
    if shown.since_ms is not None:
        at = "at" if shown.finding == "drawn" else "since"
        times.append(f"{at} {local_time(shown.since_ms, zone, now_ms)}, {age(now_ms - shown.since_ms)} ago")
    if shown.finding != "sound" and shown.last_sound_ms is not None:
        times.append(f"last sound {local_time(shown.last_sound_ms, zone, now_ms)}")
    if times:
        lines.append("; ".join(times))
    if _is_moving(shown) and (lost := lost_text(shown, units)):
        verb = "comes in" if _is_gained(shown) else "lost"
        lines.append(f"{verb} {lost} (gas at 0 °C and 101.325 kPa)")
    if pressures := _pressures(shown, units, zone, now_ms):
        lines.append(pressures)
    if floor := floor_text(shown, units):
        lines.append(floor)
    if shown.headspace_l is not None and shown.finding != "no judgement":
        gas = f" of {shown.gas}" if shown.gas else ""
        lines.append(f"headspace {headspace_text(shown.headspace_l, shown.u_headspace_l)}{gas}")
    return [*lines, *(f"note: {warning}" for warning in shown.warnings)]


def blanket_json(shown: BlanketShown) -> dict[str, object]:
    """Give the same as an object; null for what is not known or not foreseen. Rates at 0 °C and 101.325 kPa."""
    return {
        "at": iso_utc(shown.at_ms),
        "finding": shown.finding,
        "leak_certain": shown.leak_certain,
        "gas": shown.gas or None,
        "raw_kpa": shown.raw_kpa,
        "compensated_kpa": shown.compensated_kpa,
        "u_compensated_kpa": shown.u_compensated_kpa,
        "reference_c": shown.reference_c,
        "floor_kpa": shown.floor_kpa,
        "rate_ml_min": shown.rate_ml_min,
        "u_rate_ml_min": shown.u_rate_ml_min,
        "rate_kpa_day": shown.rate_kpa_day,
        "hours_to_floor_low": shown.hours_low,
        "hours_to_floor_high": shown.hours_high,
        "hours_to_floor_cold": shown.hours_cold,
        "headspace_l": shown.headspace_l,
        "u_headspace_l": shown.u_headspace_l,
        "since": iso_utc_known(shown.since_ms),
        "last_sound": iso_utc_known(shown.last_sound_ms),
        "supply_open": shown.supply_open,
        "without_blanket": shown.without_blanket,
        "warnings": list(shown.warnings),
    }


def _subject(shown: BlanketShown) -> str:
    """What the line is about: in a vessel without a blanket it is the headspace."""
    return "headspace" if shown.without_blanket else "blanket"


def _is_moving(shown: BlanketShown) -> bool:
    """Whether the rate says something: gas that is lost or comes in by more than it is uncertain by."""
    if shown.rate_ml_min is None or shown.finding in ("sound", *UNDECIDED):
        return False
    return shown.leak_certain or shown.finding in (*_LEAKS, "gas rising", "settling")


def _is_gained(shown: BlanketShown) -> bool:
    return shown.rate_ml_min is not None and shown.rate_ml_min < 0


def _pressures(shown: BlanketShown, units: str, zone: tzinfo, now_ms: int) -> str:
    parts = []
    if shown.raw_kpa is not None:
        parts.append(f"gauge {value_text('pressure', shown.raw_kpa, units)}")
    # What a gauge shows that cannot be trusted, nobody can compensate.
    if shown.compensated_kpa is not None and shown.finding != "no judgement":
        parts.append(compensated_text(shown.compensated_kpa, shown.u_compensated_kpa, shown.reference_c, units))
    if parts and now_ms - shown.at_ms > _NOW_MS:
        parts.append(f"as of {local_time(shown.at_ms, zone, now_ms)}")
    return ", ".join(parts)


def _within(sentence: str) -> str:
    """A sentence as it goes on in another one; a name at its beginning stays as it is."""
    return sentence[:1].lower() + sentence[1:] if sentence[1:2].islower() else sentence


def _plain(kpa: float, units: str) -> str:
    """A setpoint without digits that nobody wrote: "5 kPa"."""
    return value_text("pressure", kpa, units).replace(".0 ", " ")
