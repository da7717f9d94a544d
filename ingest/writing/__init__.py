"""The daemon's loop: from samples to a commit, and the acknowledgements after it.

In reading order:

writer       gathers what the sources deliver, commits it, and only then acknowledges it
batch        from samples to what one commit holds
calm         how long a reading may wait for others
pace         how often probes read: which readings are too many, which numbers the broker had kept
board_clock  whether the board's clock can be believed, and what to do until then
clock_guard  the writer's turns under a clock that may be wrong
upkeep       settling, summaries, retention and pruning, a slice at a time

unstored_readings  what waits is handed on to alerts while the store takes nothing
"""
