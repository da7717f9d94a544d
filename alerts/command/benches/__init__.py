"""``leeside bench``: arithmetic without a cellar. A file for each command of the group.

In reading order:

answer         how ``leeside bench`` reads numbers and prints its answer
signal         ``leeside bench signal``
pt100          ``leeside bench pt100``
pressure       ``leeside bench pressure``
titration      ``leeside bench titration``
molecular      ``leeside bench molecular`` and ``leeside bench free-needed``
dose           ``leeside bench dose``
calibrate_ph   ``leeside bench calibrate-ph``
blanket        ``leeside bench blanket``
leak           ``leeside bench leak``
blanket_table  its table of readings
purge          ``leeside bench purge``
moving_answer  what ``leeside bench push`` and ``leeside bench siphon`` print alike
push           ``leeside bench push``
siphon         ``leeside bench siphon``
cylinder       ``leeside bench cylinder``
room           ``leeside bench room``
"""
