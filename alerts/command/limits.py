"""`leeside limits`: every limit that is watched, or the message that one of them would send."""

from __future__ import annotations

__all__ = ["limits"]

import difflib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Annotated, Final

import typer

from alerts.command.limit_trial import try_out
from alerts.command.options import File, Json, Who, refuse_given, user_name
from alerts.command.terminal import print_plain
from alerts.limits.limits_now import limits_now
from alerts.view.alarms.limit_lines import LimitStatus, limit_json, limit_lines, limit_statuses, limits_by_place
from alerts.watch.own_limits import watched_limits
from ingest.cellar import Cellar, WinePlaces, load_cellar
from ingest.errors import StoreMissing
from ingest.json_text import json_text
from ingest.plain_text import line_problem
from ingest.process import wall_ms
from ingest.store import Store, open_existing
from ingest.store.alarms.alarm_record import alarm_rows, last_raised_ms, last_steps

EXAMPLE: Final = "leeside limits cellar.toml K1"
# In characters, as in the alarm record.
_LONGEST_WHO: Final = 200


def limits(
    file: File,
    text: Annotated[
        str | None, typer.Argument(metavar="TEXT", help="Only limits of this place, or with this text in their key.")
    ] = None,
    as_json: Json = False,
    try_key: Annotated[
        str | None, typer.Option("--try", metavar="KEY", help="Show the message that this limit would send.")
    ] = None,
    value: Annotated[
        str | None, typer.Option("--value", metavar="AMOUNT", help="With --try: what is measured, such as '4 kPa'.")
    ] = None,
    send: Annotated[
        bool, typer.Option("--send", help="With --try: send the message, marked as a trial in its subject.")
    ] = False,
    who: Who = None,
) -> int:
    """List every limit that is watched: of the cellar file, by default, and on leeside itself.

    With --try nothing is raised. Exit code 1 where no limit fits TEXT, the value is not beyond the limit, or the
    message could not be sent.
    """
    if try_key is None:
        refuse_given({"--value": value, "--send": send, "--who": who}, "only with --try")
    elif value is None:
        raise typer.BadParameter("say what is measured, such as --value '4 kPa'", param_hint="--value")
    else:
        if problem := line_problem(who or "", _LONGEST_WHO):
            raise typer.BadParameter(problem, param_hint="--who")
        refuse_given({"TEXT": text, "--json": as_json}, "not with --try")
    cellar, now_ms = load_cellar(file), wall_ms()
    with _store_of(cellar) as store:
        statuses = _statuses(cellar, store)
        if try_key is not None and value is not None:
            status = _by_key(statuses, try_key)
            return try_out(cellar, store, status, value, now_ms, send_as=(who or user_name()) if send else None)
    statuses = [status for status in statuses if text is None or _fits(status, text)]
    if as_json:
        print(json_text({"limits": [limit_json(status) for status in statuses]}, indent=2))
    elif statuses:
        for line in limit_lines(limits_by_place(cellar, statuses), cellar.site.zone, now_ms):
            print_plain(line)
    else:
        print_plain(f"No limit has '{text}' in its place or key; `leeside limits {file}` lists all.")
    return 0 if statuses else 1


@contextmanager
def _store_of(cellar: Cellar) -> Iterator[Store | None]:
    """The store, None before the first `leeside run`: the limits are known without it."""
    try:
        store = open_existing(cellar.store_path)
    except StoreMissing:
        yield None
        return
    with store:
        yield store


def _statuses(cellar: Cellar, store: Store | None) -> list[LimitStatus]:
    if store is None:
        return limit_statuses(watched_limits(cellar, WinePlaces()).values(), (), {}, {})
    with store.read():
        watched = limits_now(cellar, store, wall_ms()).values()
        return limit_statuses(watched, alarm_rows(store), last_steps(store), last_raised_ms(store))


def _by_key(statuses: Iterable[LimitStatus], key: str) -> LimitStatus:
    by_key = {status.limit.key: status for status in statuses}
    if key in by_key:
        return by_key[key]
    near = difflib.get_close_matches(key, by_key, n=3, cutoff=0.5)
    meant = f"did you mean {' or '.join(near)}? " if near else ""
    raise typer.BadParameter(f"there is no limit '{key}'; {meant}`leeside limits FILE` lists all", param_hint="--try")


def _fits(status: LimitStatus, text: str) -> bool:
    limit = status.limit
    return text == limit.at or text.casefold() in limit.key.casefold()
