"""Limits on work that falls due: those of the file, and the default ones."""

from __future__ import annotations

__all__ = ["DueRule", "due_rules"]

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from ingest.cellar.due_work import DUE_WORK, DueName
from ingest.cellar.limits import LimitSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class DueRule:
    """A limit on work that falls due, as the file has it, before it is known which wine lies where.

    at, lot, probe: to what it applies; lot "any": to all wine; all three None: a default limit, and after_days is then
    by the sort of what the work is done to.
    """

    work: DueName
    id: str | None = None
    at: str | None = None
    lot: str | None = None
    probe: str | None = None
    after_days: float | None = None
    priority: Literal["low", "medium", "high"] = "low"
    hours: Literal["any", "waking", "digest"] = "digest"
    consequence: str
    action: str
    unit_text: str = "d"

    @property
    def is_default(self) -> bool:
        """Whether nobody wrote it."""
        return self.after_days is None

    def after_of(self, sort: str) -> float | None:
        """After how many days the work falls due for that sort, None where it does not."""
        return DUE_WORK[self.work].after_days.get(sort) if self.after_days is None else self.after_days


def due_rules(settings: Iterable[LimitSettings]) -> tuple[DueRule, ...]:
    """List the rules on due work: those of the file, the closest to its subject first, then the default ones.

    settings: the tables ``[[limit]]``, of which those without ``due`` are passed over.
    """
    written = [
        DueRule(
            work=setting.due,
            id=setting.id,
            at=setting.at,
            lot=setting.lot,
            probe=setting.probe,
            after_days=setting.after_days,
            priority=setting.priority,
            hours=setting.hours or "waking",
            consequence=setting.consequence,
            action=setting.action,
            unit_text=setting.unit_text,
        )
        for setting in settings
        if setting.due is not None
    ]
    written.sort(key=lambda rule: rule.lot == "any")
    defaults = [DueRule(work=work.name, consequence=work.consequence, action=work.action) for work in DUE_WORK.values()]
    return (*written, *defaults)
