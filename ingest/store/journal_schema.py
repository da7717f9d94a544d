"""The journal's tables. docs/data.md explains them.

Entries, strikes and results are only ever added: triggers hold every program to it.
"""

from __future__ import annotations

__all__ = ["IDEMPOTENCY_SCHEMA", "JOURNAL_SCHEMA", "LOT_LOCATIONS_SCHEMA"]

_ONLY_ADDED = ("entry", "entry_place", "strike", "result")

JOURNAL_SCHEMA: tuple[str, ...] = (
    # What people wrote down. at_ms: when it happened; body: JSON by the kind's model in ingest/journal.
    """CREATE TABLE entry (
        id INTEGER PRIMARY KEY,
        kind TEXT NOT NULL,
        at_ms INTEGER NOT NULL,
        written_ms INTEGER NOT NULL,
        who TEXT NOT NULL,
        place TEXT,
        lot TEXT,
        body TEXT NOT NULL
    )""",
    "CREATE INDEX entry_by_time ON entry (at_ms, id)",
    "CREATE INDEX entry_of_lot ON entry (lot) WHERE lot IS NOT NULL",
    # Every place that an entry speaks of, as it was called when the entry was written.
    """CREATE TABLE entry_place (
        place TEXT NOT NULL,
        entry INTEGER NOT NULL REFERENCES entry (id),
        PRIMARY KEY (place, entry)
    ) WITHOUT ROWID""",
    # An entry is struck once. together_with: the entry whose strike or back-dating took this one along.
    """CREATE TABLE strike (
        id INTEGER PRIMARY KEY,
        entry INTEGER NOT NULL UNIQUE REFERENCES entry (id),
        at_ms INTEGER NOT NULL,
        who TEXT NOT NULL,
        reason TEXT NOT NULL,
        together_with INTEGER REFERENCES entry (id)
    )""",
    # Numbers that entries add to histories. They do not form a series and leave no row in `touched`: a reader asks for
    # them each time, since there are few, and a strike removes them at once. lot: only if the entry names it.
    """CREATE TABLE result (
        entry INTEGER NOT NULL REFERENCES entry (id),
        quantity TEXT NOT NULL,
        lot TEXT,
        vessel TEXT,
        at_ms INTEGER NOT NULL,
        value REAL NOT NULL,
        u REAL,
        PRIMARY KEY (entry, quantity)
    ) WITHOUT ROWID""",
    "CREATE INDEX result_by_quantity ON result (quantity, at_ms)",
    # What vessels held after an entry, so that no look folds the whole journal. Worked out; may be dropped at any time.
    # names: the renames of vessels that it was made with.
    """CREATE TABLE contents_snapshot (
        at_ms INTEGER NOT NULL,
        entry INTEGER NOT NULL,
        names TEXT NOT NULL,
        state TEXT NOT NULL,
        PRIMARY KEY (at_ms, entry)
    ) WITHOUT ROWID""",
    *(
        f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table}"
        f" BEGIN SELECT raise(ABORT, 'the journal is only added to'); END"
        for table in _ONLY_ADDED
        for act in ("UPDATE", "DELETE")
    ),
)

LOT_LOCATIONS_SCHEMA: tuple[str, ...] = (
    # Where lots lay, worked out from the entries; to_ms NULL: still there. The entries' numbers keep what happened in
    # one minute in order.
    """CREATE TABLE lot_stay (
        id INTEGER PRIMARY KEY,
        lot TEXT NOT NULL,
        vessel TEXT NOT NULL,
        from_ms INTEGER NOT NULL,
        from_entry INTEGER NOT NULL,
        to_ms INTEGER,
        to_entry INTEGER,
        share REAL
    )""",
    "CREATE INDEX lot_stay_of ON lot_stay (lot, vessel)",
    "CREATE INDEX lot_stay_from ON lot_stay (from_ms, from_entry)",
    "CREATE INDEX lot_stay_to ON lot_stay (to_ms, to_entry)",
    # One row once they were worked out: the renames of vessels that they were made with. Without it they do not count.
    "CREATE TABLE lot_stays_made (names TEXT NOT NULL)",
)

IDEMPOTENCY_SCHEMA: tuple[str, ...] = (
    # The key that a request came with, and the entries that it wrote. request: a digest of what it asked for.
    """CREATE TABLE idempotency_key (
        key TEXT NOT NULL,
        entry INTEGER NOT NULL REFERENCES entry (id),
        request TEXT NOT NULL,
        written_ms INTEGER NOT NULL,
        PRIMARY KEY (key, entry)
    ) WITHOUT ROWID""",
)
