"""What was dosed with last: the salt, and the stock solution if it came out of one."""

from __future__ import annotations

__all__ = ["salt_used_last"]

from alerts.so2.vessel_dose import StockSolution
from ingest.journal.kinds.addition import AdditionBody
from ingest.store import Store
from ingest.store.journal.entry_rows import entry_of, unstruck


def salt_used_last(store: Store, now_ms: int) -> tuple[str, StockSolution | None]:
    """Find the salt that was added last by now_ms [UTC ms], potassium where none was, and the stock solution if one was
    used. Call inside ``store.read()``.
    """
    rows = store.connection.execute(unstruck("kind = 'addition' AND at_ms <= ?"), (now_ms,))
    additions = [
        (entry.at_ms, entry.body)
        for entry in map(entry_of, rows)
        if isinstance(entry.body, AdditionBody) and entry.body.salt is not None
    ]
    if not additions:
        return "potassium", None
    at_ms, body = max(additions, key=lambda addition: addition[0])
    strength = body.stock_g_per_100_ml
    return body.salt or "potassium", None if strength is None else StockSolution(strength, at_ms)
