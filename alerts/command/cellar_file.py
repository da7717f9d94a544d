"""The cellar file of a command: the one that is named or, where none is, the usual one."""

from __future__ import annotations

__all__ = ["VARIABLE", "FileCommand", "take_usual_file", "usual_cellar_file"]

import os
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

import typer
from platformdirs import user_config_path

from alerts.command.plain_help import PlainHelpCommand

# The variable of the environment that names the cellar file.
VARIABLE: Final = "LEESIDE_CELLAR"
_NAME: Final = "cellar.toml"
_SUFFIX: Final = ".toml"
_METAVAR: Final = "FILE"


class UsualFile(NamedTuple):
    """The cellar file that is taken where none is named, and how it was found."""

    path: Path
    found: str


def usual_cellar_file(environ: Mapping[str, str]) -> UsualFile:
    """Find the cellar file that is taken where a call names none.

    That is the one that LEESIDE_CELLAR names, else cellar.toml in this folder, else the one in the user's configuration
    folder (XDG Base Directory Specification). Raises typer.BadParameter where there is none.
    """
    if environ.get(VARIABLE):
        return UsualFile(Path(environ[VARIABLE]), f"named by {VARIABLE}")
    if Path(_NAME).is_file():
        return UsualFile(Path(_NAME), "in this folder")
    configured = user_config_path("leeside") / _NAME
    if configured.is_file():
        return UsualFile(configured, "in the configuration folder")
    raise typer.BadParameter(
        f"name the cellar file: {VARIABLE} is not set, and there is no {_NAME} in this folder and no {configured}",
        param_hint=_METAVAR,
    )


def take_usual_file() -> Path:
    """Return the usual cellar file, after a line on standard error that names it. Raises typer.BadParameter."""
    path, found = usual_cellar_file(os.environ)
    print(f"Cellar file: {path} ({found})", file=sys.stderr)
    return path


class FileCommand(PlainHelpCommand):
    """A command whose first argument is the cellar file, which may be left out."""

    may_be_left_out = (_METAVAR,)

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        """Give the words of the usage line: the file in the brackets of what may be left out."""
        pieces: list[str] = super().collect_usage_pieces(ctx)
        return [f"[{_METAVAR}]" if piece == f"{{{_METAVAR}}}" else piece for piece in pieces]

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read the words of a call, with the usual cellar file in front where the call names none."""
        if not ctx.resilient_parsing and not self._asks_for_help(ctx, args) and not self._file_is_named(ctx, args):
            args = [str(take_usual_file()), *args]
        rest: list[str] = super().parse_args(ctx, args)
        return rest

    def _asks_for_help(self, ctx: Any, args: Sequence[str]) -> bool:
        return any(name in args for name in self.get_help_option_names(ctx))

    def _file_is_named(self, ctx: Any, args: Sequence[str]) -> bool:
        """Whether the first word that is not an option is the cellar file.

        It is where it ends in .toml, and where there are as many words as there are arguments. Where some of those
        may be left out, so is a path from / or . on, and the name of a file that is there.
        """
        arguments = [parameter for parameter in self.params if parameter.param_type_name == "argument"]
        if not arguments or arguments[0].metavar != _METAVAR or not arguments[0].required:
            return True
        values, spare, _ = self.make_parser(ctx).parse_args(args=list(args))
        words = [*_words(values.get(argument.name) for argument in arguments), *spare]
        if not words:
            return False
        if words[0].endswith(_SUFFIX) or len(words) >= _most(arguments):
            return True
        return _may_vary(arguments[1:]) and (words[0].startswith(("/", ".")) or Path(words[0]).is_file())


def _words(values: Any) -> list[str]:
    """The words that stood for arguments, in their order."""
    words: list[str] = []
    for value in values:
        if isinstance(value, str):
            words.append(value)
        elif isinstance(value, list | tuple):
            words.extend(value)
    return words


def _most(arguments: Sequence[Any]) -> float:
    """How many words these arguments take at most."""
    return float("inf") if any(argument.nargs == -1 for argument in arguments) else len(arguments)


def _may_vary(arguments: Sequence[Any]) -> bool:
    return any(argument.nargs == -1 or not argument.required for argument in arguments)
