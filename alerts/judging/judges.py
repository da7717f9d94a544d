"""The judges that work beside the turn: a new one is a line here."""

from __future__ import annotations

__all__ = ["judges"]

from collections.abc import Sequence

from alerts.blanket.judge import GasJudge
from alerts.cylinders.judge import CylinderJudge
from alerts.judging.judge import Judge
from alerts.so2.judge import So2Judge
from alerts.so2.total_judge import TotalJudge


def judges() -> Sequence[Judge]:
    """Make the judges of gas and wine."""
    return (So2Judge(), TotalJudge(), GasJudge(), CylinderJudge())
