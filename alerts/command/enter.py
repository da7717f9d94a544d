"""`leeside enter KIND`: what people write down. The options of a kind are the questions of its form."""

from __future__ import annotations

__all__ = ["app"]

import inspect
import json as json_form
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from alerts.command.enter_calibration import EXAMPLE, calibration
from alerts.command.opened_cellar import open_cellar, wall_ms
from alerts.command.options import File, Json, Who, Yes, user_name
from alerts.command.terminal import Terminal, ask_entry, ask_time, at_a_terminal
from alerts.errors import NotWritten
from alerts.view.journal_lines import entry_heading, entry_json
from alerts.view.vessel_contents import contents_line
from ingest.cellar import Cellar
from ingest.entering import Prepared, moment, prepare, write
from ingest.errors import EntryRefused
from ingest.journal.answers import AnswersWrong
from ingest.journal.forms import FORMS
from ingest.journal.question import Form, Question
from ingest.journal.wording import body_words, spread_words
from ingest.store import Store
from ingest.store.journal.entries import struck_along
from ingest.times import Ambiguous

app = typer.Typer(
    help="Write down what was done at the bench or in the cellar.", no_args_is_help=True, rich_markup_mode=None
)

_AT_HELP: Final = "When it happened: 18:30, 'yesterday 18:30', a date, or date and time; by default now."


@app.callback()
def enter() -> None:
    """Write down what was done at the bench or in the cellar."""


def run_enter(
    file: Path,
    form: Form,
    told: dict[str, Sequence[str]],
    *,
    at: str | None,
    who: str | None,
    yes: bool,
    with_later: bool,
    as_json: bool,
) -> int:
    """Exit code 0 when it is written, 1 when it is not."""
    now_ms = wall_ms()
    asking = at_a_terminal() and not yes
    terminal = Terminal(sys.stderr if as_json else sys.stdout)
    name = user_name() if who is None else who
    try:
        with open_cellar(file) as (cellar, store):
            made = _prepared(terminal, store, cellar, form, told, at, name, now_ms, asking, with_later)
            _show(terminal, cellar, made, now_ms)
            if asking and not terminal.agree(f"{made.said}. Write it?"):
                raise NotWritten("Nothing was written.")
            entry = write(store, cellar, made, now_ms=wall_ms(), with_later=with_later)
            if as_json:
                print(json_form.dumps(entry_json(entry), ensure_ascii=False))
            else:
                print(f"{made.said}. Written as no. {entry.id}.")
                for one in struck_along(store, entry.id):
                    print(f"Struck with it: {one}, {body_words(one.body, one.lot)}.")
    except Ambiguous as error:
        raise typer.BadParameter(str(error), param_hint="--at") from error
    except AnswersWrong as error:
        raise wrong_options(form, error) from error
    except EntryRefused as error:
        print(error, file=sys.stderr)
        if error.later:
            numbers = ", ".join(f"no. {id}" for id in error.later)
            print(f"With --with-later {numbers} would be struck, and this be written.", file=sys.stderr)
        return 1
    return 0


def _prepared(
    terminal: Terminal,
    store: Store,
    cellar: Cellar,
    form: Form,
    told: dict[str, Sequence[str]],
    at: str | None,
    who: str,
    now_ms: int,
    asking: bool,
    with_later: bool,
) -> Prepared:
    at, at_ms = ask_time(terminal, at, cellar, now_ms) if asking else (at, moment(at, cellar, now_ms))

    def made() -> Prepared:
        return prepare(store, cellar, form.kind, told, who=who, now_ms=now_ms, at=at, with_later=with_later)

    if asking:
        return ask_entry(terminal, store, cellar, form, told, made, now_ms=now_ms, at_ms=at_ms)
    return made()


def _show(terminal: Terminal, cellar: Cellar, made: Prepared, now_ms: int) -> None:
    if made.caution:
        terminal.say(f"Caution: {made.caution}.")
    terminal.say(entry_heading(made.draft, cellar.site.zone, now_ms))
    spread = spread_words(made.draft.body)
    if spread:
        terminal.say(f"  {spread}")
    for warning in made.warnings:
        terminal.say(f"warning: {warning}")
    for held in made.after:
        terminal.say(f"  {held.vessel} then: {contents_line(held, cellar.site.zone, cellar.site.units, now_ms)}")


def wrong_options(form: Form, error: AnswersWrong) -> typer.BadParameter:
    """The call's error that names the option of each answer that will not do."""
    named = []
    for field, why in error.wrong:
        question = form.question(field)
        named.append((f"--{field}" if question is None else question.option, why))
    if len(named) == 1:
        return typer.BadParameter(named[0][1], param_hint=named[0][0])
    lines = "".join(f"\n  {option}: {why}" for option, why in named)
    return typer.BadParameter(lines, param_hint=", ".join(dict.fromkeys(option for option, _ in named)))


def _parameter(question: Question) -> inspect.Parameter:
    kind = inspect.Parameter.KEYWORD_ONLY
    name = f"{question.name}_"
    if question.flag:
        hint: Any = Annotated[bool, typer.Option(question.option, help=question.help)]
        return inspect.Parameter(name, kind, default=False, annotation=hint)
    option = typer.Option(question.option, metavar=question.answer.metavar, help=question.help)
    # A single option is taken as a list too, so that a second one is told as such and does not silently win.
    return inspect.Parameter(name, kind, default=None, annotation=Annotated[list[str] | None, option])


def _common(name: str, default: object, annotation: Any) -> inspect.Parameter:
    return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotation)


_COMMON: Final = (
    _common("at", None, Annotated[str | None, typer.Option("--at", metavar="TIME", help=_AT_HELP)]),
    _common("who", None, Who),
    _common(
        "with_later",
        False,
        Annotated[bool, typer.Option("--with-later", help="Strike later entries that would then be impossible.")],
    ),
    _common("yes", False, Yes),
    _common("as_json", False, Json),
)
_FILE: Final = inspect.Parameter("file", inspect.Parameter.POSITIONAL_OR_KEYWORD, annotation=File)


def _command(form: Form) -> Callable[..., int]:
    """The command of a form, with an option for each question."""

    def command(file: Path, **options: Any) -> int:
        told: dict[str, Sequence[str]] = {}
        for question in form.questions:
            value = options[f"{question.name}_"]
            if question.flag:
                value = ["yes"] if value else []
            if value:
                told[question.name] = value
        return run_enter(
            file,
            form,
            told,
            at=options["at"],
            who=options["who"],
            yes=options["yes"],
            with_later=options["with_later"],
            as_json=options["as_json"],
        )

    parameters = [_FILE, *(_parameter(question) for question in form.questions), *_COMMON]
    command.__name__ = form.kind
    command.__doc__ = form.says
    command.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]  # Typer reads it
    command.__annotations__ = {one.name: one.annotation for one in parameters}
    return command


for _form in FORMS.values():
    app.command(name=_form.kind, epilog=f"Example: leeside enter {_form.kind} cellar.toml {_form.example}")(
        _command(_form)
    )
app.command(name="calibration", epilog=EXAMPLE)(calibration)
