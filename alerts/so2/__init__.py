"""From the journal and the probes to the SO2 of the wine in each vessel.

Begin with ``vessel_so2``, which page, command and limits ask. In reading order:

vessel_so2     the SO2 of each vessel's wine as of a time
wine_facts     what is known of one wine
wine_fold      the journal's entries, wine by wine
wine_readings  pH and temperature of a wine
histories      what is known of wines as the estimate takes it
limits         the default limits on the SO2 of wine
low_limits     the low limits that apply to a wine
band           the estimate over time
judge          free and molecular SO2 as judgements
vessel_total   the total SO2 of each vessel's wine as of a time
total_fold     the same entry by entry
vessel_dose    the dose for a vessel's wine
used_salt      what was dosed with last
total_judge    total SO2 as judgements
"""
