"""What page, command and messages show alike.

status           every place as it stands
vessel_contents  what a vessel holds
racking_lines    a racking that was begun and not finished
mirror_lines     how far the mirror is
journal_lines    an entry of the journal
format           values, times and ages as people read them
"""
