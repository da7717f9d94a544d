"""A reply of the mirror's server, as far as it matters."""

from __future__ import annotations

__all__ = ["NETWORK", "Reply"]

from typing import Final, NamedTuple

# Stands for the status where none came: refused, dropped, timed out.
NETWORK: Final = 0


class Reply(NamedTuple):
    """status: the HTTP code or NETWORK; text: the body or the error in words; retry_after: that header, or ""."""

    status: int
    text: str = ""
    retry_after: str = ""
