"""What every view of the page is made with: the cellar, the clock, the store, the templates."""

from __future__ import annotations

__all__ = ["PageContext"]

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from fastapi import Request
from fastapi.responses import HTMLResponse
from fastapi.templating import Jinja2Templates
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from alerts.page.advice_links import advice_links
from alerts.page.doors.sessions import SESSION_COOKIE
from alerts.page.doors.tokens import Tokens
from alerts.view.format import local_time
from ingest.cellar import Cellar
from ingest.plain_text import one_line
from ingest.store import Store, open_existing

_TEMPLATES: Final = Jinja2Templates(
    env=Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
    )
)


def _shown(value: object) -> object:
    """What a template shows: text that came from people and the wire without what a browser would obey."""
    return one_line(value) if type(value) is str else value


_TEMPLATES.env.finalize = _shown  # before it is escaped
_TEMPLATES.env.filters["advice"] = advice_links


@dataclass(frozen=True, slots=True)
class PageContext:
    """A cellar as the page sees it.

    clock: gives UTC ms; tokens: which browser may write; can_log_out: whether there is a password.
    """

    cellar: Cellar
    clock: Callable[[], int]
    tokens: Tokens
    can_log_out: bool = False

    @contextmanager
    def read(self) -> Iterator[Store]:
        """Open the store for one request, inside one read, so that all is of one moment. Raises StoreError."""
        with open_existing(self.cellar.store_path) as store, store.read():
            yield store

    @contextmanager
    def store(self) -> Iterator[Store]:
        """Open the store for one request that writes: ``ingest.entering`` and others begin their own transaction."""
        with open_existing(self.cellar.store_path) as store:
            yield store

    def parts(self, template: str) -> Any:
        """Give a template's macros, as attributes that are called; what they give is escaped already."""
        return _TEMPLATES.env.get_template(template).module

    def page(
        self, request: Request, template: str, *, title: str, status_code: int = 200, **values: object
    ) -> HTMLResponse:
        """Fill a template that extends ``base.html``. title: of the view, which the site's name follows.

        A template also has ``site``, ``now_ms``, ``time`` (UTC ms as local text), ``token`` (for a form's field
        ``token``) and ``file`` (the cellar file as a command names it).
        """
        now_ms = self.clock()
        visit = self.tokens.visit_of(request)
        response: HTMLResponse = _TEMPLATES.TemplateResponse(
            request,
            template,
            {
                "title": title,
                "site": self.cellar.site.name,
                "now_ms": now_ms,
                "time": lambda at_ms: local_time(at_ms, self.cellar.site.zone, now_ms),
                "token": self.tokens.token_of(visit),
                "file": self.cellar.file,
                "can_log_out": self.can_log_out and SESSION_COOKIE in request.cookies,
                **values,
            },
            status_code=status_code,
        )
        self.tokens.keep(response, request, visit)
        return response
