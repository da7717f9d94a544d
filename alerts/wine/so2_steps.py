"""Histories of free SO2 as tables of steps, side by side, so that one pass over the steps serves all vessels.

A step is the time since the step before, what an entry did then, and perhaps a titration. Time passes in *aged days*:
days at 15 °C, of which a warm day counts as more than one.
"""

from __future__ import annotations

__all__ = ["MG_SO2_PER_MG_OXYGEN", "REFERENCE_C", "So2Steps", "aged_days_ahead", "default_u_mg_l", "steps_of"]

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alerts.errors import OutOfRange
from alerts.wine.so2_history import (
    FreeTitrated,
    OxygenUptake,
    So2Added,
    So2Entry,
    So2History,
    WineMixedIn,
    WineRacked,
)

Floats = NDArray[np.float64]

MS_PER_DAY: Final = 86_400_000.0
REFERENCE_C: Final = 15.0
# The loss grows 1.6 to 2 times for each 10 °C (Ough 1985, American Journal of Enology and Viticulture 36, from memory).
_FACTOR_PER_10_C: Final = 1.8
_YEAR_DAYS: Final = 365
# A cellar goes from its coldest or warmest to its mean in a quarter of a year.
_HALF_WAY_DAYS: Final = 42.0
# 2 mol of SO2 for each mol of oxygen make 4 mg for a mg (Danilewicz and Standing), 1 mol makes 2; 2.5 is a common
# planning figure (common practice, no source). The uncertainty covers both ends.
MG_SO2_PER_MG_OXYGEN: Final = 2.5
_U_MG_SO2_PER_MG_OXYGEN: Final = 0.7
# What is going to bind binds in part at once (to acetaldehyde, minutes) and the rest within the day (to sugars, hours
# to days; both from memory). The hours are a working default.
_BINDING_DAYS: Final = 0.25
# After this long nothing that counts is left to bind [days].
_BOUND_AFTER_DAYS: Final = 3.0


@dataclass(frozen=True, slots=True)
class So2Steps:
    """Steps of V histories, each an array of shape (V, N); histories with fewer steps end in steps without effect.

    aged_days: since the step before; share, mixed_mg_l, mixed_var: of wine that came in; lost_mg_l, lost_var: lost at
    once to oxygen; added_mg_l, added_var_share: SO2 added, and the square of its uncertainty as a part of it;
    unbound_mg_l: of the additions of the last days, what would still bind if all of it bound; titrated_mg_l (NaN where
    nothing was titrated), titrated_var: the titration that comes after all this; log_loss, spread: of the vessel;
    moved: whether the wine came into another vessel.
    """

    aged_days: Floats
    share: Floats
    mixed_mg_l: Floats
    mixed_var: Floats
    lost_mg_l: Floats
    lost_var: Floats
    added_mg_l: Floats
    added_var_share: Floats
    unbound_mg_l: Floats
    titrated_mg_l: Floats
    titrated_var: Floats
    log_loss: Floats
    spread: Floats
    moved: Floats

    def __len__(self) -> int:
        return int(self.aged_days.shape[1])


def default_u_mg_l(free_mg_l: float) -> float:
    """Give the standard uncertainty of a titration that was written without: 1.5 mg/L and 4 % (a working default)."""
    return float(np.hypot(1.5, 0.04 * free_mg_l))


def aged_days_ahead(history: So2History, at_ms: int, days: Floats) -> Floats:
    """Foresee how many aged days the coming days make up; days: how far ahead, from 0 on, rising.

    The wine's temperature goes from what it was last to the mean of a year, and is half way there in six weeks. What is
    missing of the year before at_ms counts as 15 °C; so does everything where no temperature is known.
    """
    since, celsius = _temperatures(history)
    each_day = np.arange(_YEAR_DAYS) * -MS_PER_DAY + at_ms
    known = each_day >= since[0]
    places = np.maximum(np.searchsorted(since, each_day, side="right") - 1, 0)
    mean = float(np.where(known, celsius[places], REFERENCE_C).mean())
    ahead = np.arange(days[-1] + 1.0)
    expected = mean + (celsius[-1] - mean) * 0.5 ** (ahead / _HALF_WAY_DAYS)
    aged = np.concatenate([[0.0], np.cumsum(_factors(expected))])
    return np.asarray(np.interp(days, np.arange(len(aged)), aged))


def steps_of(histories: Sequence[So2History], asked_ms: Sequence[Sequence[int]]) -> tuple[So2Steps, list[list[int]]]:
    """Lay histories out as steps, with a step without entry at each moment that is asked for.

    asked_ms: for each history the moments [UTC ms], rising, none before its beginning. Returns the steps, and for each
    history the places of its moments among them. What happens at a moment that is asked for has happened by then.
    """
    rows = [_rows(history, moments) for history, moments in zip(histories, asked_ms, strict=True)]
    longest = max((len(table) for table, _ in rows), default=0)
    columns = np.zeros((len(So2Steps.__slots__), len(rows), longest))
    names = {name: column for column, name in enumerate(So2Steps.__slots__)}
    columns[names["titrated_mg_l"]] = np.nan
    for number, (table, _) in enumerate(rows):
        for place, row in enumerate(table):
            for name, value in row.items():
                columns[names[name], number, place] = value
        # A step without effect leaves what was there: also what has yet to bind.
        for name in ("log_loss", "spread", "unbound_mg_l"):
            columns[names[name], number, len(table) :] = table[-1][name]
    return So2Steps(*columns), [places for _, places in rows]


Row = dict[str, float]


def _rows(history: So2History, moments: Sequence[int]) -> tuple[list[Row], list[int]]:
    if any(moment < history.begin_ms for moment in moments):
        raise OutOfRange(
            "time",
            f"asked for {min(moments)} ms UTC, and this wine's history begins at {history.begin_ms} ms UTC: ask for a "
            "later time",
        )
    events: list[tuple[int, So2Entry | None]] = [(entry.at_ms, entry) for entry in history.entries]
    # A stable sort puts what is asked for behind the entries of the same moment.
    events = sorted(events + [(moment, None) for moment in moments], key=lambda event: event[0])
    rows: list[Row] = []
    places: list[int] = []
    doses: list[So2Added] = []
    loss = history.loss
    aged = _aged_days(history, [history.begin_ms, *(at_ms for at_ms, _ in events)])
    for (at_ms, entry), aged_days in zip(events, np.diff(aged), strict=True):
        row: Row = {"aged_days": float(aged_days)}
        if entry is None:
            places.append(len(rows))
        elif isinstance(entry, WineRacked) and entry.loss is not None:
            loss = entry.loss
        if entry is not None:
            row |= _effect(entry)
        if isinstance(entry, So2Added):
            doses.append(entry)
        row["unbound_mg_l"] = _unbound_mg_l(doses, at_ms)
        row |= {"log_loss": float(np.log(loss.mg_l_per_30_days)), "spread": loss.spread}
        rows.append(row)
    return rows, places


def _effect(entry: So2Entry) -> Row:
    match entry:
        case FreeTitrated():
            u_mg_l = default_u_mg_l(entry.free_mg_l) if entry.u_mg_l is None else entry.u_mg_l
            return {"titrated_mg_l": entry.free_mg_l, "titrated_var": u_mg_l**2}
        case So2Added():
            return {"added_mg_l": entry.so2_mg_l, "added_var_share": entry.u_share**2}
        case WineRacked():
            return _oxidised(entry.oxygen) | {"moved": float(entry.loss is not None)}
        case WineMixedIn():
            mixed = {"share": entry.share, "mixed_mg_l": entry.free_mg_l, "mixed_var": entry.u_free_mg_l**2}
            return _oxidised(entry.oxygen) | mixed


def _oxidised(oxygen: OxygenUptake) -> Row:
    u_squared = (oxygen.u_mg_l * MG_SO2_PER_MG_OXYGEN) ** 2 + (oxygen.mg_l * _U_MG_SO2_PER_MG_OXYGEN) ** 2
    return {"lost_mg_l": oxygen.mg_l * MG_SO2_PER_MG_OXYGEN, "lost_var": u_squared}


def _unbound_mg_l(doses: Sequence[So2Added], at_ms: int) -> float:
    unbound = 0.0
    for dose in reversed(doses):
        days = (at_ms - dose.at_ms) / MS_PER_DAY
        if days > _BOUND_AFTER_DAYS:
            break
        unbound += dose.so2_mg_l * exp(-days / _BINDING_DAYS)
    return unbound


def _aged_days(history: So2History, times_ms: Sequence[int]) -> Floats:
    """Count aged days up to each time, from any beginning; before the first temperature and after the last, by that."""
    since, celsius = _temperatures(history)
    factors = _factors(celsius)
    aged = np.concatenate([[0.0], np.cumsum(np.diff(since) / MS_PER_DAY * factors[:-1])])
    times = np.array(times_ms, dtype=np.float64)
    places = np.maximum(np.searchsorted(since, times, side="right") - 1, 0)
    return np.asarray(aged[places] + (times - since[places]) / MS_PER_DAY * factors[places])


def _temperatures(history: So2History) -> tuple[Floats, Floats]:
    """Give from when on [UTC ms] the wine had which temperature [°C]; at least one."""
    since, celsius = np.array(history.temperatures_c or [(history.begin_ms, REFERENCE_C)], dtype=np.float64).T
    return since, celsius


def _factors(celsius: Floats) -> Floats:
    """Give how much faster free SO2 is lost than at 15 °C."""
    return np.asarray(_FACTOR_PER_10_C ** ((celsius - REFERENCE_C) / 10.0))
