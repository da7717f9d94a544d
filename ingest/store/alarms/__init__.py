"""Alarms in the store.

alarm_record     where each limit stands, and every change of state
operator_events  what people asked for, to be applied by the next turn
messages         the outbox: messages until a channel has taken them
"""
