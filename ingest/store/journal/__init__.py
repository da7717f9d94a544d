"""The stored journal, and what is worked out from it.

In reading order:

entries            adding, striking and reading entries
entry_rows         rows of the tables as entries
renames            what places and probes that entries name are called now
journal_version    whether the journal changed
stored_ledger      what vessels hold at any time
amending           an entry in the place of another one
idempotency_keys   a request that is sent again writes nothing twice
supply_entries     where the gas supply is open
begun_rackings     rackings that were begun and not finished
vessel_use         which vessels are empty or being racked now
lot_location_rows  where lots lay
awaited_work_rows  when each work was done last
calibration_parts  what a calibration does to its probe's scale
ph_records         the calibrations of pH probes
hand_results       numbers that people found
entry_import       many entries at once: all of them or none
"""
