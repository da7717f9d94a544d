"""From a sample to a reading.

Begin with ``decode``. In reading order:

binding      what the cellar file says of a probe, in the terms of wire and store
decode       which probe takes a sample, and what reading it makes of it
onewire      the kernel's text of a one-wire thermometer
record_unit  a SenML unit becomes ours
steadiness   jumps, and probes that are stuck
file_scale   the scale that the cellar file gives to a probe
barometer    what the barometer takes off absolute and sealed sensors
"""
