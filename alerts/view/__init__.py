"""What page, command and messages show alike.

Begin with ``status``, the cellar at one moment, and ``format``: values, times and durations as people read them. The
other files each show one thing, as lines for people and, where programs read it, as an object for JSON:
``alarm_lines``, ``vessel_contents``, ``racking_lines``, ``journal_lines`` and ``mirror_lines``.
"""
