"""The history of a vessel or a lot, as chart, table and JSON show it alike.

In reading order:

subject   which vessel or lot it is, and where its wine lay
span      from when to when, as a person or an address asks for it
answer    what a history holds, as columns
limits    the setpoints that were in force, from when to when
marks     entries and alarms on the time axis
panes     what was read, found and estimated, quantity by quantity
whole     all of it but the estimate
estimate  the estimate of SO2 as bands
rows      the same as a table
lines     the same as lines of CSV
"""
