"""Limits to conditions, conditions to alarms: the judgement of a turn, pure.

In reading order:

turn_inputs          what a turn is given
good_run             readings that can be judged as a whole
limit                the rule that a limit judges by
condition            what a limit says at a moment
level                low and high limits
change_window        how much a value has changed within a time
rate                 limits on the rate of change
due                  limits on work that falls due
no_data              limits on silence and on bad measurement
probe_clock          which time a reading is judged by when its probe's clock is wrong
own_limits           limits on leeside itself, and how messages speak of them
applied_limits       which limits apply now, those on wine among them
own_health           which parts of leeside are well
journal_suppression  limits that the journal quiets
alarm_table          the states of IEC 62682 as data
chatter              an alarm that comes and goes again and again
chatter_advice       what would end a chatter
shelving             for how long a person may mute a limit, and until when it is
alarm                one limit's alarm, and what an event makes of it
agenda               what needs a look although nothing new came
watch_state          what lives on from turn to turn, and its JSON
open_turn            the working state of one turn
operating            what a person asks for about an alarm
suppression          alarms that are suppressed by design
room_silence         whether probes of a room fell silent together
silences             silences that run out
turn                 the turn
"""

from alerts.watch.alarm import AlarmState, Transition
from alerts.watch.alarm_table import AlarmEvent, ImpossibleStep, Occasion, State, next_state
from alerts.watch.condition import Condition
from alerts.watch.turn import TurnResult, Watch
from alerts.watch.turn_inputs import Now, TurnInputs, WatchReading
from alerts.watch.watch_state import LimitRecord, NewestReading, WatchState, WatchStateUnreadable

__all__ = [
    "AlarmEvent",
    "AlarmState",
    "Condition",
    "ImpossibleStep",
    "LimitRecord",
    "NewestReading",
    "Now",
    "Occasion",
    "State",
    "Transition",
    "TurnInputs",
    "TurnResult",
    "Watch",
    "WatchReading",
    "WatchState",
    "WatchStateUnreadable",
    "next_state",
]
