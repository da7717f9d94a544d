"""`leeside enter calibration`: a probe's zero and span, or a pH probe's buffers, as an entry that its scale follows."""

from __future__ import annotations

__all__ = ["calibration"]

import sys
from collections.abc import Callable
from dataclasses import replace
from typing import Annotated, Final

import typer

from alerts.command.entering.calibration_buffers import BufferAnswers, ask_buffers, buffer_points, celsius_of
from alerts.command.entering.calibration_shown import line_json, print_effect, show_calibration
from alerts.command.entering.doubt import DespiteWarnings, may_write
from alerts.command.entering.entry_dialog import ask_time
from alerts.command.opened_cellar import declared_probe, open_cellar
from alerts.command.options import File, Json, Who, Yes, user_name
from alerts.command.terminal import MOST_TRIES, Terminal, at_a_terminal
from alerts.errors import NotWritten
from alerts.view.entries.journal_lines import entry_heading, entry_json
from alerts.view.format import local_time
from ingest.calibrating import drafted_calibration, judged_calibration, series_now
from ingest.cellar import QUANTITIES, Cellar, Probe, parse_amount
from ingest.entering import moment
from ingest.errors import EntryRefused, IngestError
from ingest.journal.answers import AnswersWrong
from ingest.journal.entry import Draft
from ingest.journal.kinds import body_words
from ingest.journal.kinds.calibration import (
    CALIBRATION,
    CalibrationBody,
    CalibrationPoint,
)
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.store import Store
from ingest.store.journal.entries import write_entry
from ingest.store.readings.scales import scales, value_at
from ingest.times import Ambiguous, iso_utc

# A calibration as of now may have been looked at some minutes ago.
_OF_NOW_MS: Final = 15 * 60_000
# Where a refusal of the entry is about an option.
_OPTIONS: Final = {
    "who": "--who",
    "at": "--at",
    "temperature_c": "--temperature",
    "points": "--buffer, --truth, --reads, --mv",
    "despite_grade": "--despite-grade",
}


def calibration(
    file: File,
    probe: Annotated[
        str | None, typer.Argument(metavar="PROBE", help="The probe's id; a terminal asks for it.")
    ] = None,
    truth: Annotated[
        list[str] | None,
        typer.Option(
            "--truth",
            metavar="AMOUNT",
            help="What was true, such as '0 kPa'; twice for zero and span. A terminal asks.",
        ),
    ] = None,
    reads: Annotated[
        list[str] | None,
        typer.Option(
            "--reads",
            metavar="AMOUNT",
            help="What leeside showed at that point, or in that buffer; of one --truth the newest reading counts.",
        ),
    ] = None,
    since: Annotated[
        str | None,
        typer.Option("--at", "--from", metavar="TIME", help="From when on it holds: a date, or date and time; now."),
    ] = None,
    temperature: Annotated[
        str | None, typer.Option("--temperature", metavar="AMOUNT", help="How warm it was, such as '20 °C'.")
    ] = None,
    buffer: Annotated[
        list[str] | None,
        typer.Option("--buffer", metavar="BUFFER", help="A buffer that a pH probe stood in, such as 7.00; 2 to 5."),
    ] = None,
    buffer_set: Annotated[
        str | None,
        typer.Option(
            "--buffer-set", metavar="SET", help="technical (the default), nist, or printed: the pH on the bottle."
        ),
    ] = None,
    mv: Annotated[
        list[str] | None,
        typer.Option(
            "--mv", metavar="MV", help="What a pH probe gave in each buffer, in mV; beside or without --reads."
        ),
    ] = None,
    despite_grade: Annotated[
        bool, typer.Option("--despite-grade", help="Write it down although the pH probe is not to be used.")
    ] = False,
    remark: Annotated[str | None, typer.Option("--remark", metavar="TEXT", help="A remark.")] = None,
    who: Who = None,
    despite_warnings: DespiteWarnings = False,
    yes: Yes = False,
    as_json: Json = False,
) -> int:
    """Write down a calibration: work out the correction, show it, and let the probe's scale take it."""
    now_ms = wall_ms()
    asking = at_a_terminal() and not yes
    terminal = Terminal(sys.stderr if as_json else sys.stdout)
    with open_cellar(file) as (cellar, store):
        if probe is None and asking:
            probe = _ask_probe(terminal, cellar)
        declared = declared_probe(cellar, probe, "PROBE")
        series = series_now(store, declared).id
        from_ms = _from(terminal if asking else None, since, cellar, now_ms)
        buffers = BufferAnswers(temperature, buffer_set, buffer or [], reads or [], mv or [])
        _check_options(declared, buffers, truth)
        writer = user_name() if who is None else who

        def drafted(points: list[CalibrationPoint], answers: BufferAnswers) -> Draft:
            return drafted_calibration(
                store,
                declared,
                points,
                who=writer,
                from_ms=from_ms,
                temperature_c=None if answers.temperature is None else celsius_of(answers.temperature),
                buffer_set=answers.known_set if answers.buffers else None,
                despite_grade=despite_grade,
                remark=remark or None,
            )

        if declared.quantity == "pH" and asking and not (truth or buffer or reads):
            of_now = now_ms - from_ms <= _OF_NOW_MS
            draft = _asked_draft(terminal, buffers, drafted, _steady_ph(store, declared, series) if of_now else None)
        elif buffer:
            draft = drafted(buffer_points(buffers), buffers)
        else:
            if not truth and asking:
                truth, reads = _ask_points(terminal, declared, reads or [], of_now=now_ms - from_ms <= _OF_NOW_MS)
            if not truth:
                missing = "say what was true" if declared.quantity != "pH" else "say which buffers it stood in"
                raise typer.BadParameter(missing, param_hint="--truth" if declared.quantity != "pH" else "--buffer")
            if not reads and now_ms - from_ms > _OF_NOW_MS:
                raise typer.BadParameter(
                    "what the probe shows now says nothing of an earlier time; give what it showed then with --reads",
                    param_hint="--reads",
                )
            draft = drafted(_points(store, series, declared, truth, reads or [], from_ms), buffers)
        draft = _insisted(terminal if asking else None, draft)
        judged = judged_calibration(store, declared, draft)
        show_calibration(terminal, judged)
        draft, body, row = judged.draft, judged.body, QUANTITIES[declared.quantity]
        if asking:
            terminal.say(entry_heading(draft, cellar.site.zone, now_ms))
        asked = terminal if asking else None
        if not may_write(asked, body_words(body), body.warnings, despite_warnings=despite_warnings):
            return 1
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
                    "gain": None if judged.correction is None else judged.correction.gain,
                    "offset": None if judged.correction is None else judged.correction.offset,
                    "unit": row.unit,
                    **line_json(body, judged.drift),
                    "entry": entry_json(entry),
                }
            )
        )
        return 0
    print_effect(cellar, declared, judged)
    print(f"It holds from {local_time(from_ms, cellar.site.zone, now_ms)} on. Written as no. {entry.id}.")
    return 0


def _check_options(declared: Probe, buffers: BufferAnswers, truth: list[str] | None) -> None:
    """Refuse options that are not for this probe, or not together."""
    given = {"--buffer": buffers.buffers, "--mv": buffers.mv, "--buffer-set": buffers.buffer_set}
    for option, value in given.items():
        if value and declared.quantity != "pH":
            quantity = declared.quantity.replace("_", " ")
            raise typer.BadParameter(f"{declared.id} reads {quantity}; this is of pH probes", param_hint=option)
        if value and truth:
            raise typer.BadParameter("give either --truth, or --buffer", param_hint=f"--truth, {option}")
    if buffers.mv and not buffers.buffers:
        raise typer.BadParameter("say in which buffers, with --buffer", param_hint="--mv")


def _asked_draft(
    terminal: Terminal,
    given: BufferAnswers,
    drafted: Callable[[list[CalibrationPoint], BufferAnswers], Draft],
    steady_ph: Callable[[], float] | None,
) -> Draft:
    """Ask for a pH probe's buffers, and again where they fix no slope, such as for swapped ones."""
    for _ in range(MOST_TRIES):
        answers = ask_buffers(terminal, given, steady_ph)
        draft = drafted(buffer_points(answers), answers)
        problems = [each for each in CALIBRATION.problems(draft) if each.key == "points"]
        if not problems:
            return draft
        terminal.say(f"{problems[0].allowed}. Once more, please.")
    raise NotWritten("Too many answers that will not do. Nothing was written.")


def _steady_ph(store: Store, declared: Probe, series: int) -> Callable[[], float]:
    """Make what gives the probe's pH once it stands still, each time by readings that came after those taken before."""
    # It unpacks settled days by numpy, which the other kinds of entries must not wait for.
    from ingest.ph_in_buffer import ph_in_buffer

    taken_ms: int | None = None

    def steady_ph() -> float:
        nonlocal taken_ms
        now = ph_in_buffer(store, declared, series, wall_ms(), after_ms=taken_ms)
        if now.ph is None or not now.is_still:
            raise IngestError(now.wait)
        taken_ms = now.at_ms
        return now.ph

    return steady_ph


def _insisted(terminal: Terminal | None, draft: Draft) -> Draft:
    """Give the draft if nothing is wrong with it; a pH probe that is not to be used takes a person who insists."""
    problems = CALIBRATION.problems(draft)
    if not problems:
        return draft
    if problems[0].key != "despite_grade":
        raise _as_option(EntryRefused(problems))
    if terminal is None:
        raise typer.BadParameter(
            f"{problems[0].allowed}. Nothing was written; --despite-grade writes it all the same",
            param_hint="--despite-grade",
        )
    terminal.say(f"warning: {problems[0].allowed}")
    if terminal.ask("Write it down all the same? (yes; empty: no)").lower() != "yes":
        raise NotWritten("Nothing was written.")
    return replace(draft, body=_body(draft).model_copy(update={"despite_grade": True}))


def _body(draft: Draft) -> CalibrationBody:
    if not isinstance(draft.body, CalibrationBody):
        raise ValueError(f"{draft} is not a calibration")
    return draft.body


def _as_option(error: EntryRefused) -> Exception:
    """A refusal that is about an option names it."""
    problem = next((problem for problem in error.problems if problem.key in _OPTIONS), None)
    return error if problem is None else typer.BadParameter(problem.allowed, param_hint=_OPTIONS[problem.key])


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
