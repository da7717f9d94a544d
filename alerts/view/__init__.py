"""What page, command and messages show alike.

Beside ``status`` and ``format``, each file shows one thing: lines for people and, where programs read it, an object for
JSON.

status           the cellar at one moment
format           values, times and durations as people read them
alarms           alarms, limits, and how alarms behaved
gas              the gas over wine, in cylinders and in rooms
due_lines        work that is due
vessel_contents  what a vessel holds
places           vessels and other places of the cellar
reading_lines    the newest reading of a probe
so2              sulfur dioxide: what a wine holds, and doses
entries          entries of the journal: asked for, and read
racking_lines    a racking that was begun and not finished
judge_lines      a judge that fails
mirror_lines     how far the mirror is
absence_lines    when the owner is away, and who gets the messages
own_state        how leeside's own parts are
ring_lines       test messages that nobody has confirmed
mail_lines       what became of mail that has not gone out
history          the history of a vessel or a lot
"""
