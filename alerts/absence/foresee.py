"""The forecast of an absence, from the cellar file and the store."""

from __future__ import annotations

__all__ = ["foresee"]

from alerts.absence.forecast import of_cylinder, of_gas, of_so2, of_work, ordered
from alerts.absence.shortfall import Shortfall
from alerts.limits.due_feed import due_limits_at
from alerts.so2.vessel_so2 import so2_inside
from alerts.view.gas.blanket_lines import blanket_of
from alerts.view.gas.cylinder_lines import cylinder_of
from ingest.cellar import Cellar
from ingest.store import Store
from ingest.store.journal.stored_ledger import contents_inside
from ingest.store.judgements import newest_judgements


def foresee(cellar: Cellar, store: Store, now_ms: int, until_ms: int) -> list[Shortfall]:
    """List what falls short from now until then [UTC ms], first what may come first; call inside ``store.read()``.

    Gas and cylinders as leeside judged them last, SO2 and work as the journal has them. A vessel that is known to be
    empty is left out.
    """
    judgements = newest_judgements(store)
    contents = contents_inside(store.connection, now_ms, cellar)
    shortfalls: list[Shortfall] = []
    for vessel in cellar.vessel:
        holds = contents.get(vessel.id)
        if holds is not None and holds.empty:
            continue
        shown = blanket_of((each for each in judgements if each.place == vessel.id), now_ms)
        if shown is not None:
            shortfalls += of_gas(vessel.id, shown, now_ms, until_ms)
    for so2 in so2_inside(cellar, store, now_ms).values():
        shortfalls += of_so2(so2, now_ms, until_ms)
    shortfalls += of_work(due_limits_at(cellar, store.connection, now_ms).values(), now_ms, until_ms)
    for cylinder in cellar.cylinder:
        held = cylinder_of((each for each in judgements if each.place == cylinder.id), now_ms)
        if held is not None:
            shortfalls += of_cylinder(cylinder.id, held, now_ms, until_ms)
    return ordered(shortfalls)
