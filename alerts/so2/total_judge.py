"""The judge of total SO2: that of the wine in each vessel, for limits and for charts."""

from __future__ import annotations

__all__ = ["TotalJudge"]

from collections.abc import Sequence
from typing import Final, Literal

from alerts.so2.vessel_total import VesselTotal, totals_at
from ingest.cellar import Cellar
from ingest.judgement import Judgement
from ingest.store import Store
from ingest.times import iso_utc

# 80 % of a normal distribution is within so many standard deviations.
_Z_80: Final = 1.2816


class TotalJudge:
    """Answers when the journal has changed, and every ten minutes."""

    name: str = "total"
    needs: frozenset[Literal["readings", "journal"]] = frozenset({"journal"})

    def judge(self, cellar: Cellar, store: Store, now_ms: int) -> Sequence[Judgement]:
        """Give the total SO2 of each vessel with wine of which something is known."""
        totals = totals_at(cellar, store, now_ms).values()
        return [_judgement(total) for total in totals if total.total is not None or total.least_mg_l > 0.0]


def _judgement(total: VesselTotal) -> Judgement:
    known = total.total
    value = total.least_mg_l if known is None else known.mg_l
    details: dict[str, object] = {
        "titrated_at": None if total.found is None else iso_utc(total.found.at_ms),
        "titrated_mg_l": None if total.found is None else total.found.mg_l,
        "at_least": known is None,
        "since_then": list(total.since_then),
        "legal": None if total.legal is None else total.legal.rules.id,
        "remarks": list(total.remarks),
    }
    return Judgement(
        total.vessel,
        "total_so2",
        total.at_ms,
        value,
        value if known is None else max(0.0, value - _Z_80 * total.u_mg_l),
        None if known is None else value + _Z_80 * total.u_mg_l,
        _finding(total),
        total.said.lot,
        details,
    )


def _finding(total: VesselTotal) -> str:
    verdict = total.verdict
    if verdict is None:
        return "" if total.total is not None else "no judgement"
    return "" if verdict.told_apart else "cannot be told apart from the legal limit"
