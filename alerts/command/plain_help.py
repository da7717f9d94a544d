"""A command in plain words: its help says what a word stands for, and a word that will not do is refused in ours."""

from __future__ import annotations

__all__ = ["PlainHelpCommand"]

import re
from typing import Any, ClassVar, Final

import typer
from typer.core import TyperCommand

from ingest.validation_words import allowed_words

_REQUIRED: Final = "  [required]"
_TYPE: Final = re.compile(r" <[^<>]*>$")


class PlainHelpCommand(TyperCommand):
    """A command whose help names its words alone, and which refuses in our words what is not a number.

    may_be_left_out: metavars of what the command itself puts in the place of a missing word.

    Typer carries a click of its own, whose classes are not for import: hence ``Any``.
    """

    may_be_left_out: ClassVar[tuple[str, ...]] = ()

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read the words of a call. Raises typer.BadParameter."""
        try:
            rest: list[str] = super().parse_args(ctx, args)
        except typer.BadParameter as error:
            # Typer reads numbers by pydantic, and passes on what that says. A call that is right need not import it.
            from pydantic import ValidationError

            if isinstance(error.__cause__, ValidationError):
                detail = error.__cause__.errors()[0]
                if str(detail["msg"]) in error.message:
                    words = allowed_words(detail).replace(" without quotes", "")
                    error.message = f"'{detail['input']}' {words}"
            raise
        return rest

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write the arguments and options, each with its metavar."""
        sections: dict[str, list[tuple[str, str]]] = {"Arguments": [], "Options": []}
        for parameter in self.get_params(ctx):
            record = parameter.get_help_record(ctx)
            if record is not None:
                heading = "Arguments" if parameter.param_type_name == "argument" else "Options"
                name, text = record
                if parameter.metavar in self.may_be_left_out:
                    text = text.removesuffix(_REQUIRED)
                sections[heading].append((_TYPE.sub("", name), text))
        for heading, records in sections.items():
            if records:
                with formatter.section(heading):
                    formatter.write_dl(records)
