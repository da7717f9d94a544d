"""Advice as the page shows it: where a text names the command that writes something, a link to the form that does."""

from __future__ import annotations

__all__ = ["advice_links"]

from markupsafe import Markup, escape

from alerts.view.entries.advised_forms import NOTHING, About, advice_parts
from ingest.plain_text import one_line


def advice_links(text: str, about: About = NOTHING) -> Markup:
    """Make a text with its links as HTML, everything in it escaped. A filter of the templates."""
    return Markup("").join(
        Markup('<a class="form" href="{}">{}</a>').format(part.path, one_line(part.text))
        if part.path
        else escape(one_line(part.text))
        for part in advice_parts(text, about)
    )
