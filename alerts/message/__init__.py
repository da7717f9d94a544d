"""What is sent to a person: what it says, when it may go out, and that it arrives.

In reading order:

wording   a transition in plain words
hours     when a message may wake nobody
notices   several become one, and go into the outbox
outbox    what is due is tried, and tried again
mail      the channel
"""

from alerts.message.mail import MailChannel, try_login
from alerts.message.notices import Notifier
from alerts.message.outbox import Outbox
from alerts.message.wording import SHOWN_READINGS

__all__ = ["SHOWN_READINGS", "MailChannel", "Notifier", "Outbox", "try_login"]
