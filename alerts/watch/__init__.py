"""Limits to conditions, conditions to alarms: the judgement of a turn, pure.

Reading order: ``arrivals`` (what a turn is given), ``limit`` (the rule that a limit judges by), ``condition``,
``level`` (low and high limits), ``no_data`` (limits on silence), ``quieted`` (what the journal quiets), ``alarm_table``
(the states of IEC 62682 as data), ``alarm`` (one limit's alarm and what an event makes of it), ``book`` (all that lives
on from turn to turn, and its JSON), ``turn``.
"""

from alerts.watch.alarm import AlarmState, Transition
from alerts.watch.alarm_table import AlarmEvent, ImpossibleStep, State, Tells, next_state
from alerts.watch.condition import Condition
from alerts.watch.turn import TurnResult, Watch, step
from alerts.watch.turn_inputs import Now, OperatorEvent, WatchReading
from alerts.watch.watch_state import LimitRecord, WatchState, WatchStateUnreadable

__all__ = [
    "AlarmEvent",
    "AlarmState",
    "Condition",
    "ImpossibleStep",
    "LimitRecord",
    "Now",
    "OperatorEvent",
    "State",
    "Tells",
    "Transition",
    "TurnResult",
    "Watch",
    "WatchReading",
    "WatchState",
    "WatchStateUnreadable",
    "next_state",
    "step",
]
