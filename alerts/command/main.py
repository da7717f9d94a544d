"""The ``leeside`` command: which commands there are, and how each one is loaded when it is called for.

A command is a function in the file named after it. Its parameters are the options, its docstring is the help, and it
returns the exit code: 0 yes or done; 1 the answer is no, or something is wrong in the cellar; 2 the call is wrong
(a ``typer.BadParameter``).
"""

from __future__ import annotations

__all__ = ["app", "main"]

import sqlite3
import sys
from importlib import import_module
from importlib.metadata import version
from typing import Annotated, Any, Final

import typer
from typer.core import TyperGroup

from alerts.command.cellar_file import FileCommand
from alerts.errors import AlertsError
from ingest.errors import CellarFileError, IngestError, TextRefused

# Name, in the order of the help -> where the command is, and the line that the list of commands gives to it.
# A module with one command also has its EXAMPLE, and perhaps paragraphs LISTED above it; a group of commands is a
# ``typer.Typer``.
COMMANDS: Final = {
    "demo": ("alerts.command.demo:demo", "Run a simulated cellar, from the probes to the mail."),
    "check": ("alerts.command.check:check", "Find what is wrong in a cellar file; list its limits."),
    "listen": ("alerts.command.listen:listen", "Show samples as they arrive, to wire up probes."),
    "run": ("alerts.command.run:run", "Watch the cellar until stopped."),
    "page": ("alerts.command.page:page", "Give the page's address as a code for a phone; set its password."),
    "now": ("alerts.command.now:now", "Show every place as it is now."),
    "dose": ("alerts.command.dose:dose", "Work out what to add to a vessel's wine; writes nothing."),
    "review": ("alerts.command.review:review", "Show what to know before wine is racked; writes nothing."),
    "history": ("alerts.command.history:history", "Print the readings of a probe, a place or a lot."),
    "import": ("alerts.command.import_:import_", "Bring in readings or entries of the past."),
    "export": ("alerts.command.export:export", "Write readings or entries for other programs."),
    "backup": ("alerts.command.backup:backup", "Back the store up into one checked file."),
    "restore": ("alerts.command.restore:restore", "Replace the store by a backup."),
    "alarms": ("alerts.command.alarms:alarms", "List the alarms, and what is muted."),
    "due": ("alerts.command.due:due", "List work that is due and comes next; write a calendar."),
    "limits": ("alerts.command.limits:limits", "List every limit; try what one would send."),
    "acknowledge": ("alerts.command.acknowledge:acknowledge", "Say that alarms have been seen."),
    "shelve": ("alerts.command.shelve:shelve", "Mute limits for a time, or take them out of service."),
    "unshelve": ("alerts.command.unshelve:unshelve", "Let muted limits raise alarms again."),
    "away": ("alerts.command.away:away", "Show what falls short while you are away; name a helper."),
    "strike": ("alerts.command.strike:strike", "Cross an entry out, with a reason."),
    "amend": ("alerts.command.amend:amend", "Replace an entry by a corrected one."),
    "journal": ("alerts.command.journal:journal", "Read back what was written down."),
    "bench": ("alerts.command.bench:app", "Do arithmetic without a cellar."),
    "enter": ("alerts.command.enter:app", "Write down what was done at the bench or in the cellar."),
}


class _Commands(TyperGroup):
    """The commands of ``COMMANDS``. Nothing of a command is imported before it is called for.

    Typer carries a click of its own, whose classes are not for import: hence ``Any``.
    """

    def list_commands(self, ctx: Any) -> list[str]:
        """All names."""
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command or group of that name, None if there is none."""
        return _load(cmd_name, COMMANDS[cmd_name][0]) if cmd_name in COMMANDS else None

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """The list of commands in the help, from the table."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, summary) for name, (_, summary) in COMMANDS.items()])


def _load(name: str, target: str) -> Any:
    module_name, _, attribute = target.partition(":")
    module = import_module(module_name)
    found = getattr(module, attribute)
    if isinstance(found, typer.Typer):
        command: Any = typer.main.get_group(found)
    else:
        single = typer.Typer(add_completion=False, rich_markup_mode=None)
        epilog = "\n\n".join((*getattr(module, "LISTED", ()), f"Example: {module.EXAMPLE}"))
        single.command(cls=FileCommand, epilog=epilog)(found)
        command = typer.main.get_command(single)
    command.name = name
    return command


def _exit(code: int | None, **_: object) -> None:
    """Take what the command returned as the exit code; None of a group's command is 0."""
    raise typer.Exit(code or 0)


app = typer.Typer(
    name="leeside",
    cls=_Commands,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    result_callback=_exit,
)


def _print_version(asked: bool) -> None:
    if asked:
        print(f"leeside {version('leeside')}")
        raise typer.Exit


@app.callback(
    epilog="Where FILE is left out, the cellar file is that of LEESIDE_CELLAR, else cellar.toml in this folder or in "
    "the configuration folder; the command says which."
)
def leeside(
    show_version: Annotated[  # printed by its callback
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and exit.")
    ] = False,
) -> None:
    """Keeps watch over wine that rests in small vessels under inert gas."""


def main() -> None:
    """Run the command; errors of ours become one clear message and an exit code, never a traceback."""
    try:
        app()
    except CellarFileError as error:
        for problem in error.problems:
            print(f"{error.file}: {problem}", file=sys.stderr)
        sys.exit(1)
    except TextRefused as error:
        print(error, file=sys.stderr)
        sys.exit(2)
    except (IngestError, AlertsError) as error:
        print(error, file=sys.stderr)
        sys.exit(1)
    except sqlite3.Error as error:
        # A page that is damaged shows only when it is read.
        print(f"the store cannot be read ({error}); `leeside check FILE --store` says more", file=sys.stderr)
        sys.exit(1)
    except BrokenPipeError:
        # The reader of our output (head, less) has seen enough.
        sys.stderr.close()
        sys.exit(0)


if __name__ == "__main__":
    main()
