"""The gas for purging, moving and the blanket afterwards, and whether the cylinders hold enough."""

from __future__ import annotations

__all__ = ["GasNeed", "gas_needs", "supply_section"]

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from alerts.allowed_range import AllowedRange
from alerts.errors import OutOfRange
from alerts.gas.gases import standard_l
from alerts.gas.stock import GasStock
from alerts.gas.wine_density import TEMPERATURE_RANGE
from alerts.review.amounts import gas_span
from alerts.review.fit import Fit
from alerts.review.moving import Move
from alerts.review.purging import PurgeChoice
from alerts.review.racking_facts import RackingFacts, RackingVessel, RackingWish
from alerts.review.section import ReviewSection, ReviewVerdict, worse_of
from alerts.view.gas.room_air_lines import rounded_l
from ingest.times import iso_utc_known

# The usual blanket of a keg, gauge [kPa] (common practice, no source), within this share of the stamp.
_BLANKET_KPA: Final = 55.0
_OF_STAMP: Final = 0.9
_BLANKET_RANGE: Final = AllowedRange("blanket", 0.0, 1000.0, "kPa", "a blanket has")
# A reading that is older says little of what is left [ms].
_OLD_MS: Final = 24 * 3_600_000
_DAY_MS: Final = 24 * 3_600_000
# So many times what is needed is enough for sure: a dial of class 2.5 is off by a few percent of a full cylinder, and
# hoses are purged too (a working default, no source).
_AMPLE: Final = 1.25


@dataclass(frozen=True, slots=True)
class GasNeed:
    """Gas for one step, L at 15 °C and 101.325 kPa: from that of the thriftiest choice to that of the dearest. gas: its
    name, "" where the cellar file names none.
    """

    what: str
    gas: str
    low_l: float
    high_l: float


def gas_needs(
    facts: RackingFacts,
    wish: RackingWish,
    into: Fit | None,
    choices: Sequence[PurgeChoice],
    ways: Sequence[Move],
) -> list[GasNeed]:
    """List what needs gas. into: None without a receiving vessel. Raises OutOfRange for a blanket that cannot be."""
    source, receiver = facts.source, facts.receiver
    into_gas = "" if receiver is None else receiver.gas
    needs = []
    purges = [choice.gas_l for choice in choices if choice.method != "none"]
    if receiver is not None and purges:
        needs.append(GasNeed(f"purging {receiver.id}", receiver.gas or source.gas, min(purges), max(purges)))
    moved = [way.transfer.gas_l for way in ways]
    if moved:
        verb = "pushing" if source.takes_pressure else "siphoning"
        needs.append(GasNeed(f"{verb} from {source.id}", source.gas or into_gas, min(moved), max(moved)))
    if receiver is not None and into is not None:
        kpa = _blanket_kpa(receiver, wish)
        if kpa > 0.0:
            celsius = TEMPERATURE_RANGE.nearest(facts.temperature_c)
            litres = standard_l(max(0.0, into.headspace_l), kpa, celsius)
            needs.append(GasNeed(f"a blanket of {kpa:g} kPa on {receiver.id}", receiver.gas, litres, litres))
    return needs


def supply_section(facts: RackingFacts, needs: Sequence[GasNeed]) -> ReviewSection:
    """Judge whether the cylinders hold enough of each gas, for the dearest choice."""
    lines = [f"{need.what}: {gas_span(need.low_l, need.high_l)}{_of(need.gas)}" for need in needs]
    low_l, high_l = sum(need.low_l for need in needs), sum(need.high_l for need in needs)
    reasons, verdict, cylinders = [], ReviewVerdict.IN_ORDER, []
    for gas in dict.fromkeys(need.gas for need in needs):
        of_gas = sum(need.high_l for need in needs if need.gas == gas)
        stocks = _stocks(facts, gas)
        found, reason = _judged(facts, gas, of_gas, stocks)
        verdict = worse_of(verdict, found)
        reasons.append(reason)
        lines += [_stock_line(facts, stock) for stock in stocks]
        cylinders += [_stock_json(stock, gas, of_gas) for stock in stocks]
    if facts.receiver is not None and facts.receiver.gas and facts.receiver.gas != facts.source.gas != "":
        verdict = worse_of(verdict, ReviewVerdict.TAKE_CARE)
        reasons.append(
            f"{facts.source.id} is under {facts.source.gas}, {facts.receiver.id} under {facts.receiver.gas}."
        )
    lines.append("Litres of gas are at 15 °C and 101.325 kPa. The wine dissolves some more in the days that follow.")
    numbers: dict[str, object] = {
        "needs": [
            {"for": need.what, "gas": need.gas or None, "low_l": need.low_l, "high_l": need.high_l} for need in needs
        ],
        "gas_low_l": low_l,
        "gas_high_l": high_l,
        "cylinders": cylinders,
    }
    if not needs:
        reasons.append("Nothing is known of how much gas it takes.")
        verdict = ReviewVerdict.NOT_KNOWN
    return ReviewSection("supply", "Gas", verdict, " ".join(reasons), tuple(dict.fromkeys(lines)), numbers)


def _blanket_kpa(receiver: RackingVessel, wish: RackingWish) -> float:
    """The blanket that the wine is to lie under; a usual one only on what is kept under gas and has a stamp."""
    stamp_kpa = receiver.stamp_kpa
    if wish.blanket_kpa is None:
        usual = receiver.takes_pressure and receiver.gas != "" and stamp_kpa is not None
        return min(_BLANKET_KPA, _OF_STAMP * (stamp_kpa or 0.0)) if usual else 0.0
    kpa = _BLANKET_RANGE.checked(wish.blanket_kpa)
    if kpa > 0.0 and not receiver.takes_pressure:
        raise OutOfRange("blanket", f"{receiver.id} must never be put under pressure: its blanket is 0 kPa")
    if stamp_kpa is not None and kpa > stamp_kpa:
        raise OutOfRange("blanket", f"{kpa:g} kPa is more than the {stamp_kpa:g} kPa stamped on {receiver.id}")
    return kpa


def _stocks(facts: RackingFacts, gas: str) -> list[GasStock]:
    """The cylinders of a gas: those that a gas line joins to the vessels, else all; any where no gas is named."""
    vessels = {each.id for each in (facts.source, facts.receiver) if each is not None}
    of_gas = [stock for stock in facts.cylinders if gas in ("", stock.gas.name)]
    joined = [stock for stock in of_gas if any((stock.place, vessel) in facts.lines for vessel in vessels)]
    return joined or of_gas


def _judged(facts: RackingFacts, gas: str, need_l: float, stocks: Sequence[GasStock]) -> tuple[ReviewVerdict, str]:
    name = gas or "gas"
    if not stocks:
        return (
            ReviewVerdict.NOT_KNOWN,
            f"It takes up to {rounded_l(need_l):,} L of {name}, and the cellar file has no cylinder of it.",
        )
    known = [(stock.usable_l, stock) for stock in stocks if stock.usable_l is not None]
    if not known:
        how = "weigh it" if all(stock.gas.name == "carbon dioxide" for stock in stocks) else "read its gauge"
        names = " or ".join(stock.place for stock in stocks)
        return (
            ReviewVerdict.NOT_KNOWN,
            f"It takes up to {rounded_l(need_l):,} L of {name}; what {names} holds is not known: {how}, and write it "
            "down (leeside enter measurement).",
        )
    usable_l, best = max(known, key=lambda pair: pair[0])
    can = f"{best.place} can deliver {rounded_l(usable_l):,} L of {best.gas.name} while its regulator holds"
    if usable_l < need_l:
        return (
            ReviewVerdict.DO_NOT,
            f"The gas does not suffice: up to {rounded_l(need_l):,} L are needed, and {can}. Have another "
            "cylinder ready.",
        )
    if usable_l < _AMPLE * need_l:
        return (
            ReviewVerdict.TAKE_CARE,
            f"The gas barely suffices: up to {rounded_l(need_l):,} L are needed, and {can}; gauges, scales and leaks "
            "take more than that leaves. Have another cylinder ready.",
        )
    old = best.at_ms is not None and facts.at_ms - best.at_ms > _OLD_MS
    age = f", by a number that is {(facts.at_ms - (best.at_ms or 0)) // _DAY_MS} d old: read it again" if old else ""
    return (
        ReviewVerdict.TAKE_CARE if old else ReviewVerdict.IN_ORDER,
        f"There is enough gas: up to {rounded_l(need_l):,} L are needed, and {can}{age}.",
    )


def _stock_line(facts: RackingFacts, stock: GasStock) -> str:
    if stock.basis == "full":
        return f"{stock.place}: not known; full it would hold {rounded_l(stock.litres):,} L of {stock.gas.name}"
    how = "weighed" if stock.basis == "weight" else "by pressure and temperature"
    if stock.basis == "pressure" and not stock.temperature_known:
        how = "by pressure, taken as 15 °C, since nobody measured that"
    age_ms = facts.at_ms - (stock.at_ms or facts.at_ms)
    when = f", {age_ms // _DAY_MS} d ago" if age_ms > _OLD_MS else ""
    return f"{stock.place}: {rounded_l(stock.litres):,} L of {stock.gas.name}, {how}{when}"


def _stock_json(stock: GasStock, gas: str, need_l: float) -> dict[str, object]:
    return {
        "id": stock.place,
        "gas": stock.gas.name,
        "for_gas": gas or None,
        "content_l": None if stock.basis == "full" else stock.litres,
        "usable_l": stock.usable_l,
        "known_by": None if stock.basis == "full" else stock.basis,
        "read_at": iso_utc_known(stock.at_ms),
        "temperature_known": stock.temperature_known,
        "enough": None if stock.usable_l is None else stock.usable_l >= need_l,
    }


def _of(gas: str) -> str:
    return f" of {gas}" if gas else ""
