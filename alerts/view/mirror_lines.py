"""How the mirror does, in the words of page and command, from what the ingest daemon tells of it."""

from __future__ import annotations

__all__ = ["mirror_lines"]

from collections.abc import Mapping
from typing import Any

from alerts.view.format import age


def mirror_lines(mirror: Mapping[str, Any], now_ms: int) -> list[str]:
    """Sentences, the most important one first. mirror: of the pulse's body; now_ms: UTC ms."""
    lines = [_first(mirror, now_ms)]
    left = _left(mirror)
    if left:
        oldest = mirror.get("oldest_unsent_ms")
        since = f"; the oldest reading is from {age(now_ms - oldest)} ago" if isinstance(oldest, int) else ""
        lines.append(f"still to send: {left}{since}")
    behind_since = mirror.get("behind_since_ms")
    if isinstance(behind_since, int):
        lines.append(f"not up to date for {age(max(0, now_ms - behind_since))}")
    if mirror.get("refused"):
        lines.append(
            f"the server refused {_several(mirror['refused'], 'time')} since the start; see docs/operations.md"
        )
    return lines


def _first(mirror: Mapping[str, Any], now_ms: int) -> str:
    state, newest = mirror.get("state"), mirror.get("newest_sent_ms")
    if state in ("waiting", "shut"):
        return f"nothing gets through; {mirror.get('last_error')}"
    told = "has yet to begin" if state == "starting" else str(state)
    if mirror.get("sent"):
        told += f", {_several(mirror['sent'], 'point')} sent since the start"
    if isinstance(newest, int):
        told += f", the newest reading sent is {age(now_ms - newest)} old"
    return told


def _left(mirror: Mapping[str, Any]) -> str:
    counts = (
        ("behind", "new reading or change", "new readings and changes"),
        ("spans", "stretch of older readings", "stretches of older readings"),
        ("records", "entry, strike or alarm", "entries, strikes and alarms"),
    )
    told = [(mirror[key], one, many) for key, one, many in counts if mirror.get(key)]
    return ", ".join(f"{number:,} {one if number == 1 else many}" for number, one, many in told)


def _several(number: int, noun: str) -> str:
    return f"{number:,} {noun}" + ("" if number == 1 else "s")
