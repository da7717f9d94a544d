"""`leeside check`: what is wrong in a cellar file; where nothing is, what would be watched."""

from __future__ import annotations

__all__ = ["run_check"]

import json
import sys
from dataclasses import asdict
from pathlib import Path

from alerts.page.shown import age, quantity_word, value_shown
from ingest.cellar import Cellar, EffectiveLimit, load_cellar
from ingest.errors import CellarFileError


def run_check(file: Path, as_json: bool) -> int:
    """Print the mistakes (exit code 1), or the cellar with its limits (exit code 0)."""
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
    if as_json:
        limits = [asdict(limit) for limit in cellar.limits]
        print(json.dumps({"ok": True, "site": cellar.site.name, "limits": limits}, indent=2, ensure_ascii=False))
        return 0
    _print(cellar)
    return 0


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
        f"{quantity_word(limit.quantity)} {word} {value_shown(limit.quantity, limit.setpoint, units)}{delay}: "
        f"{limit.priority} priority, {hours}{origin}"
    )
