"""Where each view of the page is: what the others link to."""

from __future__ import annotations

__all__ = ["card_of", "enter_at", "history_of", "review_of"]


def card_of(kind: str, place: str) -> str:
    """Give the path of a place's card. kind: "cylinder", "room", or that of a vessel."""
    return f"/{kind if kind in ('cylinder', 'room') else 'vessel'}/{place}"


def history_of(place: str) -> str:
    """Give the path of the history of a place."""
    return f"/history?place={place}"


def enter_at(place: str) -> str:
    """Give the path of the forms for a place."""
    return f"/enter?vessel={place}"


def review_of(vessel: str) -> str:
    """Give the path of the review of a vessel."""
    return f"/review/{vessel}"
