"""`leeside enter KIND`: what people write down. The options of a kind are the questions of its form."""

from __future__ import annotations

__all__ = ["answer_parameter", "answers_in", "app", "show_prepared"]

import inspect
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from alerts.command.cellar_file import FileCommand
from alerts.command.entering.doubt import DespiteWarnings, may_write, show_remarks, yes_or_when
from alerts.command.entering.enter_calibration import calibration
from alerts.command.entering.enter_several import run_several
from alerts.command.entering.entry_dialog import ask_entry, ask_time
from alerts.command.entering.refused_entry import WithLater, print_refusal, print_struck_along
from alerts.command.entering.titrations_again import Again, offer_again
from alerts.command.opened_cellar import open_journal
from alerts.command.options import File, Json, Who, Yes, user_name
from alerts.command.terminal import MOST_TRIES, Terminal, at_a_terminal
from alerts.command.wrong_options import wrong_options
from alerts.errors import NotWritten
from alerts.view.entries.journal_lines import entry_heading, entry_json
from alerts.view.vessel_contents import contents_line
from ingest.cellar import Cellar
from ingest.entering import Prepared, prepare, write
from ingest.errors import EntryRefused
from ingest.journal.answers import AnswersWrong
from ingest.journal.kinds import KINDS, spread_words
from ingest.journal.kinds.kind import EntryKind
from ingest.journal.kinds.titrant import TITRANT
from ingest.journal.kinds.titration import TITRATION
from ingest.journal.question import Question
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.times import Ambiguous, spoken_moment

app = typer.Typer(
    help="Write down what was done at the bench or in the cellar.", no_args_is_help=True, rich_markup_mode=None
)

_AT_HELP: Final = "When it happened: 18:30, 'yesterday 18:30', a date, or date and time; by default now."


@app.callback()
def enter() -> None:
    """Write down what was done at the bench or in the cellar."""


def run_enter(
    file: Path,
    kind: EntryKind[Any],
    answers: dict[str, Sequence[str]],
    *,
    at: str | None,
    who: str | None,
    yes: bool,
    with_later: bool,
    despite_warnings: bool,
    again: bool,
    as_json: bool,
) -> int:
    """Exit code 0 when it is written, 1 when it is not."""
    now_ms = wall_ms()
    asking = at_a_terminal() and not yes
    terminal = Terminal(sys.stderr if as_json else sys.stdout)
    name = user_name() if who is None else who
    try:
        with open_journal(file) as (cellar, store):

            def prepare_at(time: str | None) -> Prepared:
                return prepare(
                    store, cellar, kind.name, answers, who=name, now_ms=now_ms, at=time, with_later=with_later
                )

            if asking:
                time, at_ms = ask_time(terminal, at, cellar, now_ms)
                prepared = ask_entry(
                    terminal, store, cellar, kind, answers, lambda: prepare_at(time), now_ms=now_ms, at_ms=at_ms
                )
            else:
                prepared = prepare_at(at)
            show_prepared(terminal, cellar, prepared, now_ms)
            if asking and at is None:
                prepared = _dated(terminal, cellar, prepared, prepare_at, now_ms, despite_warnings=despite_warnings)
            elif not may_write(
                terminal if asking else None, prepared.words, prepared.warnings, despite_warnings=despite_warnings
            ):
                return 1
            entry = write(store, cellar, prepared, now_ms=wall_ms(), with_later=with_later)
            if as_json:
                print(json_text(entry_json(entry)))
            else:
                print(f"{prepared.words}. Written as no. {entry.id}.")
                print_struck_along(store, entry.id)
            return offer_again(
                terminal,
                store,
                cellar,
                [entry],
                who=name,
                asking=asking,
                again=again,
                despite_warnings=despite_warnings,
            )
    except Ambiguous as error:
        raise typer.BadParameter(str(error), param_hint="--at") from error
    except AnswersWrong as error:
        raise wrong_options(kind, error) from error
    except EntryRefused as error:
        print_refusal(error, ", and this be written")
        return 1


def _dated(
    terminal: Terminal,
    cellar: Cellar,
    prepared: Prepared,
    prepare_at: Callable[[str | None], Prepared],
    now_ms: int,
    *,
    despite_warnings: bool,
) -> Prepared:
    """Let the person say yes, or when it happened, and then show the entry as of that time and ask again."""

    def moment_of(text: str) -> int:
        return spoken_moment(text, cellar.site.zone, now_ms)

    for _ in range(MOST_TRIES):
        answer = yes_or_when(terminal, prepared.words, prepared.warnings, moment_of, despite_warnings=despite_warnings)
        if not answer:
            return prepared
        at, _at_ms = ask_time(terminal, answer, cellar, now_ms)
        try:
            prepared = prepare_at(at)
        except (AnswersWrong, EntryRefused) as error:
            terminal.say(f"As of then it cannot be written: {error}")
            continue
        show_prepared(terminal, cellar, prepared, now_ms)
    raise NotWritten("Nothing was written.")


def show_prepared(terminal: Terminal, cellar: Cellar, prepared: Prepared, now_ms: int) -> None:
    """Show an entry as it would be written: caution, heading, remarks, what vessels hold then."""
    if prepared.caution:
        terminal.say(f"Caution: {prepared.caution}.")
    terminal.say(entry_heading(prepared.draft, cellar.site.zone, now_ms))
    spread = spread_words(prepared.draft.body)
    if spread:
        terminal.say(f"  {spread}")
    show_remarks(terminal, prepared.warnings, prepared.notes)
    for after in prepared.after:
        terminal.say(f"  {after.vessel} then: {contents_line(after, cellar.site.zone, cellar.site.units, now_ms)}")


def answer_parameter(question: Question, *, hidden: bool = False) -> inspect.Parameter:
    """Make the parameter of a command that takes the answer to a question; hidden: help does not list it."""
    name = _parameter(question)
    if question.flag:
        hint: Any = Annotated[bool, typer.Option(question.option, help=question.help, hidden=hidden)]
        return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=False, annotation=hint)
    option = typer.Option(question.option, metavar=question.answer.metavar, help=question.help, hidden=hidden)
    # A single option is taken as a list too, so that a second one is refused as such and does not silently win.
    hint = Annotated[list[str] | None, option]
    return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=None, annotation=hint)


def answers_in(questions: Iterable[Question], options: Mapping[str, Any]) -> dict[str, Sequence[str]]:
    """Take the answers to questions out of the values of a call's ``answer_parameter``s."""
    answers: dict[str, Sequence[str]] = {}
    for question in questions:
        value = options.get(_parameter(question))
        if value:
            answers[question.name] = ["yes"] if question.flag else value
    return answers


def _parameter(question: Question) -> str:
    return f"{question.name}_"


def _common(name: str, default: object, annotation: Any) -> inspect.Parameter:
    return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotation)


_COMMON: Final = (
    _common("at", None, Annotated[str | None, typer.Option("--at", metavar="TIME", help=_AT_HELP)]),
    _common("who", None, Who),
    _common("with_later", False, WithLater),
    _common("despite_warnings", False, DespiteWarnings),
    _common("yes", False, Yes),
    _common("as_json", False, Json),
)
_SEVERAL: Final = (
    _common(
        "several",
        False,
        Annotated[bool, typer.Option("--several", help="Of several wines: bottle, sample and blank once.")],
    ),
    _common(
        "lines",
        None,
        Annotated[
            str | None,
            typer.Option(
                "--lines", metavar="PATH", help="With --several: a file of lines such as 'K1 1.25'; - is input."
            ),
        ],
    ),
)
_FILE: Final = inspect.Parameter("file", inspect.Parameter.POSITIONAL_OR_KEYWORD, annotation=File)


def _command(kind: EntryKind[Any]) -> Callable[..., int]:
    """The command of a kind of entry, with an option for each question."""

    def command(file: Path, **options: Any) -> int:
        answers = answers_in(kind.questions, options)
        if options.get("several") or options.get("lines"):
            return run_several(
                file,
                answers,
                options["lines"],
                at=options["at"],
                who=options["who"],
                yes=options["yes"],
                despite_warnings=options["despite_warnings"],
                as_json=options["as_json"],
            )
        return run_enter(
            file,
            kind,
            answers,
            at=options["at"],
            who=options["who"],
            yes=options["yes"],
            with_later=options["with_later"],
            despite_warnings=options["despite_warnings"],
            again=options.get("again", False),
            as_json=options["as_json"],
        )

    more = {TITRANT.name: (_common("again", False, Again),), TITRATION.name: _SEVERAL}.get(kind.name, ())
    parameters = [_FILE, *(answer_parameter(question) for question in kind.questions), *more, *_COMMON]
    command.__name__ = kind.name
    command.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]  # Typer reads it
    command.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
    return command


for _kind in KINDS.values():
    app.command(
        name=_kind.name,
        cls=FileCommand,
        help=_kind.says,
        epilog=f"Example: leeside enter {_kind.name} cellar.toml {_kind.example}",
    )(_command(_kind) if _kind.questions else calibration)
