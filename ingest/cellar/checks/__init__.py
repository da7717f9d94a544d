"""What must hold between the keys of a table and between tables, beyond what one key can say.

The registry in ``ingest.cellar.tables`` says which check belongs to which table. In reading order:

ids          each means one thing, and what is named exists
connections  broker, serial lines, mail, mirror, page
people       who gets messages on which channel, and that a high alarm wakes somebody
channels     which keys of a channel go together
heartbeat    it goes somewhere, by a broker that there is
places       cylinders and vessels
gas_lines    a cylinder and the vessels behind it
probes       where a probe is, what it measures, its signal
wiring       the topic, line or chip that brings a probe's numbers
due          limits on work that falls due
limit_form   which keys of a limit go together
limits       what a limit judges, and that it can clear again
"""
