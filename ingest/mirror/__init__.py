"""The mirror: what is stored, once more in a server that takes the InfluxDB v2 write protocol.

The store is the truth and the mirror a copy: it never holds up the writer, and leeside never reads it. What is yet to
be sent is in ``ingest.store.mirror_queue``. In reading order:

encoder        what is stored, as lines of the line protocol
names          the names that the lines carry
reply          a reply of the server, as far as it matters
client         what a reply calls for: the batch is done, halved, searched for its bad line, or sent again later
influx         the client library, imported only where a mirror is set
short_replies  what the client library reads of a reply
follower       the thread
check          whether the server would take what we send
"""
