"""A picture in a mail: HTML beside the plain text, with the picture inside the mail itself.

multipart/alternative (RFC 2046 section 5.1.4) holds the plain text, which is complete, and multipart/related (RFC 2387)
with the same text as HTML and the picture, which the HTML names by its Content-ID (RFC 2392). Nothing is fetched from
anywhere.
"""

from __future__ import annotations

__all__ = ["add_picture", "is_late_picture", "late_picture"]

import html
import re
import typing
from email.message import EmailMessage
from typing import Final

from alerts.message.subject import tail_of
from ingest.store.alarms.messages import MessageRow

# Wide enough for a phone held upright, and no wider than the picture is.
_WIDTH: Final = 640
_LATE: Final = "PICTURE: "
_WORDS: Final = "How it came to this, as a picture."

# A line of ours that is a label and an address and nothing else. What people and probes say stands within a line.
_LINK: Final = re.compile(r"^([A-Z][a-z ]+: +)(https://[^\s<>&]+)$", re.MULTILINE)


def add_picture(mail: EmailMessage, text: str, picture: bytes) -> None:
    """Add a PNG to a mail whose content is set already. text: the plain text, which is escaped here."""
    content_id = f"<picture.{str(mail['Message-ID']).strip('<>')}>"
    name = html.escape(content_id.strip("<>"), quote=True)
    mail.add_alternative(
        '<!DOCTYPE html>\n<html lang="en">\n<head><meta charset="utf-8"></head>\n<body>\n'
        f'<pre style="white-space: pre-wrap">{_LINK.sub(_linked, html.escape(text))}</pre>\n'
        f'<p><img src="cid:{name}" alt="{_WORDS}" style="width: 100%; max-width: {_WIDTH}px"></p>\n'
        "</body>\n</html>\n",
        subtype="html",
        charset="utf-8",
        cte="quoted-printable",
    )
    related = typing.cast("EmailMessage", mail.get_payload(1))
    related.add_related(picture, "image", "png", cid=content_id, filename="picture.png", disposition="inline")


def is_late_picture(subject: str) -> bool:
    """Whether a mail of this subject brings the picture of another."""
    return subject.startswith(_LATE)


def late_picture(message: MessageRow) -> MessageRow:
    """Write the message that brings the picture of one that went without it, as an answer to that."""
    return message._replace(
        message_id=f"<picture.{message.message_id.strip('<>')}>",
        thread_id=message.message_id,
        subject=_LATE + tail_of(message.subject),
        body="This is the picture for the previous message. It was not ready in time.\n",
    )


def _linked(line: re.Match[str]) -> str:
    return f'{line[1]}<a href="{line[2]}">{line[2]}</a>'
