"""A turn with the store at both ends.

Begin with ``turner``. What it is built from, in reading order:

reading_feed        stored readings, in the scales that hold now
judgement_queue     which places' judgements a turn takes, where many wait
judgement_feed      stored judgements as the readings that limits are judged by
rate_windows        what limits on a rate remember, after a restart
start_state         the state of the watch at a start
without_store       judging and sending while the store takes no writes
gap                 a gap in the watch: noticed, and reported with what is found
turn_reports        what a turn reports beside its alarms
message_background  the newest readings, the wine and the gas around, for messages
turner              the turn
"""
