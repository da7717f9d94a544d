"""The help of a command: what a word stands for, never the type that holds it."""

from __future__ import annotations

__all__ = ["PlainHelpCommand"]

import re
from typing import Any, ClassVar, Final

from typer.core import TyperCommand

_REQUIRED: Final = "  [required]"
_TYPE: Final = re.compile(r" <[^<>]*>$")


class PlainHelpCommand(TyperCommand):
    """A command whose help names its words alone.

    may_be_left_out: metavars of what the command itself puts in the place of a missing word.

    Typer carries a click of its own, whose classes are not for import: hence ``Any``.
    """

    may_be_left_out: ClassVar[tuple[str, ...]] = ()

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
