"""Legal limits of total SO2: rule sets from ``legal_rules.toml``, and whether a total can be told apart from a limit.

A wine that has exactly the limit is allowed ("may not exceed"). Two laboratories differ by up to the reproducibility R
on one wine, 19 times out of 20, so a total nearer to the limit than R does not say on which side of it the wine is:

    R = 2.8 u        u: standard uncertainty of the total [mg/L] (ISO 5725-6)

Worked example: by aeration (u at least 5.4 mg/L, R at least 15 mg/L) a dry red in the European Union, 150 mg/L, with
158 mg/L is above the limit, but cannot be told apart from it; with 166 mg/L it is above it.
"""

from __future__ import annotations

__all__ = [
    "RULE_SETS",
    "Colour",
    "LegalLimit",
    "LegalVerdict",
    "RuleSet",
    "WineKind",
    "legal_limit",
    "legal_verdict",
    "usual_legal_limit",
]

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final, Literal

from pydantic import BaseModel, ConfigDict, Field

from alerts.allowed_range import AllowedRange
from alerts.errors import OutOfRange
from ingest.journal.titration import Style

Colour = Literal["red", "white", "rosé"]
WineKind = Literal["still", "quality sparkling", "other sparkling", "liqueur"]

_TOTAL: Final = AllowedRange("total SO2", 0.0, 1000.0, "mg/L", "totals go")
_U_TOTAL: Final = AllowedRange("uncertainty of the total", 0.0, 1000.0, "mg/L", "it goes")
_SUGAR: Final = AllowedRange("sugar", 0.0, 1000.0, "g/L", "wine has")
_R_PER_U: Final = 2.8


class _FromFile(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class SugarBounds(_FromFile):
    """How much sugar [g/L] a limit is for; a bound that is None does not bind."""

    below: float | None = None
    at_most: float | None = None
    at_least: float | None = None
    above: float | None = None

    def __contains__(self, sugar_g_l: float) -> bool:
        return (
            (self.below is None or sugar_g_l < self.below)
            and (self.at_most is None or sugar_g_l <= self.at_most)
            and (self.at_least is None or sugar_g_l >= self.at_least)
            and (self.above is None or sugar_g_l > self.above)
        )

    @property
    def words(self) -> str:
        """The bounds as people read them: "2 or more and below 5 g/L"; "" where nothing binds."""
        if self.at_least is not None and self.below is None and self.at_most is None:
            return f"{self.at_least:g} g/L or more"
        parts = [
            ("" if self.at_least is None else f"{self.at_least:g} or more"),
            ("" if self.above is None else f"above {self.above:g}"),
            ("" if self.below is None else f"below {self.below:g}"),
            ("" if self.at_most is None else f"up to {self.at_most:g}"),
        ]
        bounds = " and ".join(part for part in parts if part)
        return f"{bounds} g/L" if bounds else ""


class RuleLimit(_FromFile):
    """One limit of a rule set: for which wine, and how much total SO2 [mg/L] it may have."""

    kind: WineKind
    colours: frozenset[Colour]
    sugar: SugarBounds = SugarBounds()
    total_mg_l: float = Field(gt=0.0)


class RuleSet(_FromFile):
    """The limits of one law.

    as_of: the day on which this project held it to be so; sugar_is: what counts as sugar; exceptions: what is not in
    the limits; declare_above_mg_l, declare_from_mg_l: total SO2 above which, or from which on, the label has to name
    sulfites.
    """

    id: str
    name: str
    as_of: date
    source: str
    sugar_is: str
    exceptions: str
    declare_above_mg_l: float | None = None
    declare_from_mg_l: float | None = None
    limit: tuple[RuleLimit, ...]

    def must_declare(self, total_mg_l: float) -> bool | None:
        """Say whether the label has to name sulfites; None where the rule set has no such rule. Raises OutOfRange."""
        total = _TOTAL.checked(total_mg_l)
        if self.declare_above_mg_l is not None:
            return total > self.declare_above_mg_l
        return None if self.declare_from_mg_l is None else total >= self.declare_from_mg_l


class _RuleFile(_FromFile):
    rule_set: tuple[RuleSet, ...]


def _load() -> Mapping[str, RuleSet]:
    text = Path(__file__).with_name("legal_rules.toml").read_text(encoding="utf-8")
    return {rules.id: rules for rules in _RuleFile.model_validate(tomllib.loads(text)).rule_set}


RULE_SETS: Final[Mapping[str, RuleSet]] = _load()

_STYLE_COLOURS: Final[Mapping[Style | None, tuple[Colour, ...]]] = {
    Style.RED: ("red",),
    Style.WHITE: ("white",),
    Style.ROSE: ("rosé",),
    # Nothing says which colour it is, so the lowest limit counts.
    Style.SWEET: ("red", "white", "rosé"),
    None: ("red", "white", "rosé"),
}


@dataclass(frozen=True, slots=True)
class LegalLimit:
    """The limit that a rule set has for a wine.

    total_mg_l: total SO2 that it may have [mg/L]; wine: for which wine it is, in words; assumed: what was not known and
    how it was taken, in words, so that the limit is rather too low.
    """

    rules: RuleSet
    total_mg_l: float
    wine: str
    assumed: tuple[str, ...] = ()


def legal_limit(
    rules: RuleSet, style: Style | None, sugar_g_l: float | None = None, kind: WineKind = "still"
) -> LegalLimit:
    """Find the limit of a wine; where style or sugar leave a choice, the lowest.

    sugar_g_l: as the rule set counts it (``sugar_is``). Without it a sweet wine is taken to have more than any of the
    rule set's bounds, and any other to be dry. Raises OutOfRange for sugar that no wine has, and for a kind of wine
    that the rule set has no limit for.
    """
    colours = _STYLE_COLOURS[style]
    of_kind = [limit for limit in rules.limit if limit.kind == kind and limit.colours & set(colours)]
    if not of_kind:
        raise OutOfRange("kind of wine", f"the rule set {rules.id} ({rules.name}) has no limit for {kind} wine")
    assumed = []
    if sugar_g_l is None:
        sugar = _SUGAR.high if style is Style.SWEET else 0.0
        if any(limit.sugar.words for limit in of_kind):
            assumed.append("the sugar is not known: taken as " + ("sweet" if style is Style.SWEET else "dry"))
    else:
        sugar = _SUGAR.checked(sugar_g_l)
    fitting = [limit for limit in of_kind if sugar in limit.sugar]
    lowest = min(fitting, key=lambda limit: limit.total_mg_l)
    if len({limit.total_mg_l for limit in fitting}) > 1:
        assumed.append("the colour is not known: the lowest limit counts")
    wine = f"{kind} {' or '.join(sorted(lowest.colours))} wine"
    if lowest.sugar.words:
        wine += f", {rules.sugar_is} {lowest.sugar.words}"
    return LegalLimit(rules, lowest.total_mg_l, wine, tuple(assumed))


def usual_legal_limit(rules: str, style: Style | None, sugar_g_l: float | None) -> LegalLimit | None:
    """Find the limit of still wine by the id of a rule set; None for the id "".

    Sugar that no wine has counts as not known. Raises KeyError for an id that there is not.
    """
    if not rules:
        return None
    try:
        return legal_limit(RULE_SETS[rules], style, sugar_g_l)
    except OutOfRange:
        return legal_limit(RULE_SETS[rules], style)


@dataclass(frozen=True, slots=True)
class LegalVerdict:
    """A total against a limit.

    above: the total is more than the limit; told_apart: it is further from it than the reproducibility [mg/L].
    """

    total_mg_l: float
    reproducibility_mg_l: float
    limit: LegalLimit
    above: bool
    told_apart: bool

    @property
    def words(self) -> str:
        """One sentence, without an end."""
        side = "above" if self.above else "not above"
        text = (
            f"{self.total_mg_l:.0f} mg/L total SO2 is {side} the legal limit of {self.limit.total_mg_l:g} mg/L "
            f"({self.limit.rules.name}, {self.limit.wine})"
        )
        if not self.told_apart:
            text += (
                f", but cannot be told apart from the limit: two laboratories differ by up to "
                f"{self.reproducibility_mg_l:.0f} mg/L"
            )
        return text


def legal_verdict(total_mg_l: float, u_total_mg_l: float, limit: LegalLimit) -> LegalVerdict:
    """Hold a total [mg/L, 0 to 1000] with its standard uncertainty [mg/L] against a limit. Raises OutOfRange."""
    total, reproducibility = _TOTAL.checked(total_mg_l), _R_PER_U * _U_TOTAL.checked(u_total_mg_l)
    distance = abs(total - limit.total_mg_l)
    return LegalVerdict(total, reproducibility, limit, total > limit.total_mg_l, distance > reproducibility)
