"""What a message about gas says beside the number: finding, pressures, rate, hours left, and what fits the finding.

A limit on the gauge is judged at once, the gas only every minute or so. So what was found is said of the gauge only
where it was found at about this pressure.
"""

from __future__ import annotations

__all__ = ["gas_action", "gas_details", "gas_fact", "gas_now", "gas_returned", "is_on_gas", "look_first"]

from collections.abc import Callable
from datetime import tzinfo
from typing import Final

from alerts.blanket.details import BlanketShown
from alerts.view.format import exact_time, setpoint_text, side, unit_name, value_text, with_capital
from alerts.view.gas.blanket_lines import blanket_line, finding_name, finding_text, floor_text, lost_text
from alerts.view.gas.blanket_values import compensated_text, hours_text
from ingest.cellar import EffectiveLimit, value_in_unit
from ingest.judgement import UNDECIDED

_NO_VESSEL: Final = frozenset({"", "cylinder", "room"})
_LEAKS: Final = frozenset({"slow leak", "fast leak"})
# With these nothing is lost: the gauge is low for another reason.
_TIGHT: Final = frozenset({"sound", "cooling", "warming"})

# So near must the gauge be to the pressure at which the gas was judged, kPa and part of it.
_NEAR_KPA: Final = 1.5
_NEAR_SHARE: Final = 0.1
# Colder or warmer than this there is no straight line to the temperature at which the gauge is back.
_LEAST_K: Final = 1.0
_MOST_K: Final = 15.0

_LOOK_FIRST: Final = "at lid seal, posts and relief valve, with soapy water; then at the regulator and its lines."
_LITTLE: Final = "No gas is lost now, but there is little in the vessel, cold or warm."
_AS_CHARGED: Final = "No gas comes in now: so much is in the vessel, cold or warm."
_CHARGE_IN_COLD: Final = (
    "There is no leak to look for. Air the room before you go in, then charge the vessel so far that it stays above "
    "its limits in the cold too, or keep it warmer."
)
_CHARGE_AGAIN: Final = (
    "Air the room before you go in, then charge the vessel again. If nobody drew or vented, look at posts and relief "
    "valve."
)
_LET_SETTLE: Final = (
    "Air the room before you go in, then charge the vessel again: the wine has taken up gas. It may need that more "
    "than once, until the wine takes up no more."
)
_LOOK_AT_SUPPLY: Final = (
    "Air the room before you go in. The supply is open and the pressure is low all the same: see whether the cylinder "
    "is empty, its valve or the regulator is shut, or a line has come off."
)


def is_on_gas(limit: EffectiveLimit, place_kind: str) -> bool:
    """Whether a limit is about the gas in a vessel. place_kind: the vessel's kind, ``cylinder``, ``room`` or ""."""
    if limit.kind not in ("low", "high"):
        return False
    return limit.quantity in _FACTS or (limit.quantity == "pressure" and place_kind not in _NO_VESSEL)


def gas_fact(limit: EffectiveLimit, value: float | None, place: str, shown: BlanketShown, units: str) -> str | None:
    """Say in one line what is wrong by the gas that was judged; None where the two do not go together.

    Of a limit on the gauge it is what explains the fact. value: that raised the alarm, in the quantity's unit; place:
    what people call it; units: the site's.
    """
    if limit.quantity == "pressure":
        # Where nothing is judged there is nothing to explain it by.
        return "" if shown.finding == "no judgement" else _explained(limit, value, shown, units)
    beyond = f", {side(limit)} the limit of {setpoint_text(limit)}"
    is_chosen = limit.origin == "file" or limit.quantity == "compensated_pressure"
    fact = _FACTS[limit.quantity](shown, units, beyond if is_chosen else "")
    return None if fact is None else f"{place}: {fact}"


def _lost(shown: BlanketShown, units: str, beyond: str) -> str | None:
    if shown.finding not in _LEAKS:
        return None
    return f"{shown.finding}. Gas is lost, {lost_text(shown, units)}{beyond}."


def _gained(shown: BlanketShown, units: str, beyond: str) -> str | None:
    if shown.finding != "gas rising":
        return None
    source = "The wine gives off carbon dioxide" + ("." if shown.without_blanket else ", or the regulator creeps.")
    return f"gas comes in, {lost_text(shown, units)}{beyond}. {source}"


def _floor_near(shown: BlanketShown, units: str, _: str) -> str | None:
    hours = hours_text(shown.hours_low, shown.hours_high)
    if not hours:
        return None
    floor = _floor(shown, units)
    return f"if nothing is done, the gauge is below the air floor{floor} in {hours}. {with_capital(_why(shown, units))}"


def _cold_near(shown: BlanketShown, units: str, _: str) -> str | None:
    hours = hours_text(shown.hours_cold, shown.hours_cold)
    if not hours:
        return None
    floor = _floor(shown, units)
    return (
        f"no gas is lost, but cold alone brings the gauge below the air floor{floor} in {hours}, if it gets as cold as "
        "it did before."
    )


def _thin(shown: BlanketShown, units: str, beyond: str) -> str | None:
    if shown.compensated_kpa is None:
        return None
    would = _would_show(shown, units)
    return f"the blanket is thin. {with_capital(would)}{beyond}. {with_capital(_why(shown, units))}"


_FACTS: Final[dict[str, Callable[[BlanketShown, str, str], str | None]]] = {
    "leak_rate": _lost,
    "gas_gain_rate": _gained,
    "hours_to_air_floor": _floor_near,
    "hours_to_air_floor_by_cold": _cold_near,
    "compensated_pressure": _thin,
}


def gas_details(limit: EffectiveLimit, value: float | None, shown: BlanketShown, zone: tzinfo, units: str) -> list[str]:
    """List finding, pressures, hours left and when the gas was last sound, in the lines of a message.

    value: that raised the alarm. Where the gas was judged at another pressure, only what was found before is said.
    """
    since = "" if shown.since_ms is None else f", since {exact_time(shown.since_ms, zone)}"
    if shown.finding == "no judgement" and shown.missing == "pressure":
        return []  # it was judged before the reading that raised the alarm
    is_near = limit.quantity != "pressure" or _fits(shown, value)
    # A leak that was certain explains a gauge that has fallen further.
    if not is_near and not (shown.leak_certain and limit.kind == "low"):
        return [f"Before:      {finding_name(shown)}{since}"]
    lines = [f"Finding:     {finding_name(shown)}{since}"]
    if shown.raw_kpa is not None and is_near:
        gauge = f"Gauge:       {value_text('pressure', shown.raw_kpa, units)}"
        lines.append(f"{gauge}; {would}" if (would := _would_show(shown, units)) else gauge)
    if shown.finding in (*_LEAKS, "gas rising", "settling") and (lost := lost_text(shown, units)):
        lines.append(f"{'Gas gained:' if (shown.rate_ml_min or 0.0) < 0 else 'Gas lost:':12} {lost}")
    if is_near and (floor := floor_text(shown, units)):
        lines.append(f"Time left:   {floor}")
    if shown.finding != "sound" and shown.last_sound_ms is not None:
        lines.append(f"Last sound:  {exact_time(shown.last_sound_ms, zone)}")
    # Elsewhere they say what a card has room for.
    notes = shown.warnings[:2] if shown.finding in (*UNDECIDED, "settling") else ()
    return [*lines, *(f"Note:        {note}" for note in notes)]


def gas_action(limit: EffectiveLimit, value: float | None, shown: BlanketShown) -> str:
    """Give what to do by the finding, where that differs from what the default limit says; "" elsewhere."""
    if limit.origin != "default" or limit.kind != "low" or shown.leak_certain:
        return ""
    if limit.quantity == "pressure" and not _fits(shown, value):
        return ""
    if shown.finding in _TIGHT:
        return _CHARGE_IN_COLD if limit.quantity == "pressure" and _by_temperature(limit, shown) else ""
    return {"drawn": _CHARGE_AGAIN, "settling": _LET_SETTLE, "supply open": _LOOK_AT_SUPPLY}.get(shown.finding, "")


def look_first(limit: EffectiveLimit, shown: BlanketShown) -> list[str]:
    """Give the line that says where to look for a leak, where what the limit says to do may not."""
    if shown.leak_certain and limit.kind == "low" and (limit.quantity == "pressure" or limit.origin == "file"):
        return [f"Look first:  {_LOOK_FIRST}"]
    return []


def gas_returned(limit: EffectiveLimit, place: str) -> str:
    """Say what is right again, of a default limit on what is worked out; "" for any other limit."""
    if limit.origin != "default":
        return ""
    words = {
        "leak_rate": "no gas is lost any more.",
        "gas_gain_rate": "no gas comes in any more.",
        "hours_to_air_floor": "the air floor is no longer near.",
        "hours_to_air_floor_by_cold": "cold alone no longer brings the gauge below the air floor.",
    }.get(limit.quantity)
    return "" if words is None else f"{place}: {words}"


def gas_now(
    limit: EffectiveLimit, value: float | None, shown: BlanketShown, zone: tzinfo, units: str, now_ms: int
) -> str:
    """Say how the gas is when an alarm about it has ended. value: of the limit's quantity then."""
    if limit.quantity == "pressure" and not _fits(shown, value):
        return f"The finding before that was {finding_name(shown)}. Leeside judges the gas again within minutes."
    return f"Now: {blanket_line(shown, zone, units, now_ms).partition(': ')[2]}."


def _explained(limit: EffectiveLimit, value: float | None, shown: BlanketShown, units: str) -> str:
    """Why the gauge is beyond its limit."""
    if not _fits(shown, value) and not (shown.leak_certain and limit.kind == "low"):
        reason = "The reason is not known yet: leeside judges the gas every minute, and its last finding was"
        return f"{reason} {finding_name(shown)}."
    if shown.finding in UNDECIDED:
        reason = _sentence(shown.warnings[0].rstrip(".")) if shown.warnings else ""
        return f"Leeside cannot say whether gas is {'lost' if limit.kind == 'low' else 'coming in'}.{reason}"
    if shown.finding in _TIGHT and not shown.leak_certain:
        would = _sentence(_would_show(shown, units))
        if limit.kind == "high":
            return ("It is the warmth: no gas comes in." if _by_temperature(limit, shown) else _AS_CHARGED) + would
        if _by_temperature(limit, shown):
            return f"It is the cold: no gas is lost.{would}{_back_at(limit, shown, units)}"
        return f"{_LITTLE}{would}"
    return with_capital(_why(shown, units))


def _by_temperature(limit: EffectiveLimit, shown: BlanketShown) -> bool:
    """Whether the same gas would be within the limit at the reference temperature."""
    kpa = shown.compensated_kpa
    if kpa is None:
        return False
    return kpa > limit.setpoint + limit.deadband if limit.kind == "low" else kpa < limit.setpoint - limit.deadband


def _fits(shown: BlanketShown, value: float | None) -> bool:
    """Whether the gas was judged at about this pressure."""
    if value is None or shown.raw_kpa is None:
        return shown.raw_kpa is None
    return abs(shown.raw_kpa - value) <= max(_NEAR_KPA, _NEAR_SHARE * abs(value))


def _why(shown: BlanketShown, units: str) -> str:
    lost = lost_text(shown, units)
    if shown.finding in _LEAKS and shown.leak_certain and lost:
        return f"{shown.finding}: gas is lost, {lost}."
    return f"{finding_text(shown)}."


def _would_show(shown: BlanketShown, units: str) -> str:
    """The pressure of the same gas at the reference temperature: "at 15 °C the same gas would show 13 ± 1 kPa"."""
    if shown.compensated_kpa is None:
        return ""
    text = compensated_text(shown.compensated_kpa, shown.u_compensated_kpa, shown.reference_c, units)
    number, at, temperature = text.partition(" at ")
    return f"at {temperature} the same gas would show {number}" if at else text


def _sentence(words: str) -> str:
    return f" {with_capital(words)}." if words else ""


def _back_at(limit: EffectiveLimit, shown: BlanketShown, units: str) -> str:
    """At which temperature of the wine the gauge is back, by the straight line through what is known."""
    temperature_c, reference_c = shown.temperature_c, shown.reference_c
    raw_kpa, compensated_kpa = shown.raw_kpa, shown.compensated_kpa
    if temperature_c is None or reference_c is None or raw_kpa is None or compensated_kpa is None:
        return ""
    back_kpa = limit.setpoint + limit.deadband
    if abs(reference_c - temperature_c) < _LEAST_K or raw_kpa >= back_kpa:
        return ""
    slope = (compensated_kpa - raw_kpa) / (reference_c - temperature_c)
    if slope <= 0 or (warmer_k := (back_kpa - raw_kpa) / slope) > _MOST_K:
        return ""
    unit = unit_name("temperature", units)
    back = value_in_unit("temperature", temperature_c + warmer_k, unit)
    return f" The gauge is back in range once the wine is at about {back:.0f} {unit} again."


def _floor(shown: BlanketShown, units: str) -> str:
    """The air floor as it stands behind its name: " of 5 kPa"."""
    return (
        "" if shown.floor_kpa is None else f" of {value_text('pressure', shown.floor_kpa, units)}".replace(".0 ", " ")
    )
