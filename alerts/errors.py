"""The errors of alerts.

AlertsError                what happened, with which value, what is allowed, what to do next
├── NoAnswer               the running leeside did not take up what was asked of it in time
├── UnknownLimit           no alarm and no limit has the name that a person wrote
├── ShelvingRefused        a limit cannot be muted in the way that was asked
├── DoseRefused            a dose that would be a guess, or does harm: what is missing, or speaks against it
├── NotWritten             the person at the terminal did not want an entry written, or left
├── ReviewRefused          a review that nothing can be said in: there is no wine
├── HistoryRefused         a history of what is not there, or of a span of time that cannot be
├── OutOfRange             a number outside the range that arithmetic holds for; names what it is of
├── LinkRefused            a link that acknowledges is not one of ours, or too old
├── PictureFailed          a picture could not be drawn in the time and memory that it may take
└── MissingPart            a part that is installed apart, such as the demo's, is not there
"""

from __future__ import annotations

__all__ = [
    "AlertsError",
    "DoseRefused",
    "HistoryRefused",
    "LinkRefused",
    "MissingPart",
    "NoAnswer",
    "NotWritten",
    "OutOfRange",
    "PictureFailed",
    "ReviewRefused",
    "ShelvingRefused",
    "UnknownLimit",
]


class AlertsError(Exception):
    """Root of everything that alerts raises on purpose; its text is fit to be shown to a person."""


class NoAnswer(AlertsError):
    """The running leeside did not answer in time."""


class UnknownLimit(AlertsError):
    """Nothing has the name that a person wrote; the text may name what is meant."""


class ShelvingRefused(AlertsError):
    """A limit cannot be muted in this way.

    about: what is wrong: "limit", "why" or "span".
    """

    def __init__(self, text: str, *, about: str) -> None:
        super().__init__(text)
        self.about = about


class DoseRefused(AlertsError):
    """A dose would be a guess, or do harm; nothing was worked out."""


class ReviewRefused(AlertsError):
    """There is nothing to review; the text says why."""


class PictureFailed(AlertsError):
    """A picture was not drawn; the text says why."""


class LinkRefused(AlertsError):
    """A link is not good for what it is used for; the text says why."""


class HistoryRefused(AlertsError):
    """What a history was asked of, or for, is not there; the text says what is allowed."""


class MissingPart(AlertsError):
    """A part that is installed apart is not there."""


class NotWritten(AlertsError):
    """The person at the terminal did not want it written, or the terminal was closed; nothing was."""


class OutOfRange(AlertsError):
    """A number is outside the range that arithmetic holds for; the text names both.

    of: what the number is of, such as "pH", so that a command can name its option.
    """

    def __init__(self, of: str, message: str) -> None:
        self.of = of
        super().__init__(message)
