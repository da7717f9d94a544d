"""The store: one SQLite file, one way to open it, one way to write it.

Reading order: ``connection`` (write), ``schema``, ``migrations`` and ``opening``; ``lock`` (one daemon of a role per
store); ``series`` (dated scales); ``fresh`` (appending readings); ``feed`` (what changed); ``history`` (reading back);
``unsent`` and ``unsent_entries`` (what the mirror has yet to send); ``cellar_history``; ``journal_schema``,
``entry_rows``, ``journal``, ``contents``, ``stays``, ``rackings``, ``hand_results``, ``names_now`` and
``entry_intake`` (what people wrote); ``strands``, ``past``, ``outline`` and ``bounds`` (the work behind
``ingest.history``); ``health`` and ``disk``; ``archive``, ``backup`` and ``restore``; ``pulse_rows`` (the pulses),
rejects); ``operator``, ``alarms``, ``messages`` (what alerts keeps here).
"""

from ingest.store.connection import Store
from ingest.store.opening import create_or_open, open_existing
from ingest.store.role_lock import RoleLock

__all__ = ["RoleLock", "Store", "create_or_open", "open_existing"]
