"""Judgements: from what is stored to an alarm, a message, a page, a command's answer.

Begin with ``turning``, where readings go in and alarms come out. In reading order:

allowed_range  the range that a number must be in
number_text    numbers as people read them
judgement_details  dataclasses as the details of a judgement, and back
wine           sulfur dioxide: molecular, doses, targets, legal limits
gas            gas over wine: amounts, pressure at another temperature, purging, moving, cylinders
so2            the journal and the probes as the SO2 of the wine in each vessel
blanket        the journal and the probes as the gas over the wine in each vessel
cylinders      the probes and the journal as what each gas cylinder holds and how long it lasts; the gas in a room
watch          limits, alarm states, the judgement of a turn
limits         every limit that is watched now
pictures       pictures for mails and sheets, drawn by a child process
judging        judges: slow judgements, worked out beside the turn
turning        a turn with the store at both ends
view           what page, command and messages show alike
operator_requests  what people ask about alarms, and what the running leeside makes of it
absence        while the owner is away: what falls short, what a helper can do
due_calendar   work that falls due as an iCalendar
kept_secret    secrets that leeside makes itself
ack_link       links that acknowledge an alarm
calendar_feed  the secret part of the address under which a phone's calendar finds it
review         what to know before wine is moved
message        wording, waking hours, outbox, mail
channels       the channels beside mail, and a thread for each
heartbeat      the regular report that leeside works, for another machine
backups        the daily backup
digests        the digest of the cellar, at the owner's hour
daemon         the scheduler and the outbox in one process
page           the web page
command        the ``leeside`` command
errors         the errors of this package
"""

import os

# Judges work with small matrices, beside other threads. Several threads for one matrix make them slower by many times
# on a small board, and numpy reads this only when it is imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
