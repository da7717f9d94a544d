"""The name that an entry is written under where none is given."""

from __future__ import annotations

__all__ = ["user_name"]

import getpass


def user_name() -> str:
    """The name of the user who runs the command."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a system user without a name
        return "somebody"
