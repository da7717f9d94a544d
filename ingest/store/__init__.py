"""The store: one SQLite file, one way to open it, one way to write it.

Begin with ``connection`` (an open store, and how it is written) and ``opening`` (how it is opened). The subjects have
packages of their own: ``readings``, ``journal`` (what people wrote), ``alarms`` (what alerts keeps here) and
``backup``. In reading order:

connection      an open store, and the one way to write it
store_files     whether the open files are still those at the store's path
opening         creating and opening the file
schema          the tables as first released
journal_schema  the tables of the journal
migrations      what later versions changed in them
role_lock       one daemon of a role for each store
trouble         why the store takes no writes, asked from outside
change_feed     which readings changed, and the cursors of what follows it
readings        from fresh readings to packed days, summaries and history
journal         entries, and what is worked out from them
alarms          limits, changes of alarms, operator events, messages
judgements      what was worked out aside, newest and hour by hour
mirror_queue    what the mirror has yet to send
pulse_rows      the pulses of the daemons
rejects         samples that could not be read, counted
cellar_files    each cellar file that ran, with its time
health          whether a store is whole, and what it holds
disk_space      how much of its disk is free
backup          backups, and the way back
"""

from ingest.store.connection import Store
from ingest.store.opening import create_or_open, open_existing
from ingest.store.role_lock import RoleLock

__all__ = ["RoleLock", "Store", "create_or_open", "open_existing"]
