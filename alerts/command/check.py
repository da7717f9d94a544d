"""`leeside check`: what is wrong in a cellar file; where nothing is, what would be watched, and whether it answers."""

from __future__ import annotations

__all__ = ["check"]

import json
import os
import sys
from collections.abc import Iterator
from dataclasses import asdict
from itertools import chain
from typing import TYPE_CHECKING, Annotated, Final

import typer

from alerts.command.options import File, Json
from alerts.view.format import age, quantity_name, value_text
from ingest.cellar import Cellar, EffectiveLimit, load_cellar
from ingest.errors import CellarFileError
from ingest.process import wall_ms

if TYPE_CHECKING:
    from alerts.command.live_check import Finding


EXAMPLE: Final = "leeside check cellar.toml"


def check(
    file: File,
    as_json: Json = False,
    live: Annotated[
        bool, typer.Option("--live", help="Also try broker, topics, serial lines, chips, mail server and mirror.")
    ] = False,
    with_store: Annotated[bool, typer.Option("--store", help="Also check the whole store for damage.")] = False,
) -> int:
    """List everything that is wrong in a cellar file or, if nothing is, the limits that will be watched.

    Exit code 1 for a mistake in the file, and where something that was tried failed.
    """
    try:
        cellar = load_cellar(file)
    except CellarFileError as error:
        if as_json:
            print(
                json.dumps(
                    {"ok": False, "problems": [asdict(problem) for problem in error.problems]},
                    indent=2,
                    ensure_ascii=False,
                )
            )
        else:
            for problem in error.problems:
                print(f"{error.file}: {problem}", file=sys.stderr)
            count = len(error.problems)
            print(f"{count} mistake{'s' if count > 1 else ''}; nothing was started.", file=sys.stderr)
        return 1
    if not as_json:
        _print(cellar)
    tried = _try_out(cellar, live=live, with_store=with_store, as_json=as_json) if live or with_store else []
    ok = all(finding.ok for finding in tried)
    if as_json:
        out: dict[str, object] = {
            "ok": ok,
            "site": cellar.site.name,
            "limits": [asdict(limit) for limit in cellar.limits],
        }
        if live or with_store:
            out["tried"] = [asdict(finding) for finding in tried]
        print(json.dumps(out, indent=2, ensure_ascii=False))
    return 0 if ok else 1


def _try_out(cellar: Cellar, *, live: bool, with_store: bool, as_json: bool) -> list[Finding]:
    """Try what was asked for; each result is printed as soon as it is there, since some of them take a while."""
    from alerts.command.live_check import live_findings
    from alerts.command.store_check import store_findings

    now_ms = wall_ms()
    found: Iterator[Finding] = live_findings(cellar, os.environ, now_ms) if live else iter(())
    if with_store:
        found = chain(found, store_findings(cellar, now_ms))
    tried = []
    if not as_json:
        print("\nTried out:", flush=True)
    for finding in found:
        tried.append(finding)
        if not as_json:
            verdict = "ok   " if finding.ok else "FAILS"
            print(f"  {verdict}  {finding.part} {finding.name}: {finding.told}", flush=True)
    if not tried and not as_json:
        print("  nothing: the file names no broker, no line and no mail server")
    return tried


def _print(cellar: Cellar) -> None:
    print(
        f"{cellar.file}: {cellar.site.name}: {_count(len(cellar.vessel), 'vessel')}, "
        f"{_count(len(cellar.cylinder), 'cylinder')}, {_count(len(cellar.room), 'room')}, "
        f"{_count(len(cellar.probe), 'probe')}. No mistakes."
    )
    print("\nWatched:")
    for limit in cellar.limits:
        print(f"  {limit.key}")
        print(f"      {_limit_words(limit, cellar.site.units)}")
    if cellar.backup is None:
        print("\nThere is no [backup] table: the store is backed up only when you call `leeside backup`.")
    if cellar.mail is None:
        print("\nThere is no [mail] table: alarms are shown by `leeside now` and on the page, but nobody is told.")


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _limit_words(limit: EffectiveLimit, units: str) -> str:
    hours = "in waking hours" if limit.hours == "waking" else "at any hour"
    origin = "" if limit.origin == "file" else ", default"
    if limit.kind == "no data":
        span = age(round(limit.setpoint * 1000))
        return f"no data from {limit.probe} for {span}: {limit.priority} priority, {hours}{origin}"
    word = "below" if limit.kind == "low" else "above"
    delay = f" for {limit.on_delay_s:g} s" if limit.on_delay_s else ""
    return (
        f"{quantity_name(limit.quantity)} {word} {value_text(limit.quantity, limit.setpoint, units)}{delay}: "
        f"{limit.priority} priority, {hours}{origin}"
    )
