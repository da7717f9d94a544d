"""The heartbeat for another machine: sent only while leeside does its work, so that it is missed when that stops.

In reading order:

works   whether everything works that a heartbeat vouches for; pure
beats   the thread that sends it
"""
