"""The rule that a limit judges by: the part of a limit whose edit changes the judgement, not only the words."""

from __future__ import annotations

__all__ = ["Rule", "rule_of"]

from typing import NamedTuple

from ingest.cellar import EffectiveLimit


class Rule(NamedTuple):
    """kind: low, high, rate, no data or bad measurement; probe: the probe's id, "" for a limit on leeside itself;
    setpoint and deadband: in our unit of the quantity (setpoint in seconds for the last two kinds); the delays, and the
    time in which a rate counts, in seconds.
    """

    kind: str
    probe: str
    setpoint: float
    deadband: float
    on_delay_s: float
    off_delay_s: float
    within_s: float = 0.0


def rule_of(limit: EffectiveLimit) -> Rule:
    """The rule of a limit, as it is compared with the one it was judged by before."""
    kind = limit.role if limit.role == "bad measurement" else limit.kind
    return Rule(kind, limit.probe, limit.setpoint, limit.deadband, limit.on_delay_s, limit.off_delay_s, limit.within_s)
