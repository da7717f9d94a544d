"""``leeside import`` and ``leeside export``: readings, entries and results.

In reading order:

table_text       a table of text, opened and read row by row
import_readings  ``leeside import`` of readings
import_targets   which series the columns of an imported table belong to
import_entries   ``leeside import --entries``
import_results   ``leeside import --results``
export_entries   ``leeside export --entries``
"""
