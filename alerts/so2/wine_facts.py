"""What is known of one wine's SO2 and pH: an immutable value that grows with each entry. Pure."""

from __future__ import annotations

__all__ = ["HandValue", "RoughFree", "So2Fact", "Stay", "WineFacts", "vessel_loss"]

from dataclasses import dataclass, replace
from math import exp, hypot
from typing import Final, NamedTuple

from alerts.wine.dose import USUAL_YIELD
from alerts.wine.so2_history import LOSS_BY_KIND, FreeTitrated, LossPrior, So2Added, So2Entry, WineMixedIn, WineRacked
from alerts.wine.so2_steps import MG_SO2_PER_MG_OXYGEN, default_u_mg_l

# Free SO2 of a wine of which nothing was ever found, and how far that may be off [mg/L]: as the estimate has it.
_UNKNOWN_MG_L: Final = 25.0
_U_UNKNOWN_MG_L: Final = 18.0
# How far the rough value may be off after an addition and after a time, as a part of what changed (working defaults).
_U_ADDED_SHARE: Final = 0.2
_U_LOST_SHARE: Final = 0.8
_AT_MG_L: Final = 30.0
_30_DAYS_MS: Final = 30 * 86_400_000.0
# A vessel of a kind that has no usual loss, or of which no cellar file says the kind.
_ANY_VESSEL: Final = LOSS_BY_KIND["carboy"]


def vessel_loss(kind: str | None) -> LossPrior:
    """Give what a vessel of a kind may lose; kind None: not known."""
    return LOSS_BY_KIND.get(kind or "", _ANY_VESSEL)


class Stay(NamedTuple):
    """The wine has lain in a vessel from from_ms on [UTC ms]."""

    vessel: str
    from_ms: int


class HandValue(NamedTuple):
    """A number that a person found [in its quantity's unit], with its standard uncertainty, None where not given."""

    at_ms: int
    value: float
    u: float | None = None


class RoughFree(NamedTuple):
    """Free SO2 by dead reckoning from the newest titration [mg/L], with a wide standard uncertainty.

    Good enough for the wine of a topping, which is a small share of what it goes into.
    """

    at_ms: int
    mg_l: float = _UNKNOWN_MG_L
    u_mg_l: float = _U_UNKNOWN_MG_L

    def aged(self, at_ms: int, loss: LossPrior) -> RoughFree:
        """Let time pass at the usual loss of a vessel."""
        months = max(0, at_ms - self.at_ms) / _30_DAYS_MS
        left = self.mg_l * exp(-loss.mg_l_per_30_days / _AT_MG_L * months)
        return RoughFree(max(self.at_ms, at_ms), left, hypot(self.u_mg_l, _U_LOST_SHARE * (self.mg_l - left)))

    def after(self, effect: So2Entry) -> RoughFree:
        """Take what was found in, or done to, the wine."""
        match effect:
            case FreeTitrated(at_ms, free_mg_l, u_mg_l):
                return RoughFree(at_ms, free_mg_l, default_u_mg_l(free_mg_l) if u_mg_l is None else u_mg_l)
            case So2Added(at_ms, so2_mg_l):
                u_mg_l = hypot(self.u_mg_l, _U_ADDED_SHARE * so2_mg_l)
                return RoughFree(at_ms, self.mg_l + USUAL_YIELD * so2_mg_l, u_mg_l)
            case WineRacked(at_ms, oxygen):
                lost = MG_SO2_PER_MG_OXYGEN * oxygen.mg_l
                return RoughFree(at_ms, max(self.mg_l - lost, 0.0), hypot(self.u_mg_l, 0.5 * lost))
            case WineMixedIn(at_ms, share, free_mg_l, u_free_mg_l):
                mixed = (1.0 - share) * self.mg_l + share * free_mg_l
                return RoughFree(at_ms, mixed, hypot((1.0 - share) * self.u_mg_l, share * u_free_mg_l))


@dataclass(frozen=True, slots=True)
class So2Fact:
    """One thing that was found in, or done to, the wine.

    kind: of its entry; effect: as the estimate takes it; other: of wine mixed in that is more than a small share, what
    is known of it, so that its own estimate can say its free SO2; upper_bound: of a titration, red wine by a method
    that also frees bound SO2; remark: what a person should know about it, "" where nothing.
    """

    kind: str
    effect: So2Entry
    other: WineFacts | None = None
    upper_bound: bool = False
    remark: str = ""


@dataclass(frozen=True, slots=True)
class WineFacts:
    """What is known of the wine in a vessel, from its first filling, through every vessel that it lay in.

    begin_ms: of the history [UTC ms]; loss: what its first vessel may lose; present_loss: what the one that it lies in
    now may; stays: the vessels, oldest first; facts: in the order of their entries; phs, temperatures: of the wine, as
    people measured them, the latter in °C.
    """

    begin_ms: int
    loss: LossPrior
    present_loss: LossPrior
    stays: tuple[Stay, ...]
    facts: tuple[So2Fact, ...] = ()
    phs: tuple[HandValue, ...] = ()
    temperatures: tuple[HandValue, ...] = ()
    remarks: tuple[str, ...] = ()

    @classmethod
    def begun(cls, at_ms: int, vessel: str, loss: LossPrior) -> WineFacts:
        """Begin with a wine of which nothing is known yet."""
        return cls(at_ms, loss, loss, (Stay(vessel, at_ms),))

    def with_fact(self, fact: So2Fact) -> WineFacts:
        """Add a fact, which is not earlier than those that are there."""
        return replace(self, facts=(*self.facts, fact))

    def moved(self, fact: So2Fact, vessel: str, loss: LossPrior) -> WineFacts:
        """Take the wine into another vessel, by a racking."""
        stays = (*self.stays, Stay(vessel, fact.effect.at_ms))
        return replace(self, facts=(*self.facts, fact), stays=stays, present_loss=loss)

    def before(self, wine: WineFacts) -> WineFacts:
        """Take what was found of a vessel's wine before its filling was written down over to the wine that came in."""
        return replace(
            wine,
            begin_ms=min(wine.begin_ms, self.begin_ms),
            facts=tuple(sorted((*wine.facts, *self.facts), key=lambda fact: fact.effect.at_ms)),
            phs=(*wine.phs, *self.phs),
            temperatures=(*wine.temperatures, *self.temperatures),
            remarks=(*wine.remarks, *self.remarks),
        )

    def rough_at(self, at_ms: int) -> RoughFree:
        """Reckon free SO2 at a time [UTC ms], not before the last fact, at the usual loss of the present vessel."""
        place = len(self.facts) - 1
        while place > 0 and not isinstance(self.facts[place].effect, FreeTitrated):
            place -= 1
        rough = RoughFree(self.begin_ms)
        for fact in self.facts[max(place, 0) :]:
            rough = rough.aged(fact.effect.at_ms, self.present_loss).after(fact.effect)
        return rough.aged(at_ms, self.present_loss)
