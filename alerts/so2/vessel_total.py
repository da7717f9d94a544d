"""The total SO2 of the wine in each vessel as of a time, beside what was titrated, and held against the law."""

from __future__ import annotations

__all__ = ["VesselTotal", "totals_at", "totals_inside"]

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

from alerts.so2.total_fold import TotalFacts, TotalFold
from alerts.wine.dose_outlook import usual_u_so2
from alerts.wine.legal import LegalLimit, LegalVerdict, legal_verdict, usual_legal_limit
from ingest.cellar import Cellar
from ingest.journal.said_of_wine import SaidOfWine, said_of_wines
from ingest.journal.titration import Style
from ingest.journal.vessel_state import VesselState
from ingest.journal.wine import So2Value
from ingest.store import Store
from ingest.store.journal.stored_ledger import equipment_of, load_ledger

# More is a slip of the pen, with its own warning when it was written [mg/L].
_MOST_MG_L: Final = 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class VesselTotal:
    """The total SO2 of a vessel's wine, as the journal has it at a time [UTC ms].

    said: what the journal says of the wine; total: titrated, or worked out from what was
    titrated, added and mixed since, None where that is not known; u_mg_l: its standard uncertainty [mg/L]; least_mg_l:
    what was found and added makes at least so much [mg/L]; found: the newest titration of the total; since_then: kinds
    of entries since then that changed it, each once; legal: None where the site has no rule set; verdict: the total, or
    what it is at least, against it, None where that says nothing.
    """

    vessel: str
    said: SaidOfWine
    at_ms: int
    total: So2Value | None
    u_mg_l: float
    least_mg_l: float
    found: So2Value | None
    since_then: tuple[str, ...]
    legal: LegalLimit | None
    verdict: LegalVerdict | None

    @property
    def must_declare(self) -> bool | None:
        """Whether the label has to name sulfites, None where that cannot be said."""
        if self.legal is None:
            return None
        known_mg_l = self.least_mg_l if self.total is None else self.total.mg_l
        said = self.legal.rules.must_declare(min(known_mg_l, _MOST_MG_L))
        return None if self.total is None and not said else said

    @property
    def remarks(self) -> tuple[str, ...]:
        """List what a person should know about it."""
        if self.total is None:
            never = self.found is None
            why = "nobody titrated it" if never else "wine or SO2 of unknown amount came in since"
            known = "were added" if never else "are left of what was titrated and added"
            at_least = f": at least {self.least_mg_l:.0f} mg/L {known}" if self.least_mg_l >= 0.5 else ""
            return (f"the total SO2 is not known, since {why}{at_least}",)
        if self.total.mixed:
            return ("the total SO2 is worked out: what the wine lost on the way is not taken off, so it may have less",)
        return ()


def totals_at(
    cellar: Cellar, store: Store, at_ms: int, vessels: Collection[str] | None = None
) -> dict[str, VesselTotal]:
    """Work out the total SO2 in vessels as of a time [UTC ms], by default in all; those without wine are left out."""
    with store.read():
        return totals_inside(cellar, store, at_ms, vessels)


def totals_inside(
    cellar: Cellar, store: Store, at_ms: int, vessels: Collection[str] | None = None
) -> dict[str, VesselTotal]:
    """``totals_at`` inside a ``store.read()`` of the caller's."""
    ledger = load_ledger(store.connection, equipment_of(store.connection, cellar, at_ms), to_ms=at_ms)
    fold, said = TotalFold(ledger), said_of_wines(ledger, at_ms)
    chosen = [vessel for vessel in sorted({*fold.facts, *said}) if vessels is None or vessel in vessels]
    return {
        vessel: _total(
            vessel,
            fold.states.get(vessel),
            fold.facts.get(vessel, TotalFacts()),
            said.get(vessel, SaidOfWine()),
            cellar.site.legal_rules,
            at_ms,
        )
        for vessel in chosen
    }


def _total(
    vessel: str,
    state: VesselState | None,
    facts: TotalFacts,
    said: SaidOfWine,
    rules: str,
    at_ms: int,
) -> VesselTotal:
    # Of a vessel of which the journal does not say what is in it, what was titrated is all that is known.
    total = facts.found if state is None or not state.known else state.wine.total
    if total is not None and total.mg_l > _MOST_MG_L:
        total = total._replace(mg_l=_MOST_MG_L)
    u_mg_l = 0.0 if total is None else usual_u_so2(total.mg_l) if total.u_mg_l is None else total.u_mg_l
    legal = usual_legal_limit(rules, None if said.style is None else Style(said.style), said.sugar_g_l)
    return VesselTotal(
        vessel=vessel,
        said=said,
        at_ms=at_ms,
        total=total,
        u_mg_l=u_mg_l,
        least_mg_l=facts.least_mg_l,
        found=facts.found,
        since_then=tuple(dict.fromkeys(kind for kind, _ in facts.since)),
        legal=legal,
        verdict=_verdict(total, u_mg_l, facts.least_mg_l, legal),
    )


def _verdict(total: So2Value | None, u_mg_l: float, least_mg_l: float, legal: LegalLimit | None) -> LegalVerdict | None:
    if legal is None:
        return None
    if total is not None:
        return legal_verdict(total.mg_l, min(u_mg_l, _MOST_MG_L), legal)
    # What is at least in it decides only where that is too much already.
    least = legal_verdict(min(least_mg_l, _MOST_MG_L), usual_u_so2(least_mg_l), legal)
    return least if least.above else None
