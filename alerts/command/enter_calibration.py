"""`leeside enter calibration`: a probe's zero and span, or a pH probe's buffers, as an entry that its scale follows."""

from __future__ import annotations

__all__ = ["calibration"]

import sys
from typing import Annotated, Final

import typer

from alerts.command.entry_dialog import ask_time
from alerts.command.opened_cellar import current_series, declared_probe, open_cellar
from alerts.command.options import File, Json, Who, Yes, user_name
from alerts.command.terminal import Terminal, at_a_terminal
from alerts.errors import NotWritten
from alerts.view.format import local_time, value_text
from alerts.view.journal_lines import entry_heading, entry_json
from ingest.cellar import QUANTITIES, Cellar, Dimension, Probe, parse_amount
from ingest.entering import moment
from ingest.errors import EntryRefused, IngestError
from ingest.journal.answers import AnswersWrong
from ingest.journal.entry import Draft
from ingest.journal.kinds import body_words
from ingest.journal.kinds.calibration import (
    CALIBRATION,
    CalibrationBody,
    CalibrationPoint,
    Correction,
    Point,
    correction_of,
    drift_warnings,
)
from ingest.journal.kinds.kind import NamedVessels
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.store import Store
from ingest.store.journal.calibration_parts import points_measured
from ingest.store.journal.entries import write_entry
from ingest.store.readings.scales import parts, scales, value_at
from ingest.times import Ambiguous, iso_utc

# A calibration as of now may have been looked at some minutes ago.
_OF_NOW_MS: Final = 15 * 60_000


def calibration(
    file: File,
    probe: Annotated[
        str | None, typer.Argument(metavar="PROBE", help="The probe's id; a terminal asks for it.")
    ] = None,
    truth: Annotated[
        list[str] | None,
        typer.Option("--truth", help="What was true, such as '0 kPa'; twice for zero and span. A terminal asks."),
    ] = None,
    reads: Annotated[
        list[str] | None,
        typer.Option("--reads", help="What leeside showed at that point; without it the newest reading counts."),
    ] = None,
    since: Annotated[
        str | None,
        typer.Option("--at", "--from", metavar="TIME", help="From when on it holds: a date, or date and time; now."),
    ] = None,
    temperature: Annotated[
        str | None, typer.Option("--temperature", metavar="AMOUNT", help="How warm it was, such as '20 °C'.")
    ] = None,
    remark: Annotated[str | None, typer.Option("--remark", metavar="TEXT", help="A remark.")] = None,
    who: Who = None,
    yes: Yes = False,
    as_json: Json = False,
) -> None:
    """Write down a calibration: work out the correction, show it, and let the probe's scale take it."""
    now_ms = wall_ms()
    asking = at_a_terminal() and not yes
    terminal = Terminal(sys.stderr if as_json else sys.stdout)
    with open_cellar(file) as (cellar, store):
        if probe is None and asking:
            probe = _ask_probe(terminal, cellar)
        declared = declared_probe(cellar, probe, "PROBE")
        series = current_series(store, declared).id
        from_ms = _from(terminal if asking else None, since, cellar, now_ms)
        if not truth and asking:
            truth, reads = _ask_points(terminal, declared, reads or [], of_now=now_ms - from_ms <= _OF_NOW_MS)
        if not truth:
            raise typer.BadParameter("say what was true", param_hint="--truth")
        if not reads and now_ms - from_ms > _OF_NOW_MS:
            raise typer.BadParameter(
                "what the probe shows now says nothing about an earlier time; give what it showed then with --reads",
                param_hint="--reads",
            )
        shown = _points(store, series, declared, truth, reads or [], from_ms)
        row = QUANTITIES[declared.quantity]
        body = CalibrationBody(
            probe=declared.id,
            points=tuple(shown),
            unit=row.unit,
            temperature_c=None if temperature is None else _celsius(temperature),
            remark=remark or None,
        )
        measured = points_measured(parts(store, series), shown, from_ms)
        correction = correction_of(measured, row.resolution, row.unit)
        draft = Draft("calibration", from_ms, user_name() if who is None else who, body, declared.at)
        caution = CALIBRATION.caution(body, NamedVessels())
        if caution:
            terminal.say(f"Caution: {caution}.")
        moves = [(point.measured, correction.gain * point.measured + correction.offset) for point in measured]
        for warning in drift_warnings(declared.quantity, row.unit, moves):
            terminal.say(f"warning: {warning}")
        if asking:
            terminal.say(entry_heading(draft, cellar.site.zone, now_ms))
            if not terminal.agree(f"{body_words(body)}. Write it?"):
                raise NotWritten("Nothing was written.")
        try:
            entry = write_entry(store, draft, cellar, wall_ms())
        except EntryRefused as error:
            raise _as_option(error) from error
    if as_json:
        print(
            json_text(
                {
                    "probe": declared.id,
                    "from": iso_utc(from_ms),
                    "gain": correction.gain,
                    "offset": correction.offset,
                    "unit": row.unit,
                    "entry": entry_json(entry),
                }
            )
        )
        return
    _print_effect(cellar, declared, correction, measured)
    print(f"It holds from {local_time(from_ms, cellar.site.zone, now_ms)} on. Written as no. {entry.id}.")


def _as_option(error: EntryRefused) -> Exception:
    """A refusal that is about an option names it."""
    options = {"who": "--who", "at": "--at"}
    problem = next((problem for problem in error.problems if problem.key in options), None)
    return error if problem is None else typer.BadParameter(problem.allowed, param_hint=options[problem.key])


def _ask_probe(terminal: Terminal, cellar: Cellar) -> str:
    known = [each.id for each in cellar.probe]
    while True:
        answer = terminal.ask(f"Which probe? ({', '.join(known)})")
        if answer in known:
            return answer
        terminal.say(f"there is no probe '{answer}'")


def _ask_points(terminal: Terminal, declared: Probe, reads: list[str], *, of_now: bool) -> tuple[list[str], list[str]]:
    """What was true and what leeside showed, point by point. Of a single point of now the newest reading may count."""
    truth: list[str] = []
    shown = list(reads)
    example = QUANTITIES[declared.quantity].example
    while len(truth) < 2:
        more = " of a second point? (empty: none)" if truth else f"? (such as {example})"
        answer = _ask_amount(terminal, f"What was true{more}", declared)
        if not answer:
            if truth:
                break
            continue
        truth.append(answer)
        if len(shown) < len(truth):
            newest_counts = of_now and len(truth) == 1
            empty = " (empty: what it shows now)" if newest_counts else ""
            answer = _ask_amount(terminal, f"What did leeside show then?{empty}", declared)
            while not answer and not newest_counts:
                answer = _ask_amount(terminal, "This one is needed. What did leeside show then?", declared)
            if not answer:
                break
            shown.append(answer)
    return truth, shown


def _ask_amount(terminal: Terminal, question: str, declared: Probe) -> str:
    while True:
        answer = terminal.ask(question)
        try:
            if answer:
                _amount(answer, declared, "")
            return answer
        except typer.BadParameter as error:
            terminal.say(error.message)


def _from(terminal: Terminal | None, since: str | None, cellar: Cellar, now_ms: int) -> int:
    try:
        from_ms = moment(since, cellar, now_ms) if terminal is None else ask_time(terminal, since, cellar, now_ms)[1]
    except AnswersWrong as error:
        raise typer.BadParameter(error.wrong[0].why, param_hint="--from") from error
    except Ambiguous as error:
        raise typer.BadParameter(str(error), param_hint="--from") from error
    if from_ms > now_ms:
        raise typer.BadParameter(
            f"{since} is in the future; a calibration holds from now or from earlier", param_hint="--from"
        )
    return from_ms


def _points(
    store: Store, series: int, declared: Probe, truth: list[str], reads: list[str], from_ms: int
) -> list[CalibrationPoint]:
    """What was true, and what leeside shows for it by the calibration that held until then."""
    if reads and len(reads) != len(truth):
        raise typer.BadParameter(
            f"{len(truth)} --truth and {len(reads)} --reads; give one for each", param_hint="--reads"
        )
    if not reads and len(truth) > 1:
        raise typer.BadParameter("two points need two --reads as well", param_hint="--reads")
    if reads:
        shown = [_amount(text, declared, "--reads") for text in reads]
    else:
        # It unpacks settled days by numpy, which the other kinds of entries must not wait for.
        from ingest.store.readings.series_history import newest

        last = newest(store, series, 1)
        if not last:
            raise IngestError(f"{declared.id} has no reading yet; say what it reads with --reads")
        # The reading may be of a time when another scale held.
        whole = scales(store, series)
        zero = value_at(whole, last[0].at_ms, 0.0)
        number = (last[0].value - zero) / (value_at(whole, last[0].at_ms, 1.0) - zero)
        shown = [value_at(whole, from_ms, number)]
    return [
        CalibrationPoint(truth=_amount(text, declared, "--truth"), shown=value)
        for value, text in zip(shown, truth, strict=True)
    ]


def _amount(text: str, declared: Probe, option: str) -> float:
    row = QUANTITIES[declared.quantity]
    try:
        return parse_amount(
            text, dimension=row.dimension, unit=row.unit, example=row.example, pressure=row.pressure
        ).number
    except ValueError as error:
        raise typer.BadParameter(f"'{text}': {error}", param_hint=option) from error


def _celsius(text: str) -> float:
    try:
        celsius = parse_amount(text, dimension=Dimension.TEMPERATURE, unit="°C", example="20 °C").number
    except ValueError as error:
        raise typer.BadParameter(f"'{text}': {error}", param_hint="--temperature") from error
    if not -50.0 <= celsius <= 150.0:
        raise typer.BadParameter(f"'{text}': must be from -50 to 150 °C", param_hint="--temperature")
    return celsius


def _print_effect(cellar: Cellar, declared: Probe, correction: Correction, points: list[Point]) -> None:
    units = cellar.site.units
    for point in points:
        print(
            f"{declared.id}: {value_text(declared.quantity, point.measured, units)} now counts as "
            f"{value_text(declared.quantity, correction.gain * point.measured + correction.offset, units)}"
        )
