"""Groups of commands that are imported when they are called for: all that `enter` needs would hold up each start."""

from __future__ import annotations

__all__ = ["LateGroups"]

from importlib import import_module
from typing import Any, Final

import typer
from typer.core import TyperGroup

# Name of the group -> the module whose ``app`` it is.
_LATE: Final = {"bench": "alerts.command.bench", "enter": "alerts.command.enter"}


class LateGroups(TyperGroup):
    """The commands of ``leeside``, with groups that are looked for by name.

    Typer carries a click of its own, whose classes are not for import: hence ``Any``.
    """

    def list_commands(self, ctx: Any) -> list[str]:
        """All names, the groups after the commands."""
        return [*super().list_commands(ctx), *_LATE]

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command or group of that name, None if there is none."""
        module = _LATE.get(cmd_name)
        if module is None:
            return super().get_command(ctx, cmd_name)
        group = typer.main.get_group(import_module(module).app)
        group.name = cmd_name
        return group
