"""What the page's server calls itself, which distinguishes it from another program at its port."""

from __future__ import annotations

__all__ = ["SERVER_NAME"]

from typing import Final

SERVER_NAME: Final = "leeside"
