"""Readings and entries from and for other programs. Values in, values out; the store's part is not here.

``ingest/store/readings/bulk_import.py`` and ``ingest/store/journal/entry_import.py`` write what is brought in. In
reading order:

moments      a time in a table
layout       which column means what
rows         rows become readings, or reasons why not
numbers      values become what the probe would have sent
csv_form     readings as a table
senml_form   readings as SenML
entry_lines  entries as lines of JSON, both ways
entry_table  entries as a table for a spreadsheet
result_table  a spreadsheet of results as entries
"""
