"""`leeside run`: a last look at the cellar file, then this process becomes the supervisor."""

from __future__ import annotations

__all__ = ["run_watch"]

import os
import sys
from pathlib import Path

import typer

from ingest.cellar import load_cellar

ROLES = ("ingest", "alerts")


def run_watch(file: Path, only: str | None) -> int:
    """Replace this process by the supervisor, or by one daemon; returns only when it cannot."""
    if only is not None and only not in ROLES:
        raise typer.BadParameter(f"'{only}' is no daemon; allowed: ingest, alerts", param_hint="--only")
    load_cellar(file)
    module = f"{only}.daemon" if only else "alerts.command.supervisor"
    sys.stdout.flush()
    # A new interpreter: what reading the file needed would otherwise stay in memory for months.
    os.execv(sys.executable, [sys.executable, "-m", module, str(file)])  # noqa: S606  no shell is wanted
