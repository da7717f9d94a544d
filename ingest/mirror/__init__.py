"""The mirror: what is stored, once more in a server that takes the InfluxDB v2 write protocol.

The store is the truth, the mirror a copy: it never holds up the writer, and it is never read. Reading order:

encoder     what is stored, as lines of the line protocol
names       the names that the lines carry
client      what each reply calls for: a batch is taken, halved, searched for its bad line, or sent again later
influx      the client library, imported only where a mirror is set
follower    the thread. What it has yet to send is in ``ingest.store.mirror_queue``
check       whether the server would have us
"""
