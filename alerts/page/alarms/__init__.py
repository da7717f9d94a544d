"""The list of alarms, what is done about them and what happened to them; every limit.

In reading order:

alarm_routes   the alarms, and what is done about them
alarm_acts     what is asked for, written down for the next turn
alarm_api      the same for programs
record_routes  what happened to alarms
limit_routes   every limit, and where it stands
ack_routes     acknowledging by a link from a message
who            the name that a person gave last
"""
