"""How far the mirror is, in a few lines."""

from __future__ import annotations

__all__ = ["mirror_lines"]

from alerts.view.format import age, counted
from ingest.pulse import MirrorPulse


def mirror_lines(mirror: MirrorPulse, now_ms: int) -> list[str]:
    """Give the state of the mirror, the most important line first. now_ms: UTC ms."""
    lines = [_first(mirror, now_ms)]
    left = _left(mirror)
    if left:
        oldest_ms = mirror.oldest_unsent_ms
        since = "" if oldest_ms is None else f"; the oldest reading is from {age(now_ms - oldest_ms)} ago"
        lines.append(f"still to send: {left}{since}")
    if mirror.behind_since_ms is not None:
        lines.append(f"not up to date for {age(max(0, now_ms - mirror.behind_since_ms))}")
    if mirror.refused:
        lines.append(f"the server refused {counted(mirror.refused, 'time')} since the start; see docs/operations.md")
    return lines


def _first(mirror: MirrorPulse, now_ms: int) -> str:
    if mirror.state in ("waiting", "shut"):
        return f"nothing gets through; {mirror.last_error}"
    line = "has yet to begin" if mirror.state == "starting" else mirror.state
    if mirror.sent:
        line += f", {counted(mirror.sent, 'point')} sent since the start"
    if mirror.newest_sent_ms is not None:
        line += f", the newest reading sent is {age(now_ms - mirror.newest_sent_ms)} old"
    return line


def _left(mirror: MirrorPulse) -> str:
    counts = (
        (mirror.behind, "new reading or change", "new readings and changes"),
        (mirror.spans, "stretch of older readings", "stretches of older readings"),
        (mirror.records, "entry, strike or alarm", "entries, strikes and alarms"),
    )
    return ", ".join(counted(number, one, many) for number, one, many in counts if number)
