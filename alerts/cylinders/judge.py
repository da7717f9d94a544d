"""The judge of cylinders: how many days the content of each lasts, for limits, messages and charts.

The arithmetic is numpy's, of hourly means: see ``alerts.gas.cylinder_use``. The number that limits are judged by is the
lower end of the days, so that there is time to fetch another cylinder.
"""

from __future__ import annotations

__all__ = ["CylinderJudge"]

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final, Literal, NamedTuple

from alerts.cylinders.details import CylinderShown, cylinder_details
from alerts.cylinders.readings import CylinderReadings, ReadCylinder
from alerts.gas.cylinder_amounts import CylinderFacts, amounts_of, reserve_mol, weighed_amounts
from alerts.gas.cylinder_use import Amounts, CylinderUse, cylinder_use
from alerts.gas.gases import GASES, STANDARD_L_MOL
from ingest.cellar import Cellar, Cylinder
from ingest.journal.supply import Supply
from ingest.judgement import Judgement
from ingest.store import Store
from ingest.store.journal.supply_entries import supplies_inside

_HOUR_MS: Final = 3_600_000
# A kitchen or bathroom scale, where nobody says how well it weighs [kg] (common practice, no source).
_U_WEIGHT_KG: Final = 0.05
# A probe that reports seldom is not silent before three of its intervals, and none before two hours; hours are those of
# the clock, so the newest one may be an hour older.
_SILENT_INTERVALS: Final = 3.0
_SILENT_MS: Final = 2 * _HOUR_MS

_NOTHING_READ: Final = "nothing was read of it: give it a pressure probe, or write down what its gauge shows"
_NO_HOUR_YET: Final = "its content follows from means over an hour, and none of its gauge has been taken yet"
_SILENT: Final = "its gauge or its thermometer has been silent since then"
_UNMEASURED: Final = (
    "nothing measures its temperature, so it counts as 15 °C: a thermometer at it or in its room narrows the range"
)
_CO2: Final = (
    "the pressure of a carbon dioxide cylinder does not show its content as long as liquid is in it: weigh it, and "
    "write the weight down with the tare that it is stamped with"
)
_CO2_GAS_ONLY: Final = (
    "by its pressure no liquid is left in it, so it is nearly empty; a cold cylinder reads low, so weigh it to be sure"
)
_EARLY: Final = "its use is known once there are readings of a week"
_EARLY_WEIGHED: Final = "its use is known once it was weighed again after a week or more"
_COARSE: Final = "what is read of it does not show yet whether gas is drawn"


class _Known(NamedTuple):
    """A cylinder's amounts, from what they are known, and whether they are too old to judge by."""

    amounts: Amounts
    basis: Literal["pressure", "weight"]
    silent: bool = False


class CylinderJudge:
    """Answers when the journal has changed, and every ten minutes: what a cylinder holds changes slowly."""

    name: str = "cylinders"
    needs: frozenset[Literal["readings", "journal"]] = frozenset({"journal"})

    def judge(self, cellar: Cellar, store: Store, now_ms: int) -> Sequence[Judgement]:
        """Give the days left of each cylinder, each with what it rests on in its details."""
        if not cellar.cylinder:
            return ()
        with store.read() as connection:
            readings = CylinderReadings(cellar, store)
            read = {cylinder.id: readings.of(cylinder, now_ms) for cylinder in cellar.cylinder}
            supplies = supplies_inside(connection, cellar, now_ms)
            gauged = {probe.at for probe in cellar.probe if probe.quantity == "pressure"}
        return [
            _judgement(cylinder, read[cylinder.id], supplies, now_ms, has_gauge=cylinder.id in gauged)
            for cylinder in cellar.cylinder
        ]


def _judgement(
    cylinder: Cylinder, read: ReadCylinder, supplies: Mapping[str, Supply], now_ms: int, *, has_gauge: bool
) -> Judgement:
    facts = CylinderFacts(GASES[cylinder.gas], cylinder.water_volume_l, read.gauge, read.thermometer)
    newest = read.points[-1] if read.points else None
    shown = CylinderShown(
        gas=cylinder.gas,
        by_hand=read.every_s is None,
        raw_kpa=None if newest is None else newest.pressure_kpa,
        temperature_c=None if newest is None else newest.temperature_c,
        thermometer=read.thermometer,
        open_at=tuple(id for id, supply in supplies.items() if supply.cylinder == cylinder.id and supply.is_open),
    )
    known = _known(facts, read, now_ms)
    if known is None:
        nothing_read = _NO_HOUR_YET if has_gauge else _NOTHING_READ
        remark = _CO2 if cylinder.gas == "carbon dioxide" else nothing_read
        details = cylinder_details(replace(shown, remarks=(remark,)))
        return Judgement(cylinder.id, "cylinder_days_left", now_ms, None, finding="no judgement", details=details)
    newest_ms = int(known.amounts.at_ms[-1])
    use = cylinder_use(known.amounts, reserve_mol(facts, shown.temperature_c), max(now_ms, newest_ms))
    litres = use.mol * STANDARD_L_MOL
    shown = replace(
        shown,
        basis=known.basis,
        basis_ms=newest_ms,
        content_l=litres,
        u_content_l=use.u_mol * STANDARD_L_MOL,
        content_kg=use.mol / facts.gas.mol_per_kg,
        days_low=use.days_low,
        days_high=use.days_high,
        refilled_ms=use.refilled_ms,
    )
    if use.use is not None:
        rate = use.use
        shown = replace(
            shown,
            use_l_day=rate.mol_day * STANDARD_L_MOL,
            use_low_l_day=rate.low * STANDARD_L_MOL,
            use_high_l_day=rate.high * STANDARD_L_MOL,
            use_days=rate.days,
            use_seen=rate.seen,
        )
    if use.even_loss is not None:
        loss = use.even_loss
        shown = replace(shown, fast_l_day=loss.mol_day * STANDARD_L_MOL, fast_hours=loss.hours)
    details = cylinder_details(replace(shown, remarks=tuple(_remarks(facts, known, use))))
    finding = "no judgement" if known.silent else _finding(use, shown)
    return Judgement(
        cylinder.id,
        "cylinder_days_left",
        newest_ms if known.silent else now_ms,
        use.days_low,
        use.days_low,
        use.days_high,
        finding,
        details=details,
    )


def _known(facts: CylinderFacts, read: ReadCylinder, now_ms: int) -> _Known | None:
    """Find the amounts to judge by: those of the gauge, of carbon dioxide those of the scales.

    Where a carbon dioxide cylinder holds nothing but gas by what was read after it was weighed, its pressure counts.
    """
    is_carbon_dioxide = facts.gas.name == "carbon dioxide"
    by_pressure = None if is_carbon_dioxide and not facts.thermometer else amounts_of(facts, read.points)
    if is_carbon_dioxide:
        given = [weighing.u_kg for weighing in read.weighings if weighing.u_kg is not None]
        weighed = weighed_amounts(
            facts.gas,
            [(weighing.at_ms, weighing.content_kg) for weighing in read.weighings],
            max(given, default=_U_WEIGHT_KG),
        )
        newest_ms = -1 if weighed is None else int(weighed.at_ms[-1])
        if by_pressure is None or by_pressure.at_ms[-1] < max(newest_ms, read.points[-1].at_ms):
            return None if weighed is None else _Known(weighed, "weight")
    if by_pressure is None:
        return None
    silent = False
    if read.every_s is not None:
        patience_ms = max(_SILENT_MS, _SILENT_INTERVALS * read.every_s * 1000.0) + _HOUR_MS
        silent = now_ms - int(by_pressure.at_ms[-1]) > patience_ms
    return _Known(by_pressure, "pressure", silent)


def _finding(use: CylinderUse, shown: CylinderShown) -> str:
    if not use.told:
        return "cannot tell yet"
    return "supply open" if use.even_loss is not None and shown.open_at else ""


def _remarks(facts: CylinderFacts, known: _Known, use: CylinderUse) -> Iterator[str]:
    if known.silent:
        yield _SILENT
    if known.basis == "pressure" and facts.gas.name == "carbon dioxide":
        yield _CO2_GAS_ONLY
    if known.basis == "pressure" and not facts.thermometer:
        yield _UNMEASURED
    if use.use is None and not use.empty:
        yield _EARLY_WEIGHED if known.basis == "weight" else _EARLY
    elif not use.told:
        yield _COARSE
