"""`leeside check`: what is wrong in a cellar file or, if nothing is, what will be watched and whether it works."""

from __future__ import annotations

__all__ = ["check"]

import os
import sys
from collections.abc import Collection, Iterator
from dataclasses import asdict
from typing import Annotated, Final

import typer

from alerts.command.checks.check_result import CheckResult
from alerts.command.checks.check_warnings import check_warnings
from alerts.command.options import File, Json, refuse_given, user_name
from alerts.view.format import counted, days_text, duration_text, quantity_name, setpoint_text, value_text
from ingest.cellar import Cellar, DueRule, EffectiveLimit, Priority, Recipient, due_rules, load_cellar, wine_limit
from ingest.errors import CellarFileError
from ingest.json_text import json_text
from ingest.machine_clock import network_sets_clock
from ingest.process import wall_ms

_PRIORITIES: Final[tuple[Priority, ...]] = ("high", "medium", "low")
_HOURS: Final = {"any": "at any hour", "waking": "in waking hours", "digest": "with the digest"}
EXAMPLE: Final = "leeside check cellar.toml"


def check(
    file: File,
    as_json: Json = False,
    live: Annotated[
        bool, typer.Option("--live", help="Also try broker, topics, serial lines, chips, mail server and mirror.")
    ] = False,
    with_store: Annotated[bool, typer.Option("--store", help="Also check the whole store for damage.")] = False,
    with_clock: Annotated[
        bool, typer.Option("--clock", help="Also check the machine's clock against what the store knows.")
    ] = False,
    forget: Annotated[
        bool,
        typer.Option("--forget", help="With --clock: the machine's clock is right; forget the future that is stored."),
    ] = False,
    ring: Annotated[
        bool, typer.Option("--ring", help="Send a real test message with a code to everybody on each channel.")
    ] = False,
    person: Annotated[
        str | None, typer.Option("--person", metavar="ID", help="With --ring: only to this person.")
    ] = None,
    confirm: Annotated[
        str | None, typer.Option("--confirm", metavar="CODE", help="Note that a test message has arrived, by its code.")
    ] = None,
) -> int:
    """List everything that is wrong in a cellar file or, if nothing is, the limits that will be watched.

    Exit code 1 for a mistake in the file, and where something that was tried failed.
    """
    others: dict[str, object] = {"--live": live, "--store": with_store, "--clock": with_clock, "--forget": forget}
    _refuse_ignored(ring, person, confirm, others)
    try:
        cellar = load_cellar(file)
    except CellarFileError as error:
        _print_mistakes(error, as_json=as_json)
        return 1
    with_clock = with_clock or forget
    tries = live or with_store or with_clock
    if ring or confirm is not None:
        trials, tries = _ring(cellar, person, confirm), True
    else:
        trials = _try_out(cellar, live=live, with_store=with_store, with_clock=with_clock, forget=forget)
        if not as_json:
            _print(cellar)
    results: list[CheckResult] = []
    for result in trials:
        if not results and not as_json:
            print("\nTried out:", flush=True)
        results.append(result)
        if not as_json:
            # Some take a while, so each is printed as soon as it is there.
            print(f"  {result}", flush=True)
    if tries and not results and not as_json:
        print("\nTried out:\n  nothing: the file names no broker, no line and no mail server")
    ok = all(result.ok for result in results)
    if as_json:
        out: dict[str, object] = {
            "ok": ok,
            "site": cellar.site.name,
            "limits": [asdict(limit) for limit in cellar.limits],
            "warnings": list(check_warnings(cellar)),
        }
        if tries or results:
            out["tried"] = [result.as_json() for result in results]
        print(json_text(out, indent=2))
    return 0 if ok else 1


def _refuse_ignored(ring: bool, person: str | None, confirm: str | None, others: dict[str, object]) -> None:
    """Refuse options of which one would be ignored."""
    if confirm is not None:
        refuse_given({"--ring": ring, "--person": person, **others}, "cannot be combined with --confirm")
    elif ring:
        refuse_given(others, "cannot be combined with --ring")
    else:
        refuse_given({"--person": person}, "only with --ring")


def _print_mistakes(error: CellarFileError, *, as_json: bool) -> None:
    if as_json:
        out = {"ok": False, "problems": [asdict(problem) for problem in error.problems]}
        print(json_text(out, indent=2))
        return
    for problem in error.problems:
        print(f"{error.file}: {problem}", file=sys.stderr)
    print(f"{counted(len(error.problems), 'mistake')}; nothing was started.", file=sys.stderr)


def _try_out(cellar: Cellar, *, live: bool, with_store: bool, with_clock: bool, forget: bool) -> Iterator[CheckResult]:
    # All of these import what a look at the file alone does not need.
    from alerts.command.checks.check_channels import read_channels
    from alerts.command.checks.check_clock import check_clock
    from alerts.command.checks.check_live import check_live
    from alerts.command.checks.check_store import check_store

    now_ms = wall_ms()
    if live:
        yield from check_live(cellar, os.environ, now_ms)
    elif cellar.channel:
        yield from read_channels(cellar, os.environ)
    if with_store:
        yield from check_store(cellar, now_ms)
    if with_clock:
        yield from check_clock(cellar, now_ms, network_sets_clock(), forget=forget)


def _ring(cellar: Cellar, person: str | None, code: str | None) -> Iterator[CheckResult]:
    """Note that a test message has arrived, or send some."""
    from alerts.command.checks.check_ring import check_ring, confirm, people_meant

    if code is not None:
        return iter([confirm(cellar, code)])
    return check_ring(cellar, people_meant(cellar, person), user_name())


def _print(cellar: Cellar) -> None:
    print(
        f"{cellar.file}: {cellar.site.name}: {counted(len(cellar.vessel), 'vessel')}, "
        f"{counted(len(cellar.cylinder), 'cylinder')}, {counted(len(cellar.room), 'room')}, "
        f"{counted(len(cellar.probe), 'probe')}. No mistakes."
    )
    print("\nWatched:")
    for limit in cellar.limits:
        print(f"  {limit.key}")
        print(f"      {_limit_text(limit, cellar.site.units)}")
    for setting in cellar.limit:
        if setting.lot is not None and setting.due is None:
            limit = wine_limit(setting)
            print(f"  {limit.key}, wherever it lies")
            print(f"      {_limit_text(limit, cellar.site.units)}")
    for rule in due_rules(cellar.limit):
        if not rule.is_default:
            print(f"  {rule.work}{_target_text(rule)}")
            print(
                f"      due after {days_text(rule.after_days or 0.0)}: {rule.priority} priority, {_HOURS[rule.hours]}"
            )
    print(
        "\nAlso watched: that each probe gives good readings; the gas and the sulfur dioxide of what the journal puts "
        "into a vessel;\nwork that falls due; leeside itself. `leeside limits` lists every limit."
    )
    for warning in check_warnings(cellar):
        print(f"\nWARNING: {warning}")
    if cellar.backup is None:
        print("\nThere is no [backup] table: the store is backed up only when you call `leeside backup`.")
    if cellar.person:
        print("\nMessages go to:")
    for recipient in cellar.recipients if cellar.person else ():
        print(f"  {recipient.name}: {_recipient_text(recipient)}")
    if not cellar.recipients:
        print(
            "\nThere is no [[person]] and no [mail] to: `leeside now` and the page show alarms, but nobody gets them."
        )


def _recipient_text(recipient: Recipient) -> str:
    """What a recipient gets, and when."""
    gets, woken = _priorities_text(recipient.priorities), _priorities_text(recipient.woken_by)
    delay = "" if recipient.after_s is None else f", if nobody acknowledges for {duration_text(recipient.after_s)}"
    begin, end = (at.strftime("%H:%M") for at in recipient.waking)
    return f"{gets}{delay}; awake {begin}-{end}, woken by {woken}"


def _priorities_text(priorities: Collection[Priority]) -> str:
    if set(priorities) == set(_PRIORITIES):
        return "all alarms"
    words = " and ".join(priority for priority in _PRIORITIES if priority in priorities)
    return f"alarms of {words} priority" if words else "no alarm"


def _target_text(rule: DueRule) -> str:
    """What a rule on due work applies to."""
    if rule.lot is not None:
        return " of all wine" if rule.lot == "any" else f" of lot {rule.lot}"
    subject = rule.at or rule.probe
    return "" if subject is None else f" of {subject}"


def _limit_text(limit: EffectiveLimit, units: str) -> str:
    hours = _HOURS[limit.hours]
    origin = "" if limit.origin == "file" else ", default"
    if limit.kind == "no data":
        span = duration_text(limit.setpoint)
        return f"no data from {limit.probe} for {span}: {limit.priority} priority, {hours}{origin}"
    if limit.kind == "rate":
        change = f"{quantity_name(limit.quantity)} changes by more than {setpoint_text(limit)}"
        return f"{change}: {limit.priority} priority, {hours}{origin}"
    word = "below" if limit.kind == "low" else "above"
    delay = f" for {duration_text(limit.on_delay_s)}" if limit.on_delay_s else ""
    return (
        f"{quantity_name(limit.quantity)} {word} {value_text(limit.quantity, limit.setpoint, units)}{delay}: "
        f"{limit.priority} priority, {hours}{origin}"
    )
