"""The mirror: what is stored, once more in a server that takes the InfluxDB v2 write protocol.

Reading order: ``points`` (readings and alarm changes as lines), ``entry_points`` (the journal as lines),
``store_lines`` (what the store holds, as lines); ``answers`` (what a server's answer calls for); ``delivery`` (a batch
that is halved, searched for its bad line, or put off); ``influx`` (the client library, imported only where a mirror is
set); ``standing`` (how the mirror does); ``sending``; ``backlog`` (readings that were put off), ``records`` (alarm
changes, entries, strikes); ``follower`` (the thread that follows the store); ``trial`` (whether the server would have
us). The store is the truth, the mirror a copy: it never holds up the writer, and it is never read.
"""
