"""`leeside away`: what falls short until the owner is back, and who gets the messages until then."""

from __future__ import annotations

__all__ = ["away"]

import re
import sys
from datetime import UTC, date, datetime, time, timedelta
from typing import Annotated, Final
from zoneinfo import ZoneInfo

import typer

from alerts.absence.foresee import foresee
from alerts.absence.shortfall import Shortfall
from alerts.absence.shortfall_lines import shortfall_json, shortfall_lines
from alerts.command.away_warnings import (
    gap_json,
    gap_lines,
    gaps_of,
    meter_lines,
    rooms_with_meter,
    standing,
    standing_lines,
)
from alerts.command.opened_cellar import open_cellar
from alerts.command.options import File, Json, Who, Yes, refuse_given, user_name
from alerts.command.terminal import Terminal, at_a_terminal, print_plain
from alerts.view.absence_lines import absence_json, absence_line, stands_in
from alerts.view.format import local_time, with_capital
from ingest.cellar import Cellar, nearest
from ingest.errors import IngestError
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.store import Store
from ingest.store.alarms.absences import LONGEST_ABSENCE_MS, Absence, absence_at, begin_absence, end_absence
from ingest.times import moment_of

EXAMPLE: Final = "leeside away cellar.toml --until 2026-12-20 --helper bo"
_DATE: Final = re.compile(r"\d{4}-\d{2}-\d{2}")


def away(
    file: File,
    until: Annotated[
        str | None,
        typer.Option(
            "--until", metavar="TIME", help="When you are back: a date, which counts to its end, or date and time."
        ),
    ] = None,
    helper: Annotated[
        str | None,
        typer.Option("--helper", metavar="PERSON", help="The [[person]] who gets the messages instead of you."),
    ] = None,
    end: Annotated[bool, typer.Option("--end", help="You are back: messages go to you again.")] = False,
    who: Who = None,
    yes: Yes = False,
    as_json: Json = False,
) -> int:
    """Show what falls short while you are away, and send messages to a helper until you are back.

    The helper gets the alarms about which somebody who does not know the cellar can safely do something, with those
    steps. Overpressure, and any other alarm of high priority, still goes to you at once; the rest waits until you are
    back. With --until alone the command prints only the forecast; without options, whether anybody is away.
    """
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store):
        if end:
            refuse_given({"--until": until, "--helper": helper}, "cannot be combined with --end")
            return _end(cellar, store, now_ms, as_json=as_json)
        if until is None:
            refuse_given({"--helper": helper}, "needs --until, the day on which you are back")
            return _show(cellar, store, now_ms, as_json=as_json)
        until_ms = _until_ms(until, cellar.site.zone, now_ms)
        if helper is not None:
            _require_person(cellar, helper, now_ms, until_ms)
        with store.read():
            shortfalls, alarms = foresee(cellar, store, now_ms, until_ms), standing(store)
            gaps = [] if helper is None else gaps_of(cellar, store, _planned(helper, now_ms, until_ms), now_ms)
            meters = [] if helper is None else rooms_with_meter(cellar, store, now_ms)
        terminal = Terminal(sys.stderr if as_json else sys.stdout)
        if not as_json:
            for line in standing_lines(alarms):
                print_plain(line)
            _print_forecast(shortfalls, cellar, now_ms)
            for line in (*gap_lines(gaps, helper or ""), *meter_lines(meters, helper or "")):
                print_plain(line)
        begins = helper is not None
        if begins and not yes and at_a_terminal():
            begins = terminal.agree(f"Send messages to {helper} from now on?", empty_is_yes=False)
        before = absence_at(store.connection, now_ms)
        if begins and helper is not None:
            begin_absence(store, helper, who or user_name(), now_ms, until_ms)
        if as_json:
            absence = absence_at(store.connection, now_ms) if begins else None
            answer = {
                "away": None if absence is None else absence_json(absence),
                "standing": alarms,
                "shortfalls": [shortfall_json(each) for each in shortfalls],
                "unreached": [gap_json(each) for each in gaps],
                "rooms_that_need_a_meter": meters,
            }
            print(json_text(answer, indent=2))
        elif begins:
            print_plain()
            if before is not None:
                until_then = local_time(before.over_ms, cellar.site.zone, now_ms)
                print_plain(f"This takes the place of the absence until {until_then}, with {before.helper}.")
            _show(cellar, store, now_ms, as_json=False)
        elif helper is not None:
            print_plain("Nothing was changed.")
        return 0 if begins or helper is None else 1


def _until_ms(text: str, zone: ZoneInfo, now_ms: int) -> int:
    """A date means the end of that day."""
    try:
        until_ms = moment_of(text, zone)
        if _DATE.fullmatch(text.strip()):
            after = date.fromisoformat(text.strip()) + timedelta(days=1)
            until_ms = round(datetime.combine(after, time(), zone).astimezone(UTC).timestamp() * 1000)
    except IngestError as error:
        raise typer.BadParameter(str(error), param_hint="--until") from error
    except OverflowError:  # the day after the last one that a calendar has
        until_ms = now_ms + LONGEST_ABSENCE_MS + 1
    if until_ms <= now_ms:
        raise typer.BadParameter(f"{text} is past; give the day on which you are back", param_hint="--until")
    if until_ms - now_ms > LONGEST_ABSENCE_MS:
        raise typer.BadParameter(f"{text} is more than a year from now; allowed: a year", param_hint="--until")
    return until_ms


def _planned(helper: str, now_ms: int, until_ms: int) -> Absence:
    return Absence(0, now_ms, until_ms, helper, "", None)


def _require_person(cellar: Cellar, helper: str, now_ms: int, until_ms: int) -> None:
    known = [person.id for person in cellar.person]
    if helper not in known:
        near = nearest(helper, known)
        meant = f"did you mean {near}? " if near else ""
        there = f"{meant}there are: {', '.join(known)}" if known else "it has no [[person]] yet; add one with a channel"
        raise typer.BadParameter(f"the cellar file has no [[person]] '{helper}'; {there}", param_hint="--helper")
    if not stands_in(_planned(helper, now_ms, until_ms), cellar):
        raise typer.BadParameter(
            f"nobody but {helper} gets alarms of high priority, so one about which a helper can do nothing would reach "
            'nobody; name yourself in [mail] to or as a [[person]] with "high" in priorities, or choose another helper',
            param_hint="--helper",
        )


def _print_forecast(shortfalls: list[Shortfall], cellar: Cellar, now_ms: int) -> None:
    if not shortfalls:
        print_plain("As far as leeside can see, nothing falls short until then.")
    for shortfall in shortfalls:
        for line in shortfall_lines(shortfall, cellar.site.zone, now_ms):
            print_plain(line)


def _show(cellar: Cellar, store: Store, now_ms: int, *, as_json: bool) -> int:
    absence = absence_at(store.connection, now_ms)
    if as_json:
        print(json_text({"away": None if absence is None else absence_json(absence)}, indent=2))
    elif absence is None:
        print_plain("Nobody is away: messages go to everybody as the cellar file has it.")
    else:
        line = with_capital(absence_line(absence, cellar, now_ms))
        print_plain(f"{line}. `leeside away --end` ends it.")
    return 0


def _end(cellar: Cellar, store: Store, now_ms: int, *, as_json: bool) -> int:
    ended = end_absence(store, now_ms)
    if as_json:
        print(json_text({"ended": None if ended is None else absence_json(ended)}, indent=2))
    else:
        print_plain("Nobody was away." if ended is None else "Messages go to you again.")
    return 0 if ended is not None else 1
