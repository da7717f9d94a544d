"""Alarms in the store.

alarm_record     where each limit stands, and every change of state
absences         when the owner is away, and who gets the messages instead
rings            test messages with a code, and whether it was said
operator_events  what people asked for, to be applied by the next turn
messages         the outbox: messages until a channel has taken them
held_messages    messages that wait to go out together, and whether a person is in a flood of alarms
"""
