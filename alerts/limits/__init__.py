"""Every limit that is watched now: those of the cellar file, and those that the journal gives.

In reading order:

due_feed    the journal as limits on work that falls due
limits_now  every limit that is watched now
"""
