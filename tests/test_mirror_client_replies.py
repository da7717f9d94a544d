"""What each answer calls for, and how long a server asks to wait."""

from __future__ import annotations

from datetime import UTC, datetime
from email.utils import format_datetime

import pytest
from a_store import NOW
from hypothesis import given
from hypothesis import strategies as st

from ingest.mirror.client import ReplyMeaning, meaning_of
from ingest.mirror.reply import NETWORK
from ingest.retry_after import LONGEST_RETRY_AFTER_S, retry_after_s


@pytest.mark.parametrize(
    ("status", "answer"),
    [
        (NETWORK, ReplyMeaning.AGAIN),
        (200, ReplyMeaning.SHUT),
        (204, ReplyMeaning.TAKEN),
        (302, ReplyMeaning.SHUT),
        (400, ReplyMeaning.SEARCH),
        (401, ReplyMeaning.SHUT),
        (403, ReplyMeaning.SHUT),
        (404, ReplyMeaning.SHUT),
        (408, ReplyMeaning.AGAIN),
        (413, ReplyMeaning.HALVE),
        (418, ReplyMeaning.SHUT),
        (422, ReplyMeaning.PARTLY),
        (429, ReplyMeaning.AGAIN),
        (500, ReplyMeaning.AGAIN),
        (502, ReplyMeaning.AGAIN),
        (503, ReplyMeaning.AGAIN),
        (504, ReplyMeaning.AGAIN),
        (599, ReplyMeaning.AGAIN),
    ],
)
def test_each_status(status: int, answer: ReplyMeaning) -> None:
    assert meaning_of(status) is answer


def _date(seconds: int) -> str:
    return format_datetime(datetime.fromtimestamp(NOW / 1000 + seconds, UTC), usegmt=True)


@pytest.mark.parametrize(
    ("header", "seconds"),
    [
        ("7", 7.0),
        (" 120 ", 120.0),
        ("0", 0.0),
        (_date(30), 30.0),
        (_date(-30), 0.0),
        (_date(30).replace("GMT", "-0000"), 30.0),
        ("9" * 400, LONGEST_RETRY_AFTER_S),
        (_date(10**8), LONGEST_RETRY_AFTER_S),
        ("", None),
        ("soon", None),
        ("-5", None),
        ("1.5", None),
        ("٣", None),
        ("Wed, 99 Nov 2026 00:00:00 GMT", None),
    ],
)
def test_retry_after(header: str, seconds: float | None) -> None:
    assert retry_after_s(header, NOW) == seconds


@given(st.text(max_size=40) | st.from_regex(r"[A-Z][a-z]{2}, \d{1,3} [A-Z][a-z]{2} \d{1,5} [\d:]{5,9} (GMT|[+-]\d{4})"))
def test_no_header_ends_the_mirror(header: str) -> None:
    wait_s = retry_after_s(header, NOW)
    assert wait_s is None or 0 <= wait_s <= LONGEST_RETRY_AFTER_S
