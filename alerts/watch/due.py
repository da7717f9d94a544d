"""Work that falls due: which limits there are for what the journal awaits, and whether their time has come. Pure.

A work falls due a time after it was done last, or after it was first awaited. The condition ends when the work was
done, or is no longer awaited. A clock that goes back ends nothing.
"""

from __future__ import annotations

__all__ = ["DAY_MS", "DueLimit", "due_limits", "judge", "limit_of_gone_work"]

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Final, NamedTuple

from alerts.watch.condition import Condition
from alerts.watch.level import LevelTrack
from alerts.watch.turn_inputs import DueFact
from ingest.cellar import DUE_WORK, DueRule, EffectiveLimit
from ingest.journal.awaited_work import AwaitedWork

DAY_MS: Final = 86_400_000


class DueLimit(NamedTuple):
    """A limit on due work with what it is judged by."""

    limit: EffectiveLimit
    fact: DueFact


def due_limits(rules: Sequence[DueRule], awaited: Iterable[AwaitedWork]) -> dict[str, DueLimit]:
    """Make the limits for all that is awaited, by key.

    rules: the closest to their subject first. Of a lot that lies in several vessels, the one whose work falls due first
    stands for it.
    """
    limits: dict[str, DueLimit] = {}
    for work in awaited:
        rule, after_days = _rule_of(rules, work)
        if rule is None:
            continue
        due_limit = _due_limit(rule, after_days, work)
        other = limits.get(due_limit.limit.key)
        if other is None or due_limit.fact.due_ms < other.fact.due_ms:
            limits[due_limit.limit.key] = due_limit
    return {key: _suppressed_by_re_test(due_limit, limits) for key, due_limit in limits.items()}


def judge(
    track: LevelTrack, limit: EffectiveLimit, fact: DueFact | None, *, now_ms: int
) -> tuple[LevelTrack, list[Condition]]:
    """Judge a limit on due work by what the journal says; fact: None where the work is no longer awaited.

    The value is for how many days it has not been done. Returns the new track and the change of the condition, if any.
    """
    if fact is None:
        return _ended(track, limit, now_ms, None) if track.active else (track, [])
    is_due = now_ms >= fact.due_ms
    if is_due:
        value = (now_ms - fact.from_ms) // DAY_MS
        if not track.active:
            after = replace(track, active=True, since_ms=fact.due_ms, value=float(value), finding=fact.finding)
            return after, [Condition(limit.key, True, fact.due_ms, float(value), fact.finding)]
        if (track.since_ms, track.finding) != (fact.due_ms, fact.finding):
            return replace(track, since_ms=fact.due_ms, value=float(value), finding=fact.finding), []
        return track, []
    if track.active and fact.due_ms > (track.since_ms or 0):
        return _ended(track, limit, max(fact.from_ms, track.since_ms or 0), fact.finding)
    return track, []


def _ended(
    track: LevelTrack, limit: EffectiveLimit, since_ms: int, finding: str | None
) -> tuple[LevelTrack, list[Condition]]:
    after = replace(track, active=False, since_ms=since_ms, value=None, finding=finding or "")
    return after, [Condition(limit.key, False, since_ms, None, finding or "")]


def limit_of_gone_work(key: str, setpoint: float) -> EffectiveLimit:
    """Make the limit under which an alarm can return to normal whose work is no longer awaited, by its key."""
    subject, _, name = key.rpartition("/")
    work = DUE_WORK.get(name, DUE_WORK["titration"])
    rule = DueRule(work=work.name, consequence=work.consequence, action=work.action)
    gone = AwaitedWork(work.name, subject, "", 0, False, lot=subject if work.of == "wine" else "")
    return _limit(rule, key, gone, setpoint)


def _rule_of(rules: Sequence[DueRule], work: AwaitedWork) -> tuple[DueRule | None, float]:
    for rule in rules:
        if rule.work == work.work and _applies(rule, work):
            after_days = rule.after_of(work.sort)
            if after_days is not None:
                return rule, after_days
    return None, 0.0


def _applies(rule: DueRule, work: AwaitedWork) -> bool:
    if rule.at is not None:
        return rule.at == work.place
    if rule.probe is not None:
        return rule.probe == work.name
    return rule.lot in (None, "any", work.lot)


def _due_limit(rule: DueRule, after_days: float, work: AwaitedWork) -> DueLimit:
    kind = DUE_WORK[rule.work]
    subject = _subject(rule, work)
    if rule.id is None:
        key = f"{subject}/{rule.work}"
    else:
        key = f"{rule.id}/{subject}" if _may_have_several(rule) else rule.id
    due_ms = work.from_ms + round(after_days * DAY_MS)
    fact = DueFact(work.from_ms, due_ms, kind.done if work.is_done else kind.begun)
    return DueLimit(_limit(rule, key, work, after_days), fact)


def _may_have_several(rule: DueRule) -> bool:
    """Whether a rule of the file can apply to more than one subject."""
    single = {"wine": rule.at or rule.lot != "any", "vessel": rule.at, "probe": rule.probe, "titrant": False}
    return not single[DUE_WORK[rule.work].of]


def _subject(rule: DueRule, work: AwaitedWork) -> str:
    """What the work is done to: it keeps its name, and so the alarm, when wine moves."""
    of = DUE_WORK[rule.work].of
    if of == "wine":
        return work.place if rule.at is not None or not work.lot else work.lot
    return {"vessel": work.place, "probe": work.name, "titrant": work.sort}[of]


def _limit(rule: DueRule, key: str, work: AwaitedWork, after_days: float) -> EffectiveLimit:
    of = DUE_WORK[rule.work].of
    return EffectiveLimit(
        key=key,
        kind="due",
        at=work.place or work.name,
        quantity=rule.work,
        probe=f"{_subject(rule, work)}/{rule.work}",
        setpoint=after_days,
        deadband=0.0,
        on_delay_s=0.0,
        off_delay_s=0.0,
        priority=rule.priority,
        hours=rule.hours,
        consequence=rule.consequence,
        action=rule.action,
        unit_text=rule.unit_text,
        origin="default" if rule.is_default else "file",
        lot=work.lot if of == "wine" else "",
    )


def _suppressed_by_re_test(due_limit: DueLimit, limits: Mapping[str, DueLimit]) -> DueLimit:
    """Let a re-test that is due suppress the titration that it asks for: that is one alarm, not two."""
    if due_limit.limit.quantity != "titration":
        return due_limit
    re_tests = tuple(
        key
        for key, other in limits.items()
        if other.limit.quantity == "re-test"
        and (other.limit.lot, other.limit.at) == (due_limit.limit.lot, due_limit.limit.at)
    )
    return due_limit._replace(limit=replace(due_limit.limit, suppressed_by=re_tests))
