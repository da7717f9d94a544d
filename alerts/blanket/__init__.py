"""From the store and the journal to the gas over the wine in each vessel, judged as readings come in.

In reading order:

setting          what the cellar file says of a vessel, its probes and the air around it
episodes         entries as episodes: what was done to the gas, and what is known since
stored_episodes  the same from the store
instruments      which series say how the gas is, those of former probes too
series_minutes   means over the minutes of a series, as its readings come
points           readings of the past as the points that the gas is judged by
vessel_watch     the watch over one vessel: points and episodes in, a judgement out
followed_vessel  one vessel as its readings come, and built from its history
shared_air       which vessels show each other the weather
cellar_watch     all vessels: follows the store
details          what a judgement carries for cards and messages
judged_rows      the numbers that limits are judged by
judge            the judge of gas
"""
