"""What is sent to a person: what it says, when it may go out, and that it arrives.

Reading order: ``wording`` (a transition in plain words), ``gather`` (several become one), ``hours`` (when a message
may wake nobody), ``retry`` (how long to wait), ``outbox`` (the queue's work and its contract with the store),
``mail`` (the channel).
"""

from alerts.message.hours import earliest
from alerts.message.mail import MailChannel, build_mail, send, stable_message_id
from alerts.message.outbox import Delivered, DeliveryFailure, Outbox, OutboxStore, StoredMessage
from alerts.message.turn_digest import Notice, combine, gather
from alerts.message.wording import CellarView, MessageText, ShownReading, compose, view_of

__all__ = [
    "CellarView",
    "Delivered",
    "DeliveryFailure",
    "MailChannel",
    "MessageText",
    "Notice",
    "Outbox",
    "OutboxStore",
    "ShownReading",
    "StoredMessage",
    "build_mail",
    "combine",
    "compose",
    "earliest",
    "gather",
    "send",
    "stable_message_id",
    "view_of",
]
