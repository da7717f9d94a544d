"""Alarms, limits, and how alarms behaved.

alarm_lines    an open alarm
muted_lines    a limit that a person has muted
record_lines   a step of the alarm record
alarm_figures  how the alarms of a time behaved
figure_lines   these figures beside the targets of the standards
limit_lines    a limit and where it stands
"""
