"""How this command can be called again, from another terminal."""

from __future__ import annotations

__all__ = ["call_name"]

import shlex
import shutil
import sys
from pathlib import Path


def call_name(program: str, search_path: str) -> str:
    """Give the words that call the command again. program: as this process was called; search_path: as in PATH.

    The bare name is given only where a shell would find this very program by it.
    """
    path = Path(program)
    if path.suffix == ".py":
        return shlex.join([sys.executable, "-m", "alerts.command.main"])
    by_name = shutil.which(path.name, path=search_path)
    if by_name is not None and Path(by_name).resolve() == path.resolve():
        return path.name
    return shlex.quote(str(path.absolute()))
