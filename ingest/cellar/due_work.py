"""Work that falls due: what it is done to, and after how long by default.

The default times come from common practice and surveys, named beside them. Nobody is woken for such work.
"""

from __future__ import annotations

__all__ = [
    "DUE_NAMES",
    "DUE_WORK",
    "LEAST_AFTER_DAYS",
    "LONGEST_AFTER_DAYS",
    "NEVER_MEASURED",
    "DueName",
    "DueWork",
    "filled_in",
]

import typing
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

DueName = Literal["titration", "re-test", "pH", "racking", "topping", "airlock", "calibration", "titrant"]
DUE_NAMES: Final[tuple[str, ...]] = typing.get_args(DueName)

# The sort of wine whose pH nobody has measured, for limits on due work.
NEVER_MEASURED: Final = "never measured"

LEAST_AFTER_DAYS: Final = 0.5
LONGEST_AFTER_DAYS: Final = 5 * 365.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DueWork:
    """A kind of work.

    of: what it is done to: "wine" (a lot, wherever it lies), a "vessel", a "probe" or a "titrant"; after_days: by
    default, by the vessel's kind (or ``NEVER_MEASURED``), the probe's quantity or the titrant's substance; a sort that
    is missing has no default limit; done: how a message says when it was done last; begun: since when it is awaited
    where it never was; source: of the times.
    """

    name: DueName
    of: Literal["wine", "vessel", "probe", "titrant"]
    after_days: Mapping[str, float]
    done: str
    begun: str
    consequence: str
    action: str
    source: str


def _resting(days: float) -> dict[str, float]:
    """The same for every vessel in which wine rests; bottles are closed."""
    return dict.fromkeys(("keg", "carboy", "barrel", "tank"), days)


DUE_WORK: Final[dict[str, DueWork]] = {
    work.name: work
    for work in (
        DueWork(
            name="titration",
            of="wine",
            after_days=_resting(31),
            done="last titrated",
            begun="filled",
            consequence="Free SO2 falls unseen, and what leeside says of it becomes a guess.",
            action="Titrate free SO2 and write it down: leeside enter titration.",
            source="Winemakers Research Exchange, survey of Virginia wineries, 2019: 60 % test monthly",
        ),
        DueWork(
            name="re-test",
            of="wine",
            after_days=_resting(1),
            done="SO2 added",
            begun="SO2 added",
            consequence="Nobody knows how much of the addition stayed free.",
            action="Titrate free SO2 and write it down: leeside enter titration.",
            source="common practice, no source: one to three days after each addition",
        ),
        DueWork(
            name="pH",
            of="wine",
            after_days={**_resting(120), NEVER_MEASURED: 14},
            done="pH last measured",
            begun="filled",
            consequence="Molecular SO2 rests on the pH: 0.1 pH off is a quarter of it. Without one there is no limit "
            "on molecular SO2 at all.",
            action="Calibrate the meter, measure the pH and write it down: leeside enter measurement.",
            source="common practice, no source: with the first titration, and again after a season",
        ),
        DueWork(
            name="racking",
            of="wine",
            after_days=_resting(183),
            done="last racked",
            begun="filled",
            consequence="Wine that lies on its lees for long can take up off-flavours from them.",
            action="Look at the lees and taste. Rack if they are thick or smell; else give the limit a longer `after`.",
            source="common practice in Bordeaux: 4 to 6 months between rackings; under inert gas less often",
        ),
        DueWork(
            name="topping",
            of="vessel",
            after_days={"carboy": 31, "barrel": 28},
            done="last topped up or looked at",
            begun="filled",
            consequence="Wine evaporates and shrinks in the cold: air over it spoils it.",
            action="Look at the level. Top up and write it down (leeside enter topping), or that it is full "
            "(leeside enter inspection).",
            source="common practice, no source: barrels every two to four weeks, carboys monthly",
        ),
        DueWork(
            name="airlock",
            of="vessel",
            after_days={"carboy": 7},
            done="last looked at",
            begun="filled",
            consequence="A dry airlock is an open vessel.",
            action="Fill the airlock if it is low, and write down what you saw: "
            "leeside enter vessel-status --airlock yes.",
            source="common practice, no source: weekly",
        ),
        DueWork(
            name="calibration",
            of="probe",
            after_days={"pH": 31, "pressure": 365, "temperature": 365, "barometric_pressure": 365},
            done="last calibrated",
            begun="first read",
            consequence="Its readings drift, and with them all that rests on them.",
            action="Check it against buffers or a known value, and calibrate it: leeside enter calibration.",
            source="common practice, no source: pH electrodes monthly; pressure transmitters drift by 0.1 to 0.25 % of "
            "their range in a year",
        ),
        DueWork(
            name="titrant",
            of="titrant",
            after_days={"iodine": 31, "sodium hydroxide": 31, "iodide-iodate": 183},
            done="standardised",
            begun="opened",
            consequence="Its strength is no longer what the label says, and every titration is wrong by as much.",
            action="Standardise it, or open a new bottle, and write it down: leeside enter titrant.",
            source="common practice, no source: iodine and sodium hydroxide at least monthly, iodate twice a year",
        ),
    )
}


def filled_in(data: Any) -> Any:
    """Give a table ``[[limit]]`` on due work, as read, what it leaves out: consequence, action, priority, hours.

    A work that there is not is reported by its own key, not by what then is missing.
    """
    if not isinstance(data, dict) or not {"due", "after"} & data.keys():
        return data
    name = data.get("due")
    work = DUE_WORK[name] if isinstance(name, str) and name in DUE_WORK else DUE_WORK["titration"]
    return {
        "consequence": work.consequence,
        "action": work.action,
        "priority": "low",
        "hours": "digest",
        **data,
    }
