"""The page: the cellar as a plain list, for a phone in the cellar or a screen in the office. It only reads."""

from __future__ import annotations

__all__ = ["make_app"]

from collections.abc import Callable
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.middleware.trustedhost import TrustedHostMiddleware
from fastapi.responses import HTMLResponse, JSONResponse
from fastapi.templating import Jinja2Templates

from alerts.view.alarm_lines import (
    alarm_due_text,
    alarm_setpoint,
    alarm_value,
    chatter_text,
    finding_suffix,
    since_suffix,
)
from alerts.view.blanket_lines import blanket_line, blanket_of
from alerts.view.cylinder_lines import cylinder_lines, cylinder_of
from alerts.view.format import age, local_time, measured_name, missing_words, quality_text, quantity_name, value_text
from alerts.view.gas_alarm_name import gas_alarm_name
from alerts.view.mail_lines import undelivered_line
from alerts.view.mirror_lines import mirror_lines
from alerts.view.muted_lines import muted_line
from alerts.view.racking_lines import racking_line
from alerts.view.so2_lines import judged_so2_line
from alerts.view.status import cellar_status
from alerts.view.vessel_contents import contents_line
from ingest.cellar import Cellar
from ingest.errors import StoreError
from ingest.machine_clock import even_time
from ingest.plain_text import one_line
from ingest.store import open_existing

# The page shows text from probes and people; none of it may run, and nobody may show the page inside another.
_POLICY = (
    "default-src 'none'; style-src 'self' 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"
)
_TEMPLATES = Jinja2Templates(Path(__file__).parent / "templates")  # it escapes by default


def _shown(value: object) -> object:
    """What a template shows: text that came from people and the wire without what a browser would obey."""
    return one_line(value) if type(value) is str else value


_TEMPLATES.env.finalize = _shown


def make_app(cellar: Cellar, clock: Callable[[], int]) -> FastAPI:
    """Make the page of a cellar. clock: gives UTC ms. Each request opens the store for itself and only reads."""
    app = FastAPI(title="leeside", docs_url=None, redoc_url=None, openapi_url=None)
    # A foreign web site must not read the page through a name of its own that leads to this machine.
    hosts = {"127.0.0.1", "localhost", "[::1]", cellar.page.host if cellar.page else "127.0.0.1"}
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=sorted(hosts))
    zone = cellar.site.zone
    units = cellar.site.units

    @app.get("/", response_class=HTMLResponse)
    def cellar_page(request: Request) -> HTMLResponse:
        now_ms = clock()
        # In one read, so that alarms and readings are of one moment, and a damaged store is reported as such.
        with open_existing(cellar.store_path) as store, store.read():
            status = cellar_status(cellar, store, now_ms, even_time())
        return _TEMPLATES.TemplateResponse(
            request,
            "cellar.html",
            {
                "status": status,
                "value": lambda quantity, value: value_text(quantity, value, units),
                "time": lambda at_ms: local_time(at_ms, zone, now_ms),
                "age": lambda at_ms: age(now_ms - at_ms),
                "name": quantity_name,
                "quality": lambda reading: quality_text(reading.quality, reading.reason),
                "measured": measured_name,
                "since": lambda alarm: since_suffix(alarm, zone, now_ms),
                "finding": lambda alarm: finding_suffix(alarm, zone, now_ms),
                "chatter": lambda alarm: chatter_text(alarm, zone, now_ms),
                "missing": missing_words,
                "due": lambda alarm: alarm_due_text(alarm, alarm.limit, zone, now_ms),
                "gas_name": lambda alarm: alarm.limit and gas_alarm_name(alarm.limit, alarm.value),
                "alarm_value": lambda alarm: alarm_value(alarm.limit, alarm.value, units),
                "alarm_setpoint": lambda alarm: alarm_setpoint(alarm.limit, units),
                "contents": lambda place, so2: contents_line(place.contents, zone, units, now_ms, with_free=not so2),
                "so2": lambda place: judged_so2_line(place.judgements, zone, now_ms),
                "blanket": lambda place: (
                    ""
                    if (shown := blanket_of(place.judgements, now_ms)) is None
                    else blanket_line(shown, zone, units, now_ms)
                ),
                "cylinder": lambda place: (
                    []
                    if (shown := cylinder_of(place.judgements, now_ms)) is None
                    else cylinder_lines(shown, zone, units, now_ms)
                ),
                "muted": lambda each: muted_line(each, zone, now_ms),
                "racking": lambda racking: racking_line(racking, zone, now_ms),
                "undelivered": undelivered_line(status.undelivered, now_ms) if status.undelivered else "",
                "mirror": [] if status.mirror is None else mirror_lines(status.mirror, now_ms),
                "file": cellar.file,
            },
            headers={
                "Cache-Control": "no-store",
                "Content-Security-Policy": _POLICY,
                "X-Content-Type-Options": "nosniff",
            },
        )

    @app.exception_handler(StoreError)
    def store_trouble(request: Request, error: Exception) -> JSONResponse:
        return JSONResponse({"error": str(error)}, status_code=503)

    return app
