"""How the mirror does, in words."""

from __future__ import annotations

import pytest

from alerts.view.mirror_lines import mirror_lines
from ingest.pulse import MirrorPulse

NOW = 1_795_631_400_000
HOUR_MS = 3_600_000


@pytest.mark.parametrize(
    ("fields", "lines"),
    [
        ({"state": "starting"}, ["has yet to begin"]),
        ({"state": "up to date", "sent": 1}, ["up to date, 1 point sent since the start"]),
        (
            {"state": "catching up", "sent": 1_234_000, "newest_sent_ms": NOW - 5000, "spans": 1},
            [
                "catching up, 1,234,000 points sent since the start, the newest reading sent is 5 s old",
                "still to send: 1 stretch of older readings",
            ],
        ),
        (
            {
                "state": "waiting",
                "last_error": "no answer in time",
                "behind": 3,
                "spans": 0,
                "records": 1,
                "oldest_unsent_ms": NOW - 30 * HOUR_MS,
                "behind_since_ms": NOW - 20 * HOUR_MS,
                "sent": 9,
                "refused": 1,
            },
            [
                "nothing gets through; no answer in time",
                "still to send: 3 new readings and changes, 1 entry, strike or alarm; "
                "the oldest reading is from 30 h ago",
                "not up to date for 20 h",
                "the server refused 1 time since the start; see docs/operations.md",
            ],
        ),
    ],
)
def test_each_state_in_words(fields: dict[str, object], lines: list[str]) -> None:
    assert mirror_lines(MirrorPulse.model_validate(fields), NOW) == lines
