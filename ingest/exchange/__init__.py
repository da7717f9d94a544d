"""Readings and entries from and for other programs: what people bring along, and the forms in which they take theirs.

In reading order: ``moments`` (a time in a table), ``layout`` (which column means what), ``rows`` (rows become readings
or reasons), ``numbers`` (values become what the probe would have said), ``csv_form`` and ``senml_form`` (the way out);
``entry_lines`` (entries of the journal as lines, both ways) and ``entry_table`` (for a spreadsheet). All of it takes
values and returns values; ``ingest/store/readings/bulk_import.py`` and ``ingest/store/journal/entry_import.py`` write.
"""
