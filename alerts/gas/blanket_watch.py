"""The gas over one wine, judged as its readings come in."""

from __future__ import annotations

__all__ = ["BlanketWatch"]

from alerts.errors import OutOfRange
from alerts.gas.blanket import BlanketState, blanket
from alerts.gas.blanket_facts import BlanketFacts, BlanketJudgement, BlanketPoint, EpisodeCause


class BlanketWatch:
    """What is known of the gas over one wine, from its readings so far.

    Points come in the order of their times. A new episode keeps what was learned of headspace and instruments as far
    as the cause allows. ``judge`` uses only what lies before it.
    """

    def __init__(self, facts: BlanketFacts) -> None:
        self._facts = facts
        self._last: BlanketPoint | None = None

    def begin_episode(self, at_ms: int, cause: EpisodeCause, facts: BlanketFacts) -> None:
        """Begin a new episode at a time (UTC ms); facts: what holds from then on."""
        self._facts = facts
        self._last = None

    def add(self, point: BlanketPoint) -> None:
        """Take a point; one that is not after the last is left out."""
        if self._last is None or point.at_ms > self._last.at_ms:
            self._last = point

    def judge(self, at_ms: int) -> BlanketJudgement:
        """Judge by what was read up to now, as of a time (UTC ms)."""
        last, facts = self._last, self._facts
        if last is None:
            return BlanketJudgement(at_ms, "no judgement")
        air = facts.station_kpa if last.barometer_kpa is None else last.barometer_kpa
        state = BlanketState(facts.gas, last.pressure_kpa, last.temperature_c, air)
        try:
            worked = blanket(facts.filling, state, facts.reference_c)
        except OutOfRange as error:
            return BlanketJudgement(at_ms, "no judgement", raw_kpa=last.pressure_kpa, warnings=(str(error),))
        return BlanketJudgement(
            at_ms,
            "cannot tell yet",
            raw_kpa=last.pressure_kpa,
            compensated_kpa=worked.frozen_kpa + air - facts.station_kpa,
            headspace_l=facts.filling.capacity_l - facts.filling.wine_l,
            u_headspace_l=facts.u_wine_l,
        )
