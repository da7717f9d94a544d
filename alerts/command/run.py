"""`leeside run`: a last look at the cellar file, then this process becomes the supervisor."""

from __future__ import annotations

__all__ = ["run"]

import os
import sys
from typing import Annotated, Final

import typer

from alerts.command.options import File
from alerts.command.supervisor import MODULES
from ingest.cellar import load_cellar
from ingest.daemon_log import LEVEL_VARIABLE, LEVELS

EXAMPLE: Final = "leeside run cellar.toml"


def run(
    file: File,
    only: Annotated[
        str | None, typer.Option("--only", metavar="ROLE", help="Run one process only: ingest, alerts or page.")
    ] = None,
    log_level: Annotated[
        str | None,
        typer.Option(
            "--log-level", metavar="LEVEL", help=f"Log from this level on: {', '.join(LEVELS)}; info if left out."
        ),
    ] = None,
) -> int:
    """Watch the cellar: run both daemons and the page, until stopped."""
    if only is not None and only not in MODULES:
        raise typer.BadParameter(f"'{only}' is not a role; allowed: {', '.join(MODULES)}", param_hint="--only")
    if log_level is not None:
        if log_level not in LEVELS:
            raise typer.BadParameter(
                f"'{log_level}' is not a level; allowed: {', '.join(LEVELS)}", param_hint="--log-level"
            )
        os.environ[LEVEL_VARIABLE] = log_level
    cellar = load_cellar(file)
    module = MODULES[only] if only else "alerts.command.supervisor"
    roles = [] if only else [role for role in MODULES if role != "page" or cellar.page is not None]
    sys.stdout.flush()
    # A new interpreter: what reading the file needed would otherwise stay in memory for months.
    os.execv(sys.executable, [sys.executable, "-m", module, str(file), *roles])  # noqa: S606  no shell is wanted
