"""The digest: advice and work that is due, collected and sent once a day when waking hours begin."""

from __future__ import annotations

__all__ = ["DIGEST", "digest"]

from collections.abc import Sequence
from typing import Final

from alerts.message.bundle import Notice, joined, listed, most_urgent_first
from alerts.view.format import counted

# The occasion of a digest.
DIGEST: Final = "digest"


def digest(notices: Sequence[Notice], site: str) -> Notice:
    """Write what was collected for a person since the last digest, what is over in one line each."""
    ordered = most_urgent_first(notices)
    stands = [each for each in ordered if each.is_active]
    over = [each for each in ordered if not each.is_active]
    words = [counted(len(stands), "thing to look at", "things to look at")] if stands else []
    if over:
        words.append(f"{len(over)} over")
    count = " and ".join(words)
    body = f"Nothing urgent at {site}: {count}.\n"
    if stands:
        body += f"\n{listed(stands)}"
    if over:
        lines = "\n".join(f"  {' '.join(each.draft.body.partition(chr(10) * 2)[0].split())}" for each in over)
        body += f"\nOver since:\n{lines}\n"
    return joined(ordered, f"DIGEST of {site}, {count}", body, DIGEST)
