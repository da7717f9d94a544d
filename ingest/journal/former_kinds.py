"""What kinds of entries and the keys of their bodies were called before, so that old lines can still be imported."""

from __future__ import annotations

__all__ = ["renamed_kind"]

from collections.abc import Mapping
from typing import Any, Final

_FORMER: Final[Mapping[str, tuple[str, Mapping[str, str]]]] = {
    "fill": ("first-filling", {}),
    "look": ("inspection", {}),
    "state": ("vessel-status", {"state": "status", "lock_liquid_seen": "airlock_liquid_seen"}),
}
"""Former name -> the name now, and the former keys of the body with the keys now."""


def renamed_kind(line: Mapping[str, Any]) -> dict[str, Any]:
    """Give an entry's line with its kind, and the keys of its body, as they are called now."""
    former = line.get("kind")
    if not isinstance(former, str) or former not in _FORMER:
        return dict(line)
    kind, keys = _FORMER[former]
    body = line.get("body")
    if isinstance(body, Mapping):
        return {**line, "kind": kind, "body": {keys.get(key, key): value for key, value in body.items()}}
    return {**line, "kind": kind}
