"""Slow judgements, each in a thread of its own beside the turn.

In reading order:

judge    what a judge is
judges   the judges that work
threads  a thread for each judge
"""
