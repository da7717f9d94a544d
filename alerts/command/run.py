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

EXAMPLE: Final = "leeside run cellar.toml"


def run(
    file: File,
    only: Annotated[
        str | None, typer.Option("--only", metavar="ROLE", help="Run one process only: ingest, alerts or page.")
    ] = None,
) -> int:
    """Watch the cellar: run both daemons and the page, until stopped."""
    if only is not None and only not in MODULES:
        raise typer.BadParameter(f"'{only}' is not a role; allowed: {', '.join(MODULES)}", param_hint="--only")
    cellar = load_cellar(file)
    module = MODULES[only] if only else "alerts.command.supervisor"
    roles = [] if only else [role for role in MODULES if role != "page" or cellar.page is not None]
    sys.stdout.flush()
    # A new interpreter: what reading the file needed would otherwise stay in memory for months.
    os.execv(sys.executable, [sys.executable, "-m", module, str(file), *roles])  # noqa: S606  no shell is wanted
