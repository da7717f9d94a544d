"""What must hold between the keys of a table and between tables, beyond what one key can say.

``ids`` (each means one thing, and what is named exists), ``connections`` (broker, mail, mirror, page, serial lines),
``places`` (cylinders and vessels), ``probes`` with ``wiring`` (how their numbers arrive), ``limits``. The registry in
``ingest.cellar.tables`` says which of them belongs to which table.
"""
