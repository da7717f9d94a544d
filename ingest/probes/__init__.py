"""From a sample to a reading.

Reading order: ``reading`` (number, time, quality), ``signal`` with ``platinum`` (mA, V and ohm to what the label
means), ``record_unit`` (SenML's units to ours), ``onewire`` (what the files of one-wire thermometers say), ``scale``
(what turns the number into our unit), ``taking`` (which probe takes a sample and what it makes of it).
"""
