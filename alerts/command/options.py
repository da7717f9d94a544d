"""Options that several commands share, and what to make of their text."""

from __future__ import annotations

__all__ = [
    "AsOf",
    "Duration",
    "EntriesOfKind",
    "EntriesOfLot",
    "EntriesOfVessel",
    "File",
    "Json",
    "OneVessel",
    "Since",
    "Until",
    "Who",
    "Yes",
    "as_of_ms",
    "check_kinds",
    "duration_s",
    "refuse_given",
    "time_range",
    "user_name",
]

import getpass
import re
from collections.abc import Iterable, Mapping
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Annotated, Final
from zoneinfo import ZoneInfo

import typer

from ingest.errors import IngestError
from ingest.times import EARLIEST_MS, END_OF_TIME_MS, bound_of, moment_of

_DURATION: Final = re.compile(r"(\d+(?:\.\d+)?)\s*(s|min|h|d)", re.ASCII)
_DATE: Final = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
# What is expected of a later time is nothing that an estimate could say.
_FURTHEST_AHEAD_MS: Final = 366 * 86_400_000
_SECONDS: Final = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}


def duration_s(text: str) -> float:
    """A duration such as 90s, 5min, 1h or 2d, in seconds. Raises typer.BadParameter."""
    match = _DURATION.fullmatch(text.strip())
    if match is None or float(match[1]) <= 0:
        raise typer.BadParameter(f"'{text}' is not a duration; write 90s, 5min, 1h or 2d", param_hint="--for")
    return float(match[1]) * _SECONDS[match[2]]


# A command that takes it is a ``FileCommand``, which puts the usual file in its place where it is left out.
File = Annotated[
    Path,
    typer.Argument(
        metavar="FILE",
        show_default=False,
        help="The cellar file; it may be left out (see `leeside --help`).",
    ),
]
OneVessel = Annotated[str | None, typer.Argument(metavar="VESSEL", help="Only this vessel.")]
AsOf = Annotated[
    str | None,
    typer.Option("--at", metavar="TIME", help="As of this time: the end of a date, or date and time; by default now."),
]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
Since = Annotated[
    str | None,
    typer.Option("--from", metavar="TIME", help="From this time on: a date, date and time, or today."),
]
Until = Annotated[str | None, typer.Option("--to", metavar="TIME", help="Up to, not including, this time.")]
Duration = Annotated[
    float | None,
    typer.Option("--for", metavar="SPAN", parser=duration_s, help="Stop after this long, such as 90s, 5min or 1h."),
]
Who = Annotated[str | None, typer.Option("--who", metavar="NAME", help="Who did it; by default your user name.")]
Yes = Annotated[bool, typer.Option("--yes", help="Ask nothing at a terminal, and write at once.")]
EntriesOfVessel = Annotated[
    str | None, typer.Option("--vessel", metavar="ID", help="Only entries of this vessel, cylinder or room.")
]
EntriesOfLot = Annotated[
    str | None,
    typer.Option("--lot", metavar="ID", help="Only entries of this lot, and of vessels while it was in them."),
]
EntriesOfKind = Annotated[
    list[str] | None,
    typer.Option("--kind", metavar="KIND", help="Only entries of this kind; may be given several times."),
]


def as_of_ms(at: str | None, zone: ZoneInfo, now_ms: int) -> int:
    """--at as UTC ms, by default now; not more than a year ahead. Raises typer.BadParameter.

    A date alone is the end of that day, with all that was written down of it, and of today now.
    """
    if at is None:
        return now_ms
    try:
        at_ms = moment_of(at, zone)
    except IngestError as error:
        raise typer.BadParameter(str(error), param_hint="--at") from error
    if _DATE.fullmatch(at.strip()):
        tomorrow = datetime.combine(date.fromisoformat(at.strip()) + timedelta(days=1), time(), zone)
        end_ms = int(tomorrow.timestamp()) * 1000 - 1
        at_ms = now_ms if at_ms <= now_ms <= end_ms else end_ms
    if not EARLIEST_MS <= at_ms <= now_ms + _FURTHEST_AHEAD_MS:
        raise typer.BadParameter(f"{at} is too far away: from the year 2000 to a year ahead", param_hint="--at")
    return at_ms


def refuse_given(options: Mapping[str, object], why: str) -> None:
    """Raise typer.BadParameter that names each option that was given. options: name to value."""
    given = [option for option, value in options.items() if value not in (None, False, [], ())]
    if given:
        raise typer.BadParameter(why, param_hint=", ".join(given))


def check_kinds(kinds: Iterable[str] | None) -> None:
    """Raise typer.BadParameter for a kind of entries that there is not."""
    from ingest.journal.kinds import KINDS

    for kind in kinds or ():
        if kind not in KINDS:
            raise typer.BadParameter(f"there is no kind '{kind}'; there are: {', '.join(KINDS)}", param_hint="--kind")


def time_range(since: str | None, until: str | None, zone: ZoneInfo, now_ms: int) -> tuple[int, int]:
    """--from and --to in UTC ms, all time by default. Raises typer.BadParameter."""
    try:
        from_ms = 0 if since is None else bound_of(since, zone, now_ms)
        to_ms = END_OF_TIME_MS if until is None else bound_of(until, zone, now_ms)
    except IngestError as error:
        raise typer.BadParameter(str(error), param_hint="--from, --to") from error
    if from_ms >= to_ms:
        raise typer.BadParameter(f"--from {since} is not before --to {until}")
    return from_ms, to_ms


def user_name() -> str:
    """The name of the user who runs the command: who an entry is by, where no name is given."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a system user without a name
        return "somebody"
