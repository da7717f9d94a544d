"""Judgements: from what is stored to a message, a page, a review.

Rooms in reading order: ``watch`` (limits, alarm states, the turn), ``message`` (wording, outbox, channels), ``page``,
``command`` (the ``leeside`` command); ``daemon`` is the scheduler.
"""
