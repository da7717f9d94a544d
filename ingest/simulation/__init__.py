"""A cellar of physics for the demo and the tests. It knows nothing of what judges it.

In reading order:

physics        formulas with their sources
weather        the air of the room
vessel         wine below, gas above, a wall around both
cylinder       a gas cylinder
instrument     what a probe makes of a true value
cellar         all of it, moved through one time
wire           how the probes write their numbers
scenario       Mill Lane cellar and its last weeks
scenario_file  its cellar file
scenario_journal  what its people wrote down

The edge, where numbers reach the wire:

rig            puts the numbers on the wire
demo_broker    an MQTT broker
mailbox        a mail server that delivers nothing
loopback       a free port

Many kegs at once, for trials of what judges them:

keg_trials     thousands of days of kegs with disturbances and leaks, as arrays
"""
