"""Phrases that the words of several kinds of entries are made of. Pure."""

from __future__ import annotations

__all__ = ["joined", "listed", "phrase"]

from collections.abc import Sequence


def joined(parts: Sequence[str | None]) -> str:
    """Join what there is by commas."""
    return ", ".join(part for part in parts if part)


def listed(parts: Sequence[str]) -> str:
    """List parts as "K1, K2 and K3"."""
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]


def phrase(value: object, form: str) -> str | None:
    """Put a value into its phrase; None where there is no value."""
    return None if value is None else form.format(value)
