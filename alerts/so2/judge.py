"""The judge of SO2: free and molecular SO2 of the wine in each vessel, for limits and for charts.

The estimate is arithmetic of numpy alone, and ten vessels with two years of entries take 50 ms (measured by
``tests/benchmarks/so2.py``), so it is worked out in the judge's own thread and needs no process of its own.
"""

from __future__ import annotations

__all__ = ["So2Judge", "done_of", "is_upper_bound", "titrated_of"]

from collections.abc import Iterable, Mapping, Sequence
from typing import Final, Literal

from alerts.so2.vessel_so2 import Titrated, VesselSo2, so2_at
from ingest.cellar import Cellar
from ingest.judgement import Judgement
from ingest.store import Store

# Remarks are for a card and a message: so many of them, and characters of each.
_MOST_REMARKS: Final = 6
_LONGEST_REMARK: Final = 300


class So2Judge:
    """Answers when the journal has changed, and every ten minutes: pH, temperature and time itself change slowly."""

    name: str = "so2"
    needs: frozenset[Literal["readings", "journal"]] = frozenset({"journal"})

    def judge(self, cellar: Cellar, store: Store, now_ms: int) -> Sequence[Judgement]:
        """Give free and molecular SO2 of each vessel with wine, each with what it rests on in its details."""
        return [judgement for so2 in so2_at(cellar, store, now_ms).values() for judgement in _judgements(so2)]


def _judgements(so2: VesselSo2) -> list[Judgement]:
    found, at_ms = so2.estimate, so2.at_ms
    details = _details(so2)
    # What nobody ever titrated is a guess, and no guess begins or ends an alarm.
    finding = "" if so2.last_titration is not None else "cannot tell yet"
    free = Judgement(
        so2.vessel,
        "free_so2",
        at_ms,
        found.free_mg_l,
        found.free_low_80_mg_l,
        found.free_high_80_mg_l,
        finding,
        so2.lot,
        details,
    )
    molecular = Judgement(
        so2.vessel,
        "molecular_so2",
        at_ms,
        found.molecular_mg_l,
        found.molecular_low_80_mg_l,
        found.molecular_high_80_mg_l,
        "no judgement" if found.molecular_mg_l is None else finding,
        so2.lot,
        {**details, "model": str(so2.pk.model), "pk": so2.pk.value},
    )
    return [free, molecular]


def _details(so2: VesselSo2) -> Mapping[str, object]:
    """What people see beside the numbers; ``titrated_of`` and ``done_of`` read it back."""
    return {
        "ph": None if so2.ph is None else round(so2.ph.ph, 3),
        "titrated": None if so2.last_titration is None else [*so2.last_titration],
        "done": [[kind, at_ms] for kind, at_ms in dict(so2.since_then_ms).items()],
        "remarks": [remark[:_LONGEST_REMARK] for remark in so2.remarks[:_MOST_REMARKS]],
    }


def titrated_of(details: Mapping[str, object]) -> Titrated | None:
    """Read the last titration from a judgement's details, None where there was none."""
    match details.get("titrated"):
        case [int(at_ms), int(mg_l) | float(mg_l), bool(upper_bound)]:
            return Titrated(at_ms, float(mg_l), upper_bound)
    return None


def is_upper_bound(judgements: Iterable[Judgement]) -> bool:
    """Whether what is judged of a vessel's free SO2 is at most so much, since its titration was an upper bound."""
    titrations = (titrated_of(judgement.details) for judgement in judgements if judgement.name == "free_so2")
    return any(titration is not None and titration.upper_bound for titration in titrations)


def done_of(details: Mapping[str, object]) -> list[tuple[str, int]]:
    """Read what was done since from a judgement's details: the last entry of each kind, with its time [UTC ms]."""
    found = []
    done = details.get("done")
    for each in done if isinstance(done, list) else []:
        match each:
            case [str(kind), int(at_ms)]:
                found.append((kind, at_ms))
    return found
