"""What `leeside check` found out about one thing that it tried."""

from __future__ import annotations

__all__ = ["CheckResult", "failed", "passed"]

from typing import NamedTuple


class CheckResult(NamedTuple):
    """part: broker, topic, line, chip, mail, channel, ring, page, mirror, store, log, summaries, series, disk or
    backup; name: which one; text: how it is, and what to do next."""

    part: str
    name: str
    ok: bool
    text: str

    def as_json(self) -> dict[str, object]:
        """Give the result as an object."""
        return {"part": self.part, "name": self.name, "ok": self.ok, "told": self.text}

    def __str__(self) -> str:
        return f"{'ok   ' if self.ok else 'FAILS'}  {self.part} {self.name}: {self.text}"


def passed(part: str, name: str, text: str) -> CheckResult:
    """Say that something is as it should be."""
    return CheckResult(part, name, True, text)


def failed(part: str, name: str, text: str) -> CheckResult:
    """Say that something is not as it should be."""
    return CheckResult(part, name, False, text)
