"""A cellar of physics for the demo, the tests and the torture runs; it knows nothing of what judges it.

In reading order: ``physics`` (formulas with their sources), ``weather`` (the air of the room), ``vessel`` and
``cylinder`` (what stands in it), ``instrument`` (what a probe makes of a true value), ``cellar`` (all of it in one
time), ``wire`` (how the numbers are written), ``scenario`` (Mill Lane cellar and its last weeks), ``scenario_file``
(its cellar file); then the edge: ``rig`` (puts the numbers on the wire), ``broker``, ``mailbox`` and ``loopback``
(what a demo needs around it).
"""
