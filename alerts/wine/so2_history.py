"""What is known of a wine's free SO2: titrations and what was done to the wine, as the estimate reads them.

Times are UTC milliseconds, amounts mg/L as SO2, uncertainties standard ones. The order of entries does not matter: they
are taken by time, and at one moment a titration comes before what was done on its strength.
"""

from __future__ import annotations

__all__ = [
    "LOSS_BY_KIND",
    "OXYGEN_BY_RACKING",
    "FreeTitrated",
    "LossPrior",
    "OxygenUptake",
    "So2Added",
    "So2Entry",
    "So2History",
    "WineMixedIn",
    "WineRacked",
]

from bisect import bisect_right
from dataclasses import dataclass, replace
from typing import Final

from alerts.allowed_range import AllowedRange
from alerts.errors import OutOfRange

# Beyond these no wine and no vessel goes; choices of this project, wide on purpose.
_LOSS_RANGE: Final = AllowedRange("usual loss", 0.01, 100.0, "mg/L in 30 days", "vessels lose")
_SPREAD_RANGE: Final = AllowedRange("spread of a usual loss", 0.05, 2.0, "", "it goes from")
_OXYGEN_RANGE: Final = AllowedRange("oxygen taken up", 0.0, 20.0, "mg/L", "one operation brings")
_FREE_RANGE: Final = AllowedRange("free SO2", 0.0, 1000.0, "mg/L", "journals have")
_U_RANGE: Final = AllowedRange("standard uncertainty", 0.0, 1000.0, "mg/L", "it goes from")
_U_TITRATION_RANGE: Final = AllowedRange("standard uncertainty of a titration", 0.05, 1000.0, "mg/L", "it goes from")
_ADDED_RANGE: Final = AllowedRange("SO2 added", 0.0, 1000.0, "mg/L", "an addition brings")
_SHARE_RANGE: Final = AllowedRange("share", 0.0, 1.0, "", "it goes from")
_TEMPERATURE_RANGE: Final = AllowedRange("temperature", -10.0, 50.0, "°C", "wine has")


@dataclass(frozen=True, slots=True)
class LossPrior:
    """What a vessel may lose before anything was titrated in it.

    mg_l_per_30_days: the median loss of free SO2 at 30 mg/L and 15 °C [mg/L in 30 days, above 0]; spread: standard
    deviation of its natural logarithm [above 0, at most 2].
    """

    mg_l_per_30_days: float
    spread: float = 0.7

    def __post_init__(self) -> None:
        _LOSS_RANGE.checked(self.mg_l_per_30_days)
        _SPREAD_RANGE.checked(self.spread)


# A barrel loses 10 mg/L a month, a large tank two to three times less, a bottle a few mg/L a year (a French-language
# practice page on Bordeaux). For glass and for kegs no rate is published: a working default. The spread, a factor of
# 2 either way, is this project's choice.
LOSS_BY_KIND: Final = {
    "barrel": LossPrior(12.0),
    "tank": LossPrior(4.0),
    "carboy": LossPrior(3.0),
    "keg": LossPrior(2.0),
    "bottle": LossPrior(0.4),
}


@dataclass(frozen=True, slots=True)
class OxygenUptake:
    """Oxygen that a wine takes up in one operation, and its standard uncertainty [mg/L, 0 to 20]."""

    mg_l: float
    u_mg_l: float

    def __post_init__(self) -> None:
        _OXYGEN_RANGE.checked(self.mg_l)
        _U_RANGE.checked(self.u_mg_l)


# Oenopedia gives 3 mg/L for a racking without contact with air, 5 with, 1 for a careful one from cask to cask and 0.3
# for topping up. The uncertainties are this project's choice.
OXYGEN_BY_RACKING: Final = {
    "under gas": OxygenUptake(1.0, 0.7),
    "closed": OxygenUptake(3.0, 1.5),
    "open": OxygenUptake(5.0, 2.5),
}
_TOPPING: Final = OxygenUptake(0.3, 0.3)


@dataclass(frozen=True, slots=True)
class FreeTitrated:
    """A titration of free SO2: its result and standard uncertainty [mg/L, None where it was written without one].

    A result below detection is 0 with its uncertainty.
    """

    at_ms: int
    free_mg_l: float
    u_mg_l: float | None = None

    def __post_init__(self) -> None:
        _FREE_RANGE.checked(self.free_mg_l)
        if self.u_mg_l is not None:
            _U_TITRATION_RANGE.checked(self.u_mg_l)


@dataclass(frozen=True, slots=True)
class So2Added:
    """An addition: the SO2 that it brought to each liter of the vessel's wine [mg/L], all of it, bound or not.

    u_share: its standard uncertainty as a part of it, from weighing and from the wine's volume.
    """

    at_ms: int
    so2_mg_l: float
    u_share: float = 0.04

    def __post_init__(self) -> None:
        _ADDED_RANGE.checked(self.so2_mg_l)
        _SHARE_RANGE.checked(self.u_share)


@dataclass(frozen=True, slots=True)
class WineRacked:
    """A racking of the whole wine: oxygen that it took up, and what the vessel that it went into may lose.

    loss: None where it stayed in, or came back into, the same vessel.
    """

    at_ms: int
    oxygen: OxygenUptake = OXYGEN_BY_RACKING["closed"]
    loss: LossPrior | None = None


@dataclass(frozen=True, slots=True)
class WineMixedIn:
    """A topping or a blend: other wine came in and is now a share [0 to 1] of the whole.

    free_mg_l, u_free_mg_l: the other wine's free SO2 at that time and its standard uncertainty [mg/L].
    """

    at_ms: int
    share: float
    free_mg_l: float
    u_free_mg_l: float
    oxygen: OxygenUptake = _TOPPING

    def __post_init__(self) -> None:
        _SHARE_RANGE.checked(self.share)
        _FREE_RANGE.checked(self.free_mg_l)
        _U_RANGE.checked(self.u_free_mg_l)


So2Entry = FreeTitrated | So2Added | WineRacked | WineMixedIn


@dataclass(frozen=True, slots=True)
class So2History:
    """A wine in its vessel, from a moment on.

    begin_ms: when it came to be, such as the filling of its first vessel; loss: what this vessel may lose; entries:
    none before begin_ms; temperatures_c: the wine's temperature [°C] from a time on (daily means, say); where there is
    none, 15 °C is assumed. Both are given in any order and kept by time; at one moment a titration comes first, then
    rackings, mixing and additions.
    """

    begin_ms: int
    loss: LossPrior
    entries: tuple[So2Entry, ...] = ()
    temperatures_c: tuple[tuple[int, float], ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "entries", tuple(sorted(self.entries, key=_order)))
        object.__setattr__(self, "temperatures_c", tuple(sorted(self.temperatures_c)))
        if self.entries and self.entries[0].at_ms < self.begin_ms:
            raise OutOfRange(
                "time",
                f"an entry at {self.entries[0].at_ms} ms UTC lies before the wine's beginning at {self.begin_ms} ms: "
                "correct its time, or let the history begin earlier",
            )
        degrees = [celsius for _, celsius in self.temperatures_c]
        for celsius in (min(degrees), max(degrees)) if degrees else ():
            _TEMPERATURE_RANGE.checked(celsius)

    def until(self, at_ms: int) -> So2History:
        """Leave only what had happened by a moment."""
        entries = bisect_right(self.entries, at_ms, key=lambda entry: entry.at_ms)
        temperatures = bisect_right(self.temperatures_c, at_ms, key=lambda point: point[0])
        if (entries, temperatures) == (len(self.entries), len(self.temperatures_c)):
            return self
        return replace(self, entries=self.entries[:entries], temperatures_c=self.temperatures_c[:temperatures])

    @property
    def titrations(self) -> tuple[FreeTitrated, ...]:
        """The titrations by time."""
        return tuple(entry for entry in self.entries if isinstance(entry, FreeTitrated))


def _order(entry: So2Entry) -> tuple[float, ...]:
    """Give an entry's place: amounts order those of one kind and moment, so that the list's order does not matter."""
    match entry:
        case FreeTitrated():
            return entry.at_ms, 0, entry.free_mg_l, entry.u_mg_l or 0.0
        case WineRacked():
            loss = (-1.0, -1.0) if entry.loss is None else (entry.loss.mg_l_per_30_days, entry.loss.spread)
            return entry.at_ms, 1, entry.oxygen.mg_l, entry.oxygen.u_mg_l, *loss
        case WineMixedIn():
            return entry.at_ms, 2, entry.share, entry.free_mg_l, entry.u_free_mg_l
        case So2Added():
            return entry.at_ms, 3, entry.so2_mg_l, entry.u_share
