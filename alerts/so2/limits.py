"""The default limits on the SO2 of wine: by the style that the journal gives it, and by the law of the site. Pure.

Each applies to a vessel that is known to hold wine, and is gone with the wine. A limit of the cellar file on the same
quantity replaces it. Below a style's molecular target wine is not protected; above the ceilings it is smelled. That all
of a style's target is not a pair of limits is on purpose: at pH 3.0 the free SO2 that a white should keep against
oxidation is more than its upper molecular target, and that wine is sound.
"""

from __future__ import annotations

__all__ = ["possible_so2_limits", "so2_limits"]

from collections.abc import Collection, Iterator, Mapping
from typing import Final

from alerts.wine.legal import LegalLimit, usual_legal_limit
from alerts.wine.targets import SENSORY_MOLECULAR_MG_L, most_free_mg_l, style_target
from ingest.cellar import ANY_LOT, USUAL, Cellar, EffectiveLimit, Hours, LimitKind, Priority, judged_id
from ingest.journal.said_of_wine import SaidOfWine
from ingest.journal.titration import Style

_LOW_QUANTITIES: Final = frozenset({"molecular_so2", "free_so2"})

_UNPROTECTED: Final = (
    "Too little SO2 is left to keep yeasts and bacteria down, and what oxygen the wine meets spoils it sooner."
)
_TITRATE_AND_DOSE: Final = (
    "Titrate free SO2 and write it down (leeside enter titration). If it is low indeed, leeside dose FILE {vessel} "
    "works out what to add."
)
_SMELLED: Final = "Above this wine is said to smell of SO2."
_WAIT: Final = (
    "Add none. Titrate once more to be sure: free SO2 falls by itself, so wait before you bottle or serve it."
)
_NOT_SOLD: Final = (
    "The law of {name} allows {total:g} mg/L for {wine} that is sold (as of {as_of}; no legal advice{so})."
)
_HAVE_IT_TESTED: Final = (
    "Add no more SO2. Determine the total by aeration, or have a laboratory do it, before the wine is sold."
)


def so2_limits(
    cellar: Cellar, said: Mapping[str, SaidOfWine], written: Collection[EffectiveLimit]
) -> dict[str, EffectiveLimit]:
    """Make the default limits on SO2, by key.

    said: of the wine in each vessel that is known to hold some; written: all limits of the file as they apply now.
    """
    replaced = {(limit.at, limit.quantity, limit.kind) for limit in written}
    # Who limits free SO2 instead of molecular, or the other way about, has said what the wine should keep.
    replaced |= {
        (at, other, kind)
        for at, quantity, kind in replaced
        if kind == "low" and quantity in _LOW_QUANTITIES
        for other in _LOW_QUANTITIES
    }
    ids = {vessel.id for vessel in cellar.vessel}
    return {
        limit.key: limit
        for vessel, of_wine in said.items()
        if vessel in ids
        for limit in _of_vessel(vessel, of_wine, cellar.site.legal_rules)
        if (limit.at, limit.quantity, limit.kind) not in replaced
    }


def possible_so2_limits(cellar: Cellar) -> dict[str, EffectiveLimit]:
    """Make the default limits on SO2 as they would be if every vessel held wine of which nothing is known, by key."""
    return so2_limits(cellar, {vessel.id: SaidOfWine() for vessel in cellar.vessel}, ())


def _of_vessel(vessel: str, said: SaidOfWine, rules: str) -> Iterator[EffectiveLimit]:
    style = None if said.style is None else Style(said.style)
    low_mg_l = style_target(style).molecular_low_mg_l
    action = _TITRATE_AND_DOSE.format(vessel=vessel)
    yield _limit(vessel, "molecular_so2", "low", low_mg_l, _UNPROTECTED, action, priority="medium", hours="waking")
    yield _limit(vessel, "molecular_so2", "high", SENSORY_MOLECULAR_MG_L, _SMELLED, _WAIT)
    yield _limit(vessel, "free_so2", "high", most_free_mg_l(style), _SMELLED, _WAIT)
    legal = usual_legal_limit(rules, style, said.sugar_g_l)
    if legal is not None:
        yield _limit(vessel, "total_so2", "high", legal.total_mg_l, _not_sold(legal), _HAVE_IT_TESTED)


def _not_sold(legal: LegalLimit) -> str:
    so = "".join(f"; {assumed}" for assumed in legal.assumed)
    rules = legal.rules
    return _NOT_SOLD.format(name=rules.name, total=legal.total_mg_l, wine=legal.wine, as_of=rules.as_of, so=so)


def _limit(
    vessel: str,
    quantity: str,
    kind: LimitKind,
    setpoint: float,
    consequence: str,
    action: str,
    *,
    priority: Priority = "low",
    hours: Hours = "digest",
) -> EffectiveLimit:
    usual = USUAL[quantity]
    return EffectiveLimit(
        key=f"{vessel}/{quantity}/{kind}",
        kind=kind,
        at=vessel,
        quantity=quantity,
        probe=judged_id(vessel, quantity),
        setpoint=setpoint,
        deadband=usual.deadband,
        on_delay_s=usual.on_delay_s,
        off_delay_s=usual.off_delay_s,
        priority=priority,
        hours=hours,
        consequence=consequence,
        action=action,
        unit_text="mg/L",
        origin="default",
        lot=ANY_LOT,
    )
