"""From what is known of wines to the histories that the estimate takes. Pure.

Other wine that was mixed in counts with its own estimate.
"""

from __future__ import annotations

__all__ = ["TemperaturesOf", "histories_of"]

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

from alerts.so2.wine_facts import So2Fact, WineFacts
from alerts.wine.so2_estimate import So2Asked, estimate_all
from alerts.wine.so2_history import FreeTitrated, So2Entry, So2History, WineMixedIn

TemperaturesOf = Callable[[WineFacts, int], tuple[tuple[int, float], ...]]
"""The wine's temperatures up to a time [UTC ms], by time: (from when on, °C)."""


class _Mixing(NamedTuple):
    """A wine that was mixed into another one at a time; two with the same numbers are the same."""

    wine: int
    at_ms: int


def histories_of(wines: Sequence[WineFacts], until_ms: int, temperatures_of: TemperaturesOf) -> list[So2History]:
    """Make each wine's history up to a time [UTC ms].

    Wine that was mixed in as more than a small share counts with its own estimate at that time. Those are worked out
    together, round by round: first of wines into which nothing of that kind was mixed, then of those that got these.
    """
    waiting = _mixings(wines)
    known: dict[_Mixing, WineMixedIn] = {}
    while waiting:
        ready = {
            mixing: fact
            for mixing, fact in waiting.items()
            if fact.other is not None and all(_mixing(each) in known for each in _blends(fact.other.facts))
        }
        asked = [
            So2Asked(_history(fact.other, mixing.at_ms, known, temperatures_of), mixing.at_ms)
            for mixing, fact in ready.items()
            if fact.other is not None
        ]
        for (mixing, fact), found in zip(ready.items(), estimate_all(asked), strict=True):
            assert isinstance(fact.effect, WineMixedIn)
            known[mixing] = replace(fact.effect, free_mg_l=found.free_mg_l, u_free_mg_l=found.u_free_mg_l)
            del waiting[mixing]
    return [_history(wine, until_ms, known, temperatures_of) for wine in wines]


def _mixings(wines: Iterable[WineFacts]) -> dict[_Mixing, So2Fact]:
    """Find every wine that was mixed into these, or into one that was mixed into these, and so on."""
    found: dict[_Mixing, So2Fact] = {}
    look = list(wines)
    while look:
        for fact in _blends(look.pop().facts):
            mixing = _mixing(fact)
            if mixing not in found and fact.other is not None:
                found[mixing] = fact
                look.append(fact.other)
    return found


def _blends(facts: Iterable[So2Fact]) -> list[So2Fact]:
    return [fact for fact in facts if fact.other is not None]


def _mixing(fact: So2Fact) -> _Mixing:
    return _Mixing(id(fact.other), fact.effect.at_ms)


def _history(
    wine: WineFacts, until_ms: int, known: dict[_Mixing, WineMixedIn], temperatures_of: TemperaturesOf
) -> So2History:
    entries: list[So2Entry] = []
    for fact in wine.facts:
        effect = fact.effect
        mixed_in = known.get(_mixing(fact)) if fact.other is not None else None
        if mixed_in is not None and isinstance(effect, WineMixedIn):
            effect = replace(effect, free_mg_l=mixed_in.free_mg_l, u_free_mg_l=mixed_in.u_free_mg_l)
        entries.append(effect)
    entries = _as_written(entries)
    begin_ms = min([wine.begin_ms, *(entry.at_ms for entry in entries)])
    return So2History(begin_ms, wine.loss, tuple(entries), temperatures_of(wine, until_ms))


def _as_written(entries: Sequence[So2Entry]) -> list[So2Entry]:
    """Keep entries of one moment in the order in which they were written, as the ledger does.

    The estimate takes a titration of the same moment before an addition. So what was written before a titration of its
    moment happened a millisecond earlier: dates without a time all mean noon.
    """
    kept: list[So2Entry] = []
    titrated_ms = None
    for entry in reversed(entries):
        if isinstance(entry, FreeTitrated):
            titrated_ms = entry.at_ms
        elif entry.at_ms == titrated_ms:
            entry = replace(entry, at_ms=entry.at_ms - 1)  # noqa: PLW2901  the same, a moment earlier
        kept.append(entry)
    return kept[::-1]
