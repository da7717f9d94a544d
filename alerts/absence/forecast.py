"""What falls short until a day: gas, SO2, work, cylinders. Pure: from judgements to sentences with times."""

from __future__ import annotations

__all__ = ["of_cylinder", "of_gas", "of_so2", "of_work", "ordered"]

import math
from collections.abc import Iterable
from typing import Final

from alerts.absence.safe_steps import AIRLOCK_STEP, GAUGE_STEP
from alerts.absence.shortfall import Shortfall, ShortfallKind
from alerts.blanket.details import BlanketShown
from alerts.cylinders.details import CylinderShown
from alerts.so2.vessel_so2 import VesselSo2
from alerts.view.due_lines import due_name
from alerts.watch.due import DueLimit
from ingest.cellar import NOT_FORESEEN_H

_HOUR_MS: Final = 3_600_000
_DAY_MS: Final = 86_400_000
_DO_NOT_KNOW: Final = frozenset({"cannot tell yet", "no judgement", "supply open", "settling"})
_CHARGE: Final = "Find the leak and close it, or bring the blanket back to its pressure within the stamp."
_LOOK_AGAIN: Final = "Wait until leeside can judge it before you leave, or leave the supply's number with your helper."


def of_gas(vessel: str, shown: BlanketShown, now_ms: int, until_ms: int) -> list[Shortfall]:
    """Say whether the gauge of a vessel falls below its air floor until then [UTC ms], by a leak or by the cold alone.

    Hours are counted from the reading that they rest on, as ``BlanketShown`` has them.
    """
    if shown.without_blanket:
        return []
    shortfalls = []
    earliest_ms = _after_hours(shown.at_ms, shown.hours_low)
    if earliest_ms is not None and earliest_ms <= until_ms:
        latest_ms = _after_hours(shown.at_ms, shown.hours_high)
        shortfalls.append(
            Shortfall(
                kind=ShortfallKind.GAS,
                place=vessel,
                words=f"{vessel} loses gas ({shown.finding}): the gauge falls below the air floor",
                earliest_ms=max(earliest_ms, now_ms),
                latest_ms=latest_ms,
                before=_CHARGE,
                helper=GAUGE_STEP,
            )
        )
    cold_ms = _after_hours(shown.at_ms, shown.hours_cold)
    if not shortfalls and cold_ms is not None and cold_ms <= until_ms:
        shortfalls.append(
            Shortfall(
                kind=ShortfallKind.GAS,
                place=vessel,
                words=f"{vessel} loses no gas, but in the cold its gauge falls below the air floor",
                earliest_ms=max(cold_ms, now_ms),
                latest_ms=None,
                before="Give the blanket a little more pressure, within the stamp, or keep the room warmer.",
                helper=GAUGE_STEP,
            )
        )
    if not shortfalls and shown.finding in _DO_NOT_KNOW:
        why = f", since {shown.missing} is missing" if shown.missing else ""
        shortfalls.append(
            Shortfall(
                kind=ShortfallKind.UNKNOWN,
                place=vessel,
                words=f"how long the gas in {vessel} lasts is not known: {shown.finding}{why}",
                earliest_ms=None,
                latest_ms=None,
                before=_LOOK_AGAIN,
            )
        )
    return shortfalls


def of_so2(so2: VesselSo2, now_ms: int, until_ms: int) -> list[Shortfall]:
    """Say whether the SO2 of a wine may fall below its low limit until then [UTC ms], with a chance of 1 in 10 or more.

    Where no low limit applies, nothing falls short; where no estimate of the moment can be made, that is said.
    """
    if not so2.limits:
        return []
    below = so2.estimate.below_limit
    if below is None:
        return [
            Shortfall(
                kind=ShortfallKind.UNKNOWN,
                place=so2.vessel,
                lot=so2.lot,
                words=f"when the SO2 of {_wine(so2)} falls too low is not known",
                earliest_ms=None,
                latest_ms=None,
                before="Titrate free SO2 and measure the pH, and write both down.",
            )
        ]
    if below.low_ms is None or below.low_ms > until_ms:
        return []
    how = "may be below its limit already" if below.low_ms <= now_ms else "may fall too low"
    return [
        Shortfall(
            kind=ShortfallKind.SO2,
            place=so2.vessel,
            lot=so2.lot,
            words=f"the SO2 of {_wine(so2)} {how}",
            earliest_ms=max(below.low_ms, now_ms),
            latest_ms=below.high_ms,
            before="Titrate free SO2 and dose what `leeside dose` works out. Titrate again a day later, before you "
            "leave.",
        )
    ]


def of_work(due: Iterable[DueLimit], now_ms: int, until_ms: int) -> list[Shortfall]:
    """List the work that falls due until then [UTC ms], or is due already."""
    return [
        Shortfall(
            kind=ShortfallKind.WORK,
            place=limit.at,
            lot=limit.lot,
            words=f"{due_name(limit)} {'is due' if fact.due_ms <= now_ms else 'falls due'}",
            earliest_ms=max(fact.due_ms, now_ms),
            latest_ms=max(fact.due_ms, now_ms),
            before=limit.action,
            helper=AIRLOCK_STEP if limit.quantity == "airlock" else "",
        )
        for limit, fact in due
        if fact.due_ms <= until_ms
    ]


def of_cylinder(cylinder: str, shown: CylinderShown, now_ms: int, until_ms: int) -> list[Shortfall]:
    """Say whether a cylinder comes to its reserve until then [UTC ms]."""
    if shown.days_low is None:
        if shown.content_l is not None:
            return []
        return [
            Shortfall(
                kind=ShortfallKind.UNKNOWN,
                place=cylinder,
                words=f"how much gas is in cylinder {cylinder} is not known",
                earliest_ms=None,
                latest_ms=None,
                before="Read its gauge, or weigh it, and write it down.",
            )
        ]
    basis_ms = shown.basis_ms if shown.basis_ms is not None else now_ms
    earliest_ms = basis_ms + round(shown.days_low * _DAY_MS)
    if earliest_ms > until_ms:
        return []
    latest = shown.days_high
    return [
        Shortfall(
            kind=ShortfallKind.CYLINDER,
            place=cylinder,
            words=f"cylinder {cylinder} comes down to its reserve",
            earliest_ms=max(earliest_ms, now_ms),
            latest_ms=None if latest is None or math.isinf(latest) else basis_ms + round(latest * _DAY_MS),
            before="Change it before you leave, or shut it if the vessels keep their blanket without it.",
        )
    ]


def ordered(shortfalls: Iterable[Shortfall]) -> list[Shortfall]:
    """Sort by when they may happen first; what is not known comes last."""
    return sorted(shortfalls, key=lambda each: (each.earliest_ms is None, each.earliest_ms or 0, each.place))


def _after_hours(at_ms: int, hours: float | None) -> int | None:
    return None if hours is None or hours >= NOT_FORESEEN_H else at_ms + round(hours * _HOUR_MS)


def _wine(so2: VesselSo2) -> str:
    return f"lot {so2.lot} in {so2.vessel}" if so2.lot else f"the wine in {so2.vessel}"
