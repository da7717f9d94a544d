"""How a judge does: a line where something is wrong with it."""

from __future__ import annotations

__all__ = ["judge_line"]

from alerts.view.format import age, duration_text
from ingest.pulse import JudgePulse


def judge_line(name: str, judge: JudgePulse, now_ms: int) -> str:
    """Say what is wrong with a judge, "" where nothing is; now_ms: UTC milliseconds."""
    if not judge.overdue_s and judge.last_error is None:
        return ""
    wrong = (
        f"has been working for {duration_text(judge.overdue_s)}" if judge.overdue_s else f"failed: {judge.last_error}"
    )
    last = "never" if judge.last_ms is None else f"{age(now_ms - judge.last_ms)} ago"
    return f"judge {name}: {wrong} (last answer: {last})"
