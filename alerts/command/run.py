"""`leeside run`: a last look at the cellar file, then this process becomes the supervisor."""

from __future__ import annotations

__all__ = ["run"]

import os
import sys
from typing import Annotated, Final

import typer

from alerts.command.options import File
from ingest.cellar import load_cellar

EXAMPLE: Final = "leeside run cellar.toml"

ROLES = ("ingest", "alerts")


def run(
    file: File,
    only: Annotated[
        str | None, typer.Option("--only", metavar="ROLE", help="Run one daemon only: ingest or alerts.")
    ] = None,
) -> int:
    """Watch the cellar: run both daemons and the page, until stopped."""
    if only is not None and only not in ROLES:
        raise typer.BadParameter(f"'{only}' is no daemon; allowed: ingest, alerts", param_hint="--only")
    load_cellar(file)
    module = f"{only}.daemon" if only else "alerts.command.supervisor"
    sys.stdout.flush()
    # A new interpreter: what reading the file needed would otherwise stay in memory for months.
    os.execv(sys.executable, [sys.executable, "-m", module, str(file)])  # noqa: S606  no shell is wanted
